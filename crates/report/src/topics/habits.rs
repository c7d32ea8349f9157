//! What a driver's difference is made of.

use backwatt_schema::tables;

use crate::figure::{Kind, name};

use super::grid::{self, Grid, figure, page_only, remarks, words};
use super::rows::{Read, Row};
use super::units::Units;

const COLUMNS: [grid::Column; 12] = [
    words("driver", |row, _| row.words("driver_id")),
    words("habit", |row, _| row.words("habit")),
    figure("kWh a day", |row, _| row.fixed("energy_kwh_day", 2)),
    page_only(figure("{miles} a day", |row, _| row.shown("energy_mi_day", Kind::Distance, 1))),
    figure("beyond others, kWh a day", |row, _| row.fixed("above_group_kwh_day", 2)),
    figure("90 % interval", |row, _| {
        row.range(["above_group_p05_kwh_day", "above_group_p95_kwh_day"], Kind::Energy, 2)
    }),
    figure("beyond others, {miles} a day", |row, _| row.shown("above_group_mi_day", Kind::Distance, 1)),
    figure("days", |row, _| row.whole("driving_days")),
    page_only(figure("occasions", |row, _| row.whole("occasions"))),
    remarks("kWh a day is against", |row, _| row.words("reference")),
    page_only(words("evidence", |row, _| row.words("evidence"))),
    page_only(words("examples: trip # braking event", |row, _| row.words("examples"))),
];

/// Habits of those for whom there is a figure.
pub fn grid(rows: &[Row<'_>], units: Units) -> Read<Option<Grid>> {
    let mut shown = Vec::new();
    for row in rows {
        if row.number("energy_kwh_day")?.is_some() || row.number("above_group_kwh_day")?.is_some() {
            shown.push(*row);
        }
    }
    if shown.is_empty() {
        return Ok(None);
    }
    let caption = "Habits, at the battery terminals a driving day; plus costs energy; only late hard braking and little anticipation can be added";
    Ok(Some(Grid::new(caption, &tables::HABITS, &shown, &COLUMNS, units)?))
}

/// The habit that stands out most of one driver, or that none does.
pub fn standing_out(rows: &[Row<'_>], driver: &str, units: Units) -> Read<String> {
    let shown = name(driver);
    let mut most: Option<(f64, &Row<'_>)> = None;
    for row in rows {
        let beyond = row.number("above_group_p05_kwh_day")?.is_some_and(|low| low > 0.0);
        let Some(kwh) = row.number("above_group_kwh_day")? else { continue };
        if row.text("driver_id")? == driver && beyond && most.is_none_or(|(known, _)| kwh > known) {
            most = Some((kwh, row));
        }
    }
    let Some((_, row)) = most else {
        return Ok(format!("No single habit of {shown} stands out from the others."));
    };
    let miles = if row.number("above_group_mi_day")?.is_some() {
        format!(", {} {}", row.shown("above_group_mi_day", Kind::Distance, 1)?, units.distance())
    } else {
        String::new()
    };
    Ok(format!(
        "What stands out with {shown} is {}: {} kWh a day beyond the others at like work ({}, 90 %; {}){miles}. {}",
        row.text("habit")?,
        row.fixed("above_group_kwh_day", 2)?,
        row.range(["above_group_p05_kwh_day", "above_group_p95_kwh_day"], Kind::Energy, 2)?,
        row.words("evidence")?,
        row.text("caution")?,
    )
    .trim()
    .to_owned())
}
