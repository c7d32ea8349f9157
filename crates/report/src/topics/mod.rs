//! The questions beyond consumption and recapture: one file for each, one answer on page and terminal alike.
//!
//! Deliberately absent: any figure that is in no table, and any table of the estimate stage that names a person it does
//! not show.

mod causes;
mod changes;
mod charging;
mod climate;
mod compared;
mod coverage;
mod drivers;
mod grid;
mod habits;
mod levels;
mod logs;
mod lost;
#[cfg(test)]
mod made;
mod map;
mod otherwise;
mod pack_cases;
mod packs;
mod packs_told;
mod people;
mod places;
mod plan;
mod routes;
mod rows;
mod steps;
mod text;
mod units;
mod verdicts;
mod ways;

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::unit::parse_quantity;
use backwatt_schema::{JOULES_PER_KWH, Table, tables};
use serde::Serialize;

use crate::figure;
use crate::source::Source;
use crate::{ReportError, SettingRow};

use rows::{Read, Row};
use units::Units;

pub use grid::{Cell, Grid, Head};
pub use map::to_share;
pub use people::{Examples, NOTES as PEOPLE_NOTES, Person, shown_events};
pub use places::Places;
pub use text::text;

/// Tables of the estimate stage that these sections show, written beside the page as CSV and JSON.
pub static SHOWN: [&Table; 21] = [
    &tables::PLAN_CHECK,
    &tables::PLAN_GAP,
    &tables::PACK_SIZING,
    &tables::CHARGING,
    &tables::CLIMATE_COST,
    &tables::ROUTES,
    &tables::PLACES,
    &tables::ROAD_CELLS,
    &tables::DRIVERS,
    &tables::HABITS,
    &tables::LEVEL_COMPARISON,
    &tables::LEVEL_WHAT_IF,
    &tables::SAME_TRIPS,
    &tables::CHANGES,
    &tables::CAPACITY,
    &tables::CHARGE_SESSIONS,
    &tables::SIGNAL_VALUE,
    &tables::SAMPLING_AUDIT,
    &tables::CALIBRATION,
    &tables::OPEN_VALUES,
    &tables::COVERAGE,
];

/// One question with its answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Topic {
    pub id: &'static str,
    #[serde(skip)]
    pub heading: &'static str,
    pub question: &'static str,
    /// The answer first, then what else must be told; figures as marks.
    #[serde(serialize_with = "figure::as_plain")]
    pub answer: Vec<String>,
    /// What is not there, and what would bring it; empty where nothing is amiss.
    #[serde(serialize_with = "figure::as_plain")]
    pub missing: Vec<String>,
    /// How to read it, and what it is not.
    #[serde(skip)]
    pub notes: Vec<&'static str>,
    #[serde(skip)]
    pub drawings: Vec<Drawing>,
    #[serde(skip)]
    pub grids: Vec<Grid>,
    /// The page of the method, below `notebooks-docs/method`.
    pub method: &'static str,
}

impl Topic {
    fn new(id: &'static str, heading: &'static str, question: &'static str, method: &'static str) -> Self {
        Self {
            id,
            heading,
            question,
            answer: Vec::new(),
            missing: Vec::new(),
            notes: Vec::new(),
            drawings: Vec::new(),
            grids: Vec::new(),
            method,
        }
    }

    fn tell(&mut self, sentence: impl Into<String>) {
        self.answer.push(sentence.into());
    }

    fn miss(&mut self, sentence: impl Into<String>) {
        self.missing.push(sentence.into());
    }
}

/// An SVG with what it shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    pub caption: &'static str,
    pub svg: String,
    /// One of two that stand side by side where there is room.
    pub is_half: bool,
    /// Folded away until it is asked for.
    pub is_detail: bool,
}

/// The tables as read; one that no run has written is empty.
pub struct Tables {
    metric: bool,
    /// True for a copy that leaves the building: what is missing may have been taken out.
    leaves: bool,
    batches: BTreeMap<&'static str, RecordBatch>,
    /// Packs a vehicle type has, by its name, where the pilot file says so.
    packs_fitted: BTreeMap<String, u64>,
    /// Usable energy of one pack of a type, as stated. [kWh]
    pack_kwh: BTreeMap<String, f64>,
}

impl Tables {
    /// As where no stage has run.
    #[cfg(test)]
    pub fn empty() -> Self {
        Self {
            metric: false,
            leaves: false,
            batches: BTreeMap::new(),
            packs_fitted: BTreeMap::new(),
            pack_kwh: BTreeMap::new(),
        }
    }

    /// Tables made for a test.
    #[cfg(test)]
    pub fn of(made: impl IntoIterator<Item = (&'static Table, RecordBatch)>) -> Self {
        let batches = made.into_iter().map(|(table, batch)| (table.name, batch)).collect();
        Self { batches, ..Self::empty() }
    }

    pub fn read(source: &Source<'_>, metric: bool, settings: &[SettingRow]) -> Result<Self, ReportError> {
        let mut batches = BTreeMap::new();
        for table in SHOWN {
            if let Some(batch) = source.table_if_present(table)? {
                batches.insert(table.name, batch);
            }
        }
        // Written with its export elsewhere; read here for what a route as a whole braked.
        if let Some(batch) = source.table_if_present(&tables::RECOVERY)? {
            batches.insert(tables::RECOVERY.name, batch);
        }
        let (packs_fitted, pack_kwh) = (packs_fitted(settings), pack_kwh(settings));
        Ok(Self { metric, leaves: source.leaves(), batches, packs_fitted, pack_kwh })
    }

    pub fn batch(&self, table: &'static Table) -> Option<&RecordBatch> {
        self.batches.get(table.name)
    }

    fn rows(&self, table: &'static Table) -> Vec<Row<'_>> {
        self.batch(table).map(|batch| rows::rows(table, batch, self.metric)).unwrap_or_default()
    }
}

fn pack_kwh(settings: &[SettingRow]) -> BTreeMap<String, f64> {
    let of = |key: String| settings.iter().find(|setting| setting.key == key).map(|setting| &setting.value);
    let stated = settings.iter().filter_map(|setting| {
        let name = setting.key.strip_prefix("vehicle_types.")?.strip_suffix(".pack_energy")?;
        let (joules, _) = parse_quantity(&setting.value).ok()?;
        let usable: f64 = of(format!("vehicle_types.{name}.usable_fraction"))?.parse().ok()?;
        Some((name.to_owned(), joules * usable / JOULES_PER_KWH))
    });
    stated.collect()
}

/// From settings as they are listed: `vehicle_types.van.packs`.
fn packs_fitted(settings: &[SettingRow]) -> BTreeMap<String, u64> {
    let fitted = settings.iter().filter_map(|setting| {
        let name = setting.key.strip_prefix("vehicle_types.")?.strip_suffix(".packs")?;
        Some((name.to_owned(), setting.value.parse().ok()?))
    });
    fitted.collect()
}

/// Every section, in the order of the page.
pub fn all(tables: &Tables) -> Read<Vec<Topic>> {
    let units = Units { metric: tables.metric };
    let sections = [
        plan::topic,
        packs::topic,
        charging::topic,
        climate::topic,
        routes::topic,
        drivers::topic,
        levels::topic,
        otherwise::topic,
        changes::topic,
        logs::topic,
        coverage::topic,
    ];
    sections.into_iter().map(|section| section(tables, units)).collect()
}

/// What is told of each driver with enough driving.
pub fn people(tables: &Tables) -> Read<Vec<Person>> {
    people::all(tables, Units { metric: tables.metric })
}

/// Places with a name; none in a copy that leaves.
pub fn places(tables: &Tables) -> Read<Places> {
    Places::of(&tables.rows(&tables::PLACES))
}

/// "a", "a and b", "a, b and c".
fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// "1 route", "2 routes".
fn counted(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}
