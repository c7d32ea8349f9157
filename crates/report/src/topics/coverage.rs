//! How representative was the pilot?

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{Grid, figure, page_only, remarks, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::{Tables, Topic, counted, grid, listed};

const KEY: [&str; 4] = ["route", "season", "temperature_band", "payload_band"];

const COLUMNS: [grid::Column; 11] = [
    words("route", |row, _| row.words("route")),
    words("season", |row, _| row.words("season")),
    words("outside air", |row, _| row.words("temperature_band")),
    words("payload", |row, _| row.words("payload_band")),
    figure("vehicle-days", |row, _| row.whole("vehicle_days")),
    page_only(figure("vehicles", |row, _| row.whole("vehicles"))),
    figure("{miles}", |row, _| row.shown("distance_mi", Kind::Distance, 0)),
    figure("driven, %", |row, _| row.percent("distance_share_frac", 1)),
    figure("planned, %", |row, _| row.percent("planned_share_frac", 1)),
    page_only(figure("more vehicle-days", |row, _| row.whole("more_vehicle_days"))),
    remarks("note", |row, _| row.joined(&["undecided", "note"])),
];

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
        topic.tell(told_planned(&planned, units)?);
    }
    topic.tell(told(&rows, units)?);
    if let Some(sentence) = told_more(tables)? {
        topic.tell(sentence);
    }
    topic.notes.push("All: the cells of a dimension together. Payload in quarters of the sheet's upper payload. Shares are of the distance.");
    topic.grids.push(Grid::new(
        "By route, season, outside air and payload, each alone",
        &tables::COVERAGE,
        &margins,
        &COLUMNS,
        units,
    )?);
    topic.grids.push(Grid::new("Together", &tables::COVERAGE, &rows, &COLUMNS, units)?.folded());
    Ok(topic)
}

/// How many dimensions the row narrows.
fn dimensions(row: &Row<'_>) -> Read<usize> {
    let mut n = 0;
    for name in KEY {
        n += usize::from(row.text(name)? != "all");
    }
    Ok(n)
}

fn told_planned(planned: &[Row<'_>], units: Units) -> Read<String> {
    let mut gaps = Vec::new();
    for row in planned {
        let (driven, plan) = (
            row.number("distance_share_frac")?.unwrap_or(0.0),
            row.number("planned_share_frac")?.unwrap_or(0.0),
        );
        let mut name = KEY.iter().map(|name| row.words(name)).collect::<Read<Vec<_>>>()?;
        name.retain(|name| name != "all");
        gaps.push((
            plan - driven,
            format!(
                "{} ({} % of the distance driven, {} % planned)",
                name.join(", "),
                units.figure(driven, Kind::Share, 0),
                units.figure(plan, Kind::Share, 0)
            ),
        ));
    }
    gaps.sort_by(|a, b| b.0.total_cmp(&a.0));
    let short: Vec<String> =
        gaps.into_iter().filter(|(gap, _)| *gap > 0.0).take(3).map(|(_, text)| text).collect();
    Ok(if short.is_empty() {
        format!("All {} of the plan were driven at least as much as planned.", counted(planned.len(), "share"))
    } else {
        format!("Driven less than planned, worst first: {}.", listed(&short))
    })
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

/// What more days or vehicles would bring a verdict.
fn told_more(tables: &Tables) -> Read<Option<String>> {
    let (mut open, mut by_days, mut by_vehicles) = (0, Vec::new(), 0);
    for row in tables.rows(&tables::PLAN_CHECK) {
        if row.text("verdict")? != "cannot tell" {
            continue;
        }
        open += 1;
        match row.count("more_vehicle_days")? {
            Some(days) => by_days.push(days),
            None => by_vehicles += usize::from(row.count("more_vehicles")?.is_some()),
        }
    }
    let days = by_days
        .iter()
        .max()
        .map_or(String::new(), |most| format!(", up to {most} vehicle-days more of the same vehicles"));
    Ok((open > 0).then(|| {
        format!(
            "Of {} without a verdict more days alone would bring {} one{days}; more vehicles only, {by_vehicles}; neither, {}.",
            counted(open, "reading"),
            by_days.len(),
            open - by_days.len() - by_vehicles,
        )
    }))
}
