//! What cab climate, battery climate and refrigeration cost.

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{Grid, figure, page_only, remarks, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::{Tables, Topic, grid};

const COLUMNS: [grid::Column; 12] = [
    words("type", |row, _| row.words("vehicle_type")),
    words("load", |row, _| row.words("load")),
    words("outside air", |row, _| row.words("temperature_band")),
    figure("kWh", |row, _| row.fixed("energy_p50_kwh", 1)),
    page_only(figure("90 % interval", |row, _| {
        row.range(["energy_p05_kwh", "energy_p95_kwh"], Kind::Energy, 1)
    })),
    figure("% of gross discharge", |row, _| row.percent("share_of_use_frac", 1)),
    figure("90 % interval", |row, _| {
        row.range(["share_of_use_p05_frac", "share_of_use_p95_frac"], Kind::Share, 1)
    }),
    figure("mean kW", |row, _| row.shown("power_mean_w", Kind::Power, 2)),
    page_only(figure("{kWh/mile}", |row, _| row.shown("consumption_kwh_mi", Kind::PerDistance, 3))),
    page_only(figure("{miles}", |row, _| row.shown("distance_mi", Kind::Distance, 0))),
    words("evidence", |row, _| row.words("evidence")),
    remarks("rests on", |row, _| row.words("why")),
];

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "climate",
        "Climate",
        "What do cab climate, battery climate and refrigeration cost?",
        "plan-and-packs.md",
    );
    let rows = tables.rows(&tables::CLIMATE_COST);
    let (mut known, mut unknown) = (Vec::new(), Vec::new());
    for row in &rows {
        if row.number("energy_p50_kwh")?.is_some() {
            known.push(*row);
        } else if row.text("temperature_band")? == "all" {
            unknown.push(format!("{} of {}", row.words("load")?, row.words("vehicle_type")?));
        }
    }
    for row in &known {
        if row.text("temperature_band")? == "all" {
            topic.tell(sentence(row, units)?);
        }
    }
    if !unknown.is_empty() {
        topic.miss(format!(
            "Not known: {}. The logs would tell with cab_climate_power, battery_thermal_power or refrigeration_power under [sources.columns]; nothing is assumed.",
            unknown.join(", ")
        ));
    } else if rows.is_empty() {
        topic.miss("No trip to reckon climate on.");
    }
    if !known.is_empty() {
        topic.notes.push("Energy in trips, driving and standing; pre-conditioning at the plug is not in it.");
        topic.grids.push(Grid::new("By load and outside air", &tables::CLIMATE_COST, &known, &COLUMNS, units)?);
    }
    Ok(topic)
}

fn sentence(row: &Row<'_>, units: Units) -> Read<String> {
    let share = if row.number("share_of_use_frac")?.is_some() {
        format!(
            ", {} % of gross discharge in trips (90 % interval {} %)",
            row.percent("share_of_use_frac", 1)?,
            row.range(["share_of_use_p05_frac", "share_of_use_p95_frac"], Kind::Share, 1)?
        )
    } else {
        String::new()
    };
    Ok(format!(
        "{}: {} took {} kWh{share}, {} {} over {} {} ({}: {}).",
        row.words("vehicle_type")?,
        row.words("load")?,
        row.fixed("energy_p50_kwh", 1)?,
        row.shown("consumption_kwh_mi", Kind::PerDistance, 3)?,
        units.per_distance(),
        row.shown("distance_mi", Kind::Distance, 0)?,
        units.distance(),
        row.words("evidence")?,
        row.words("basis")?,
    ))
}
