//! Which routes, and where on the map braking energy is won and lost?

use backwatt_schema::{METRES_PER_MILE, tables};

use crate::figure::Kind;

use super::grid::{Grid, figure, page_only, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::{Drawing, Tables, Topic, counted, grid, map};
use crate::sentences::step_name;

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

const CELLS: [grid::Column; 10] = [
    words("H3 cell", |row, _| row.words("cell")),
    page_only(figure("north, °", |row, _| row.fixed("lat_deg", 4))),
    page_only(figure("east, °", |row, _| row.fixed("lon_deg", 4))),
    figure("passes", |row, _| row.whole("passes")),
    figure("braked, kWh", |row, _| row.fixed("energy_braking_kwh", 2)),
    figure("recovered, kWh", |row, _| row.fixed("energy_recovered_p50_kwh", 2)),
    page_only(figure("90 % interval or wider", |row, _| {
        row.range(["energy_recovered_p05_kwh", "energy_recovered_p95_kwh"], Kind::Energy, 2)
    })),
    words("most of the rest", |row, _| Ok(cause(row)?.map_or("–".to_owned(), |(name, _)| name.to_owned()))),
    page_only(words("evidence", |row, _| row.words("evidence"))),
    page_only(words("may leave the pilot", |row, _| {
        Ok(if row.flag("is_shareable")? { "yes" } else { "no" }.to_owned())
    })),
];

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "routes",
        "Routes and the map",
        "On which routes and at which places is braking energy won and lost?",
        "routes.md",
    );
    let routes = tables.rows(&tables::ROUTES);
    if routes.is_empty() {
        topic.miss(
            "No route: the logs name none, and none was driven twice with positions. Map a latitude and a longitude, or a route column, under [sources.columns].",
        );
    } else {
        topic.tell(told_routes(&routes, units)?);
        let caption = "Routes; what each used and recovered stands under By route";
        topic.grids.push(Grid::new(caption, &tables::ROUTES, &routes, &ROUTES, units)?);
    }
    let cells = tables.rows(&tables::ROAD_CELLS);
    let mut placed = Vec::new();
    for row in &cells {
        if !row.text("cell")?.is_empty() {
            placed.push(*row);
        }
    }
    if placed.is_empty() {
        topic.miss("No map: the logs hold no positions. Map latitude and longitude under [sources.columns].");
        return Ok(topic);
    }
    // What was asked comes first, the routes it was driven on second.
    topic.answer.insert(0, told_cells(&cells)?);
    let whole = "Braking energy at the wheels for each pass, by road cell";
    topic.drawings.push(Drawing { caption: whole, svg: map::map(&placed)? });
    topic.drawings.retain(|drawing| !drawing.svg.is_empty());
    if topic.drawings.is_empty() {
        topic.miss("No map: the cells lie across the 180th meridian, where a flat map says nothing; road_cells.csv has them.");
    }
    let busy = map::busiest(&placed)?;
    if !busy.is_empty() {
        let caption = "The part that holds most of the braking energy, larger and with classes of its own";
        topic.drawings.push(Drawing { caption, svg: map::map(&busy)? });
    }
    topic.notes.push(
        "Cells of about 130 m. This map is for the pilot's own use: cells with a dashed edge lie within 300 m of where a vehicle stays \
         overnight, which may be somebody's home, or have fewer than ten passes or two vehicles. map-to-share.svg beside this page leaves \
         them out. Where battery power is not logged nobody saw where energy came back: recovered is then split by where it was recoverable.",
    );
    let mut dearest = by_braking(&placed)?;
    dearest.truncate(DEAREST);
    topic.grids.push(Grid::new(
        "The cells with most braking energy",
        &tables::ROAD_CELLS,
        &dearest,
        &CELLS,
        units,
    )?);
    Ok(topic)
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

fn told_cells(cells: &[Row<'_>]) -> Read<String> {
    let (mut all, mut placed, mut lost) = (0.0, 0.0, vec![0.0; tables::CASCADE.len()]);
    for row in cells {
        let energy = row.number("energy_braking_kwh")?.unwrap_or(0.0);
        all += energy;
        if row.text("cell")?.is_empty() {
            continue;
        }
        placed += energy;
        for (sum, column) in lost.iter_mut().zip(tables::CASCADE) {
            *sum += row.number(column)?.unwrap_or(0.0);
        }
    }
    if placed <= 0.0 {
        return Ok("No braking energy has a position.".to_owned());
    }
    let mut causes: Vec<(f64, &str)> = lost
        .into_iter()
        .zip(tables::CASCADE)
        .filter(|(_, column)| *column != "energy_recoverable_kwh")
        .map(|(kwh, column)| (kwh, step_name(column)))
        .collect();
    causes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let dearest: Vec<String> =
        causes.iter().take(3).map(|(kwh, name)| format!("{:.1} % {name}", 100.0 * kwh / placed)).collect();
    Ok(format!(
        "{:.0} % of {all:.1} kWh of braking energy at the wheels has a position (modelled, as the samples stand); of what has, the largest losses before the \
         battery are {}.",
        100.0 * placed / all,
        dearest.join(", ")
    ))
}

/// Where most of what was not recoverable went, and how much. [kWh]
fn cause(row: &Row<'_>) -> Read<Option<(&'static str, f64)>> {
    let mut most: Option<(&'static str, f64)> = None;
    for column in tables::CASCADE {
        let kwh = row.number(column)?.unwrap_or(0.0);
        if column != "energy_recoverable_kwh" && kwh > most.map_or(0.0, |(_, kwh)| kwh) {
            most = Some((step_name(column), kwh));
        }
    }
    Ok(most)
}

fn by_braking<'a>(placed: &[Row<'a>]) -> Read<Vec<Row<'a>>> {
    let mut keyed = Vec::new();
    for row in placed {
        keyed.push((row.number("energy_braking_kwh")?.unwrap_or(0.0), *row));
    }
    keyed.sort_by(|a, b| b.0.total_cmp(&a.0));
    Ok(keyed.into_iter().map(|(_, row)| row).collect())
}
