//! Which routes, and where on the map braking energy is won and lost?

use std::collections::BTreeSet;
use std::str::FromStr as _;

use backwatt_schema::{METRES_PER_MILE, tables};
use h3o::CellIndex;

use crate::figure::Kind;

use super::grid::{Grid, figure, page_only, words};
use super::map::{Label, Labels, Shows, Size};
use super::rows::{Read, Row, UNKNOWN};
use super::units::Units;
use super::ways::Ways;
use super::{Drawing, Tables, Topic, counted, grid, lost, map};

/// Cells listed beside the map.
const DEAREST: usize = 12;

const ROUTES: [grid::Column; 9] = [
    words("route", |row, _| row.words("name")),
    words("named by", |row, _| row.words("basis")),
    figure("rounds", |row, _| row.whole("rounds")),
    figure("trips", |row, _| row.whole("trips")),
    page_only(figure("of which found", |row, _| row.whole("trips_found"))),
    figure("vehicle-days", |row, _| row.whole("days")),
    page_only(figure("vehicles", |row, _| row.whole("vehicles"))),
    figure("{miles}", |row, _| row.shown("distance_mi", Kind::Distance, 0)),
    figure("a round, {miles}", |row, _| row.shown("round_distance_median_mi", Kind::Distance, 1)),
];

const CELLS: [grid::Column; 7] = [
    figure("passes", |row, _| row.whole("passes")),
    figure("braked, kWh", |row, _| row.fixed("energy_braking_kwh", 2)),
    page_only(figure("recovered, kWh", |row, _| row.fixed("energy_recovered_p50_kwh", 2))),
    figure("lost, kWh", |row, units| Ok(lost::shown(row, units)?[0].clone())),
    page_only(figure("lost, 90 % of these passes alone", |row, units| Ok(lost::shown(row, units)?[1].clone()))),
    page_only(words("most of it", |row, _| lost::cause(row))),
    page_only(words("evidence", |row, _| row.words("evidence"))),
];

const AROUND: [(Shows, &str); 2] = [
    (
        Shows::Lost,
        "Lost around the places named above: braked and not back at the battery, over the whole pilot",
    ),
    (Shows::Won, "Won around the same places: back at the battery, over the whole pilot"),
];
const ALL: [(Shows, &str); 4] = [
    (
        Shows::Lost,
        "Lost, all cells; numbers that would cover one another stand on the part alone, those of cells beyond the part here",
    ),
    (
        Shows::ShareLost,
        "Lost, in % of what was braked in the cell, all cells: what the place makes of it, however often it is driven",
    ),
    (Shows::Won, "Won, all cells"),
    (Shows::Braked, "Braked at the wheels, all cells"),
];

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "routes",
        "Routes and the map",
        "On which routes and at which places is braking energy won and lost?",
        "routes.md",
    );
    let (routes, recovery) = (tables.rows(&tables::ROUTES), tables.rows(&tables::RECOVERY));
    let ways = Ways::of(&routes, super::places(tables)?)?;
    let cells = tables.rows(&tables::ROAD_CELLS);
    let mut placed = Vec::new();
    for row in &cells {
        if !row.text("cell")?.is_empty() {
            placed.push(*row);
        }
    }
    let most = lost::most_first(&placed)?;
    let mut lead: Vec<String> = lost::told_route(&recovery, units)?.into_iter().collect();
    if !most.is_empty() {
        lead.push(lost::told_places(&recovery, &most, &ways, units)?);
    }
    if !lead.is_empty() {
        topic.tell(lead.join(" "));
    }
    topic.answer.extend(lost::told_won(&placed, &ways, units)?);
    topic.answer.extend(without_position(&cells)?);
    if routes.is_empty() {
        topic.miss(
            "No route: the logs name none, and none was driven twice with positions. Map a latitude and a longitude, or a route column, under [sources.columns].",
        );
    } else {
        topic.tell(told_routes(&routes, units)?);
        topic.grids.push(routes_grid(&routes, &recovery, units)?);
    }
    if placed.is_empty() {
        topic.miss("No map: the logs hold no positions. Map latitude and longitude under [sources.columns].");
        return Ok(topic);
    }
    let dearest = &most[..most.len().min(DEAREST)];
    topic.drawings = maps(&placed, dearest, &ways)?;
    if topic.drawings.is_empty() {
        topic.miss("No map: the cells lie across the 180th meridian, where a flat map says nothing; road_cells.csv has them.");
    }
    topic.notes.push(
        "Cells of about 130 m (430 ft); numbers are those of the table. Distances into a route run along its typical round. This map is for the pilot's own use: \
         cells with a dashed edge lie within 300 m (0.2 miles) of where a vehicle stays overnight, which may be somebody's home, or have fewer than ten passes or two \
         vehicles. The file map-to-share.svg in the folder of this report leaves them out. Lost: braked at the wheels and not back at the battery. The interval of a cell leaves out what the vehicle data may be off by, which all cells share. Where battery power is not \
         logged nobody saw where energy came back: recovered is then split by where it was recoverable.",
    );
    let caption = "The cells that lost most braking energy, by their numbers on the map; where they lie as H3 cells stands in the files";
    let mut grid = Grid::new(caption, &tables::ROAD_CELLS, dearest, &CELLS, units)?;
    let mut places: [Vec<String>; 3] = Default::default();
    for row in dearest {
        let parts = CellIndex::from_str(row.text("cell")?).map(|cell| ways.parts(cell, units));
        for (column, part) in places.iter_mut().zip(parts.unwrap_or_default()) {
            column.push(if part.is_empty() { UNKNOWN.to_owned() } else { part });
        }
    }
    let [route, into, near] = places;
    grid.put_first("near", true, near);
    grid.put_first(&format!("into its round, {}", units.distance()), false, into);
    grid.put_first("route", true, route);
    grid.put_first("no.", false, (1..=dearest.len()).map(|n| n.to_string()).collect());
    topic.grids.push(grid);
    Ok(topic)
}

fn routes_grid(routes: &[Row<'_>], recovery: &[Row<'_>], units: Units) -> Read<Grid> {
    let caption = "Routes; what each used and recovered stands under By route";
    let mut grid = Grid::new(caption, &tables::ROUTES, routes, &ROUTES, units)?;
    let mut braked = Vec::new();
    for route in routes {
        let mut shown = UNKNOWN.to_owned();
        for row in recovery {
            let is_it = row.text("grouping")? == "route" && row.text("group")? == route.text("route_id")?;
            if let Some(per_mile) = lost::per_mile(row)?.filter(|_| is_it) {
                shown = units.figure(Kind::PerDistance.si_of("_kwh_mi", per_mile), Kind::PerDistance, 2);
            }
        }
        braked.push(shown);
    }
    grid.put_last(&format!("braked at the wheels, {}", units.per_distance()), braked);
    Ok(grid)
}

/// What was lost, what was won and what was braked, of the part that holds most of it and of the whole.
fn maps(placed: &[Row<'_>], dearest: &[Row<'_>], ways: &Ways) -> Read<Vec<Drawing>> {
    let mut numbers = Vec::new();
    for (at, row) in dearest.iter().enumerate() {
        if let (Some(lat_deg), Some(lon_deg)) = (row.number("lat_deg")?, row.number("lon_deg")?) {
            numbers.push(Label { at: vec![(lon_deg, lat_deg)], text: (at + 1).to_string() });
        }
    }
    let near = map::around(placed, &dearest[..dearest.len().min(lost::TOLD)])?;
    let whole = placed.to_vec();
    let parts = [(&near, Size::Half, AROUND.as_slice()), (&whole, Size::Whole, ALL.as_slice())];
    let mut drawings = Vec::new();
    for (rows, size, maps) in parts {
        let mut drawn = BTreeSet::new();
        for row in rows {
            drawn.extend(CellIndex::from_str(row.text("cell")?));
        }
        let labels = Labels { names: ways.labels(&drawn), numbers: numbers.clone() };
        for (shows, caption) in maps {
            let svg = map::map(rows, *shows, &labels, size)?;
            if !svg.is_empty() {
                drawings.push(Drawing {
                    caption,
                    svg,
                    is_half: size == Size::Half,
                    is_detail: size == Size::Whole && *shows != Shows::Lost,
                });
            }
        }
    }
    Ok(drawings)
}

/// Said where not all braking energy has a position.
fn without_position(cells: &[Row<'_>]) -> Read<Option<String>> {
    let (mut all, mut placed) = (0.0, 0.0);
    for row in cells {
        let energy = row.number("energy_braking_kwh")?.unwrap_or(0.0);
        all += energy;
        if !row.text("cell")?.is_empty() {
            placed += energy;
        }
    }
    Ok(match placed / all {
        share if share < 0.995 => Some(format!(
            "Only {:.0} % of {all:.1} kWh of braking energy at the wheels has a position (modelled); the rest is on no map.",
            100.0 * share
        )),
        _ => None,
    })
}

fn told_routes(routes: &[Row<'_>], units: Units) -> Read<String> {
    let (mut trips, mut miles, mut found) = (0, 0.0, 0);
    for row in routes {
        trips += row.count("trips")?.unwrap_or(0);
        miles += row.number("distance_mi")?.unwrap_or(0.0);
        found += usize::from(row.text("basis")? == "found");
    }
    let origin = if found == 0 {
        "all of them named by the logs or a file".to_owned()
    } else {
        format!("{found} of them found by how trips resemble each other")
    };
    Ok(format!(
        "{} with {trips} trips over {} {}, {origin}.",
        counted(routes.len(), "route"),
        units.figure(miles * METRES_PER_MILE, Kind::Distance, 0),
        units.distance()
    ))
}
