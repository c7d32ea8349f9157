//! How representative was the pilot?

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{self, Cell, Grid, Head, figure, noted, page_only, remarks, shared, words};
use super::rows::{Read, Row, UNKNOWN};
use super::units::Units;
use super::verdicts::Assumption;
use super::{Tables, Topic, counted, listed, pack_cases};

const KEY: [&str; 4] = ["route", "season", "temperature_band", "payload_band"];
/// What the dimensions are called.
const DIMENSIONS: [&str; 4] = ["route", "season", "outside air", "payload"];
const ALL: &str = "all";
/// Parts named in one sentence.
const NAMED: usize = 3;

const COLUMNS: [grid::Column; 8] = [
    shared("by", |row, _| {
        for (column, name) in KEY.iter().zip(DIMENSIONS) {
            if row.text(column)? != ALL {
                return Ok(name.to_owned());
            }
        }
        Ok("together".to_owned())
    }),
    noted(words("driven in", |row, _| name(row))),
    figure("vehicle-days", |row, _| row.whole("vehicle_days")),
    page_only(figure("vehicles", |row, _| row.whole("vehicles"))),
    figure("{miles}", |row, _| row.shown("distance_mi", Kind::Distance, 0)),
    figure("driven, %", |row, _| row.percent("distance_share_frac", 1)),
    figure("planned, %", |row, _| row.percent("planned_share_frac", 1)),
    remarks("note", |row, _| {
        let mut parts = once_each(row.text("undecided")?);
        parts.extend(once_each(row.text("note")?));
        Ok(crate::figure::prose(&parts.join("; ")))
    }),
];

/// Parts between semicolons, each once.
fn once_each(text: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    for part in text.split("; ").filter(|part| !part.is_empty()) {
        if !parts.contains(&part) {
            parts.push(part);
        }
    }
    parts
}

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "coverage",
        "Coverage of the pilot",
        "How representative was the pilot, and what would bring a verdict?",
        "plan-and-packs.md",
    );
    let rows = tables.rows(&tables::COVERAGE);
    if rows.is_empty() {
        topic.miss("Nothing was driven that could be laid beside a plan.");
        return Ok(topic);
    }
    let (mut margins, mut planned) = (Vec::new(), Vec::new());
    for row in &rows {
        if dimensions(row)? <= 1 {
            margins.push(*row);
        }
        if row.number("planned_share_frac")?.is_some() {
            planned.push(*row);
        }
    }
    if planned.is_empty() {
        topic.miss("The plan names no shares of route, season or temperature: [[plan.driving]] with share = \"40 %\" and a route, a season or temperature_from.");
    } else {
        topic.tell(told_planned(&planned)?);
    }
    topic.tell(told(&rows, units)?);
    if let Some(sentence) = told_more(tables)? {
        topic.tell(sentence);
    }
    topic.notes.push(
        "Payload in quarters of the sheet's upper payload. Shares are of the distance; cells of route, season, outside air and payload \
         together are rows of the CSV.",
    );
    topic.grids.push(Grid::new(
        "By route, season, outside air and payload, each alone",
        &tables::COVERAGE,
        &margins,
        &COLUMNS,
        units,
    )?);
    for cross in &CROSSES {
        topic.grids.extend(cross.grid(&rows, tables.metric)?);
    }
    Ok(topic)
}

/// How many dimensions the row narrows.
fn dimensions(row: &Row<'_>) -> Read<usize> {
    let mut n = 0;
    for name in KEY {
        n += usize::from(row.text(name)? != ALL);
    }
    Ok(n)
}

/// Of the dimensions that the row narrows: "coast, winter".
fn name(row: &Row<'_>) -> Read<String> {
    let mut name = KEY.iter().map(|name| row.words(name)).collect::<Read<Vec<_>>>()?;
    name.retain(|name| name != ALL);
    Ok(if name.is_empty() { "the whole pilot".to_owned() } else { name.join(", ") })
}

/// What was driven less than planned, and what more.
fn told_planned(planned: &[Row<'_>]) -> Read<String> {
    let (mut less, mut more) = (Vec::new(), Vec::new());
    for row in planned {
        let driven = row.number("distance_share_frac")?.unwrap_or(0.0);
        let plan = row.number("planned_share_frac")?.unwrap_or(0.0);
        let told = format!(
            "{} ({} % of the distance, {} % planned)",
            name(row)?,
            row.percent("distance_share_frac", 1)?,
            row.percent("planned_share_frac", 1)?
        );
        if driven < plan {
            less.push((plan - driven, told));
        } else if driven > plan {
            more.push((driven - plan, told));
        }
    }
    let most = |mut of: Vec<(f64, String)>| {
        of.sort_by(|a, b| b.0.total_cmp(&a.0));
        of.into_iter().take(NAMED).map(|(_, told)| told).collect::<Vec<_>>()
    };
    let mut told = Vec::new();
    told.push(if less.is_empty() {
        format!("All {} of the plan were driven at least as much as planned.", counted(planned.len(), "share"))
    } else {
        format!("Driven less than planned: {}.", listed(&most(less)))
    });
    if !more.is_empty() {
        told.push(format!(
            "Driven more than planned, and so weighing more in every figure: {}.",
            listed(&most(more))
        ));
    }
    Ok(told.join(" "))
}

fn told(rows: &[Row<'_>], units: Units) -> Read<String> {
    for row in rows {
        if dimensions(row)? == 0 {
            return Ok(format!(
                "The pilot covers {} of {} over {} {}.",
                counted(row.count("vehicle_days")?.unwrap_or(0) as usize, "vehicle-day"),
                counted(row.count("vehicles")?.unwrap_or(0) as usize, "vehicle"),
                row.shown("distance_mi", Kind::Distance, 0)?,
                units.distance()
            ));
        }
    }
    Ok("The pilot covers nothing that can be counted.".to_owned())
}

/// Of what cannot be told yet: what more days would settle, what more vehicles, and what neither.
fn told_more(tables: &Tables) -> Read<Option<String>> {
    let (mut by_days, mut by_vehicles, mut neither) = (Vec::new(), Vec::new(), Vec::new());
    for row in tables.rows(&tables::PLAN_CHECK) {
        if row.text("verdict")? != "cannot tell" {
            continue;
        }
        let name = open(&row)?;
        if row.count("more_vehicle_days")?.is_some() {
            by_days.push(format!("{name} ({} more vehicle-days)", row.whole("more_vehicle_days")?));
        } else if row.count("more_vehicles")?.is_some() {
            let (more, had) = (row.whole("more_vehicles")?, row.whole("vehicles")?);
            by_vehicles.push(format!("{name} ({more} more than the {had} there are)"));
        } else {
            neither.push(name);
        }
    }
    let some = |what: &str, verb: &str, named: &[String]| match named {
        [] => format!("{what} {verb} none"),
        _ => format!("{what} {verb} {}: {}", named.len(), named.join("; ")),
    };
    let open = by_days.len() + by_vehicles.len() + neither.len();
    Ok((open > 0).then(|| {
        format!(
            "Of {} of the plan without a verdict, if value and spread stay: {}. {}. {}.",
            counted(open, "reading"),
            some("more days of the same vehicles", "settle", &by_days),
            some("More vehicles", "settle", &by_vehicles),
            format_args!("{}{}", some("Neither", "settles", &neither), if neither.is_empty() { "" } else { ", for all days share what the vehicle data leaves open: a weighed mass, a stated payload and measured battery power on every truck narrow that, and for climate its own power, logged" }),
        )
    }))
}

/// An assumption, with the reading where it has several.
fn open(row: &Row<'_>) -> Read<String> {
    let name = Assumption { readings: vec![*row] }.name()?;
    if row.text("could_be_true_of")?.is_empty() {
        return Ok(name);
    }
    let measure = row.text("measure")?;
    Ok(format!("{name} as {}", crate::figure::prose(measure.split(": ").next().unwrap_or(measure))))
}

/// Two dimensions across each other, over all of the other two: their columns, what a row and "all of it" are called, and the words above.
struct Cross {
    across: [&'static str; 2],
    row: &'static str,
    all: [&'static str; 2],
    caption: &'static str,
}

const CROSSES: [Cross; 2] = [
    Cross {
        across: ["route", "season"],
        row: "route",
        all: ["all routes", "all seasons"],
        caption: "Route by season: % of the distance driven (vehicle-days), and where the plan names a share, of how much planned",
    },
    Cross {
        across: ["temperature_band", "payload_band"],
        row: "outside air",
        all: ["all weather", "all loads"],
        caption: "Outside air by payload: % of the distance driven (vehicle-days), and where the plan names a share, of how much planned",
    },
];

impl Cross {
    /// Nothing where one of the two has but one name.
    fn grid(&self, rows: &[Row<'_>], metric: bool) -> Read<Option<Grid>> {
        let mut of_both = Vec::new();
        for row in rows {
            let mut narrows = false;
            for column in KEY.iter().filter(|column| !self.across.contains(column)) {
                narrows |= row.text(column)? != ALL;
            }
            if !narrows {
                of_both.push(*row);
            }
        }
        let down = all_last(pack_cases::distinct(&of_both, self.across[0])?);
        let right = all_last(pack_cases::distinct(&of_both, self.across[1])?);
        if down.len() < 3 && right.len() < 3 {
            return Ok(None);
        }
        let spoken = |name: &str, all: &str| match name {
            ALL => all.to_owned(),
            _ if name.ends_with(" degC") => crate::figure::band(name, metric),
            _ => crate::figure::name(name),
        };
        let mut heads = vec![Head::words(self.row)];
        heads.extend(right.iter().map(|name| Head::figures(spoken(name, self.all[1]))));
        let mut filled = Vec::new();
        for first in &down {
            let mut cells = vec![Cell::words(spoken(first, self.all[0]))];
            for second in &right {
                let mut text = UNKNOWN.to_owned();
                for row in &of_both {
                    if row.text(self.across[0])? == *first && row.text(self.across[1])? == *second {
                        text = share(row)?;
                    }
                }
                cells.push(Cell::figures(text));
            }
            filled.push(cells);
        }
        Ok(Some(Grid::made(self.caption, &tables::COVERAGE, heads, filled)))
    }
}

/// The sum of a dimension at the end, as in a ledger.
fn all_last(mut names: Vec<&str>) -> Vec<&str> {
    let had = names.len();
    names.retain(|name| *name != ALL);
    if names.len() < had {
        names.push(ALL);
    }
    names
}

/// "49.6 (123), of 25.0 planned".
fn share(row: &Row<'_>) -> Read<String> {
    let driven = format!("{} ({})", row.percent("distance_share_frac", 1)?, row.whole("vehicle_days")?);
    Ok(if row.number("planned_share_frac")?.is_some() {
        format!("{driven}, of {} planned", row.percent("planned_share_frac", 1)?)
    } else {
        driven
    })
}
