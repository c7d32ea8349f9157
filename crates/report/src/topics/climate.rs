//! What cab climate, battery climate and refrigeration cost.

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{self, Grid, figure, page_only, remarks, shared, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::{Tables, Topic, listed};

const COLUMNS: [grid::Column; 11] = [
    shared("type and load", |row, _| Ok(format!("{}, {}", row.words("vehicle_type")?, row.words("load")?))),
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
    remarks("note", |row, _| row.words("why")),
];

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "climate",
        "Climate",
        "What do cab climate, battery climate and refrigeration cost?",
        "plan-and-packs.md",
    );
    let rows = tables.rows(&tables::CLIMATE_COST);
    let (mut known, mut of_all) = (Vec::new(), Vec::new());
    for row in &rows {
        if row.number("energy_p50_kwh")?.is_some() {
            known.push(*row);
        }
        if row.text("temperature_band")? == "all" {
            of_all.push(*row);
        }
    }
    let loads = loads(&of_all)?;
    let told = lead(&loads, units)?;
    if !told.is_empty() {
        topic.tell(told);
    }
    for row in &known {
        if row.text("temperature_band")? == "all" {
            topic.tell(sentence(row, units)?);
        }
    }
    let unknown = unknown(&loads)?;
    if !unknown.is_empty() {
        topic.miss(format!(
            "Not known: {}. The logs would tell with cab_climate_power, battery_thermal_power or refrigeration_power under [sources.columns]; nothing is assumed.",
            listed(&unknown)
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

/// One load with its rows, a type each.
struct Load<'a> {
    name: String,
    known: Vec<Row<'a>>,
    unknown: Vec<Row<'a>>,
}

/// Loads in the order they are met.
fn loads<'a>(of_all: &[Row<'a>]) -> Read<Vec<Load<'a>>> {
    let mut loads: Vec<Load<'a>> = Vec::new();
    for row in of_all {
        let name = row.words("load")?;
        let at = match loads.iter().position(|load| load.name == name) {
            Some(at) => at,
            None => {
                loads.push(Load { name, known: Vec::new(), unknown: Vec::new() });
                loads.len() - 1
            }
        };
        let is_known = row.number("energy_p50_kwh")?.is_some();
        let rows = if is_known { &mut loads[at].known } else { &mut loads[at].unknown };
        rows.push(*row);
    }
    Ok(loads)
}

/// Every load that is known, as a share for each type; the others by name.
fn lead(loads: &[Load<'_>], units: Units) -> Read<String> {
    let mut told = Vec::new();
    for load in loads.iter().filter(|load| !load.known.is_empty()) {
        let mut shares = Vec::new();
        for row in &load.known {
            shares.push(share(row, units)?);
        }
        told.push(format!("{} took {}", load.name, listed(&shares)));
    }
    if told.is_empty() {
        return Ok(String::new());
    }
    let silent: Vec<String> =
        loads.iter().filter(|load| load.known.is_empty()).map(|load| load.name.clone()).collect();
    let silent = match silent.len() {
        0 => String::new(),
        1 => format!(" What {} took is not known.", silent[0]),
        _ => format!(" What {} took is not known.", listed(&silent)),
    };
    let told = told.join("; ");
    let mut letters = told.chars();
    let told: String = letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect();
    Ok(format!("{told}.{silent}"))
}

/// "17.1 % of gross discharge in trips of light3 (90 % interval 12.5 to 23.2; modelled; 3305 miles)".
fn share(row: &Row<'_>, units: Units) -> Read<String> {
    let (amount, range) = if row.number("share_of_use_frac")?.is_some() {
        (
            format!("{} % of gross discharge in trips", row.percent("share_of_use_frac", 1)?),
            row.range(["share_of_use_p05_frac", "share_of_use_p95_frac"], Kind::Share, 1)?,
        )
    } else {
        (
            format!("{} kWh in trips", row.fixed("energy_p50_kwh", 1)?),
            row.range(["energy_p05_kwh", "energy_p95_kwh"], Kind::Energy, 1)?,
        )
    };
    Ok(format!(
        "{amount} of {} (90 % interval {range}; {}; {} {})",
        row.words("vehicle_type")?,
        row.words("evidence")?,
        row.shown("distance_mi", Kind::Distance, 0)?,
        units.distance(),
    ))
}

/// "battery climate (light3 and medium5)".
fn unknown(loads: &[Load<'_>]) -> Read<Vec<String>> {
    let mut told = Vec::new();
    for load in loads.iter().filter(|load| !load.unknown.is_empty()) {
        let types = load.unknown.iter().map(|row| row.words("vehicle_type")).collect::<Read<Vec<_>>>()?;
        told.push(format!("{} ({})", load.name, listed(&types)));
    }
    Ok(told)
}

/// The amount, beside the share that the first sentence tells.
fn sentence(row: &Row<'_>, units: Units) -> Read<String> {
    Ok(format!(
        "{}: {} took {} kWh (90 % interval {}), {} {} over {} {} ({}: {}).",
        row.words("vehicle_type")?,
        row.words("load")?,
        row.fixed("energy_p50_kwh", 1)?,
        row.range(["energy_p05_kwh", "energy_p95_kwh"], Kind::Energy, 1)?,
        row.shown("consumption_kwh_mi", Kind::PerDistance, 3)?,
        units.per_distance(),
        row.shown("distance_mi", Kind::Distance, 0)?,
        units.distance(),
        row.words("evidence")?,
        row.words("basis")?,
    ))
}
