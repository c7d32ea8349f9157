//! Whole tables: each column filled by its kind, names and words by what the column is about.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanArray, Float64Array, RecordBatch, StringArray, TimestampNanosecondArray, UInt32Array,
    UInt64Array,
};
use backwatt_schema::{BatchBuilder, BatchError, Column, Kind, Table, tables};

use crate::cells::{Pilot, cell, number, unit};

/// One file for each vehicle.
pub static OF_VEHICLE: [&Table; 8] = [
    &tables::TRIPS,
    &tables::TRIP_ROUTES,
    &tables::SEGMENTS,
    &tables::SEGMENT_BATTERY,
    &tables::STEP_SWINGS,
    &tables::BRAKING_EVENTS,
    &tables::STOPS,
    &tables::CHARGES,
];

const LEVELS: [&str; 3] = ["low", "medium", "high"];
const EVIDENCE: [&str; 3] = ["measured", "inferred", "modelled"];
const RESPONSES: [&str; 2] = ["avoidable loss", "consumption"];
const KINDS_OF_DAY: [&str; 6] = ["as driven", "hot", "cold", "heavy", "worn", "cold, heavy and worn"];
const PACKS: [u64; 3] = [2, 3, 5];
const ASSUMED: [&str; 6] =
    ["energy per distance", "energy per distance", "regen share", "regen share", "climate share", "range"];
const GAP_PARTS: [&str; 8] = [
    "whole",
    "observed less the model of what was driven",
    "speed and stops",
    "payload",
    "grade",
    "temperature and auxiliaries",
    "regen level",
    "the model of the plan's scenario less the plan",
];
const SEASONS: [&str; 3] = ["all", "winter", "spring"];
const HABITS: [&str; 3] = ["stops that took friction", "stops begun late", "regen level set low"];

/// Groupings of `recovery` and how many groups each has.
fn groupings(pilot: &Pilot) -> [(&'static str, usize); 8] {
    [
        ("driver", pilot.drivers),
        ("pilot", 1),
        ("regen_level", LEVELS.len()),
        ("route", 4),
        ("service_day", 12),
        ("temperature_band", 3),
        ("trip", pilot.trips),
        ("vehicle", pilot.vehicles),
    ]
}

pub fn count(pilot: &Pilot, table: &'static Table) -> usize {
    match table.name {
        "recovery" => groupings(pilot).iter().map(|(_, n)| n).sum(),
        "drivers" => pilot.drivers * RESPONSES.len(),
        "habits" => pilot.drivers * HABITS.len(),
        "road_cells" => pilot.cells,
        "capacity" | "sampling_audit" => pilot.vehicles,
        "pack_sizing" => 2 * KINDS_OF_DAY.len() * PACKS.len(),
        "plan_gap" => 2 * GAP_PARTS.len(),
        "coverage" => 4 * SEASONS.len(),
        _ => 6,
    }
}

pub fn batch(
    pilot: &Pilot,
    table: &'static Table,
    rows: usize,
    vehicle: Option<usize>,
) -> Result<RecordBatch, BatchError> {
    let mut builder = BatchBuilder::new(table);
    for column in table.columns {
        builder = builder.array(column.name, filled(pilot, table, column, rows, vehicle));
    }
    builder.finish()
}

fn filled(
    pilot: &Pilot,
    table: &'static Table,
    column: &Column,
    rows: usize,
    vehicle: Option<usize>,
) -> ArrayRef {
    let name = column.name;
    let at = |row: usize| row + 1000 * vehicle.unwrap_or(0);
    match column.kind {
        Kind::F64 => {
            Arc::new((0..rows).map(|row| Some(number(table, name, at(row)))).collect::<Float64Array>())
        }
        Kind::U64 if (table.name, name) == ("pack_sizing", "packs") => {
            Arc::new((0..rows).map(|row| PACKS[row % PACKS.len()]).collect::<UInt64Array>())
        }
        Kind::U32 => Arc::new((0..rows).map(|row| row as u32).collect::<UInt32Array>()),
        Kind::U64 => Arc::new(
            (0..rows).map(|row| 5 + (40.0 * unit(table.name, name, at(row))) as u64).collect::<UInt64Array>(),
        ),
        Kind::Bool => Arc::new(
            (0..rows)
                .map(|row| Some(name != "clock_relative" && unit(table.name, name, at(row)) > 0.3))
                .collect::<BooleanArray>(),
        ),
        Kind::Text => {
            Arc::new((0..rows).map(|row| text(pilot, table, column, row, vehicle)).collect::<StringArray>())
        }
        Kind::Time => {
            let start = 1_772_600_000_000_000_000;
            let times = (0..rows).map(|row| start + 3_600_000_000_000 * at(row) as i64);
            Arc::new(TimestampNanosecondArray::from_iter_values(times).with_timezone("UTC"))
        }
    }
}

fn text(
    pilot: &Pilot,
    table: &'static Table,
    column: &Column,
    row: usize,
    vehicle: Option<usize>,
) -> Option<String> {
    let driver = match table.name {
        "drivers" => row / RESPONSES.len(),
        "habits" => row / HABITS.len(),
        _ => row % pilot.drivers.max(1),
    };
    let own = vehicle.unwrap_or(row % pilot.vehicles.max(1));
    let trip = |n: usize| format!("{}-{n:04}", pilot.vehicle(own));
    Some(match (table.name, column.name) {
        ("recovery", "grouping" | "group") => return group(pilot, column.name, row),
        ("plan_check", "route") if row > 1 => return None,
        ("plan_check", "route") => pilot.route(row),
        ("plan_gap", "route") => pilot.route(row / GAP_PARTS.len()),
        ("plan_check" | "plan_gap", "season") => return None,
        ("plan_gap", "part") => GAP_PARTS[row % GAP_PARTS.len()].to_owned(),
        ("plan_check", "could_be_true_of") => match row {
            2 => "no".to_owned(),
            3 => "cannot tell".to_owned(),
            _ => return None,
        },
        ("pack_sizing", "route") => pilot.route(row / (KINDS_OF_DAY.len() * PACKS.len())),
        ("pack_sizing", "season") => "winter".to_owned(),
        ("pack_sizing", "midday_charging") => "as driven".to_owned(),
        ("pack_sizing", "scenario") => KINDS_OF_DAY[row / PACKS.len() % KINDS_OF_DAY.len()].to_owned(),
        ("coverage", "route") if row < SEASONS.len() => "all".to_owned(),
        ("coverage", "route") => pilot.route(row / SEASONS.len()),
        ("coverage", "season") => SEASONS[row % SEASONS.len()].to_owned(),
        ("coverage", "temperature_band" | "payload_band") => "all".to_owned(),
        (_, "driver_id") => pilot.driver(driver),
        (_, "vehicle_id") => pilot.vehicle(own),
        (_, "trip_id") => trip(row),
        (_, "route_id" | "route") => pilot.route(row % 4),
        ("routes" | "places", "name") => pilot.named("place", row),
        ("changes", "subject") => ["driver", "vehicle"][row % 2].to_owned(),
        ("changes", "name") if row.is_multiple_of(2) => pilot.driver(row),
        ("changes", "name") => pilot.vehicle(row % pilot.vehicles.max(1)),
        ("changes", "finding") => ["change found", "not shown to differ", "out of line"][row % 3].to_owned(),
        (_, "vehicle_type") => pilot.named("van", 0),
        (_, "regen_level" | "level_reference") => pilot.named(LEVELS[row % 3], row % 3),
        (_, "charger") => pilot.named("charger", row),
        (_, "cell") => cell(row),
        ("calibration", "unit") => "1".to_owned(),
        ("plan_check", "unit") => {
            ["kW.h/[mi_i]", "kW.h/[mi_i]", "1", "1", "1", "[mi_i]"][row % ASSUMED.len()].to_owned()
        }
        ("plan_check", "verdict") => ["agrees", "differs", "cannot tell"][row % 3].to_owned(),
        ("plan_check", "assumption") => ASSUMED[row % ASSUMED.len()].to_owned(),
        (_, "response") => RESPONSES[row % 2].to_owned(),
        (_, "habit") => HABITS[row % 3].to_owned(),
        (_, "comparison_group") => "1".to_owned(),
        (_, "examples") => format!("{}#3 {}#1", trip(1), trip(2)),
        (_, "scenario") => "as driven".to_owned(),
        (_, "service_day") => format!("2026-03-{:02}", 1 + row % 28),
        (_, "evidence" | "recapture_evidence") => EVIDENCE[row % 3].to_owned(),
        (_, "source_file") => pilot.named("log", row),
        (_, "rules") => "ingest-speed-range=3".to_owned(),
        ("signal_value", "signal") => ["as it is", "pack power"][row % 2].to_owned(),
        (_, "kind") => ["ac", "dc"][row % 2].to_owned(),
        (_, "problem" | "why_not_shown") => return None,
        _ if column.nullable() && row.is_multiple_of(3) => return None,
        (_, other) => format!("{} of row {row}", other.replace('_', " ")),
    })
}

fn group(pilot: &Pilot, column: &str, row: usize) -> Option<String> {
    let mut first = 0;
    for (grouping, n) in groupings(pilot) {
        if row < first + n {
            let at = row - first;
            let name = match grouping {
                _ if column == "grouping" => grouping.to_owned(),
                "driver" => pilot.driver(at),
                "vehicle" => pilot.vehicle(at),
                "route" => pilot.route(at),
                "regen_level" => pilot.named(LEVELS[at], at),
                "service_day" => format!("2026-03-{:02}", at + 1),
                "temperature_band" => format!("{} to {} °C", 10 * at, 10 * at + 10),
                "trip" => {
                    format!("{}-{:04}", pilot.vehicle(at % pilot.vehicles.max(1)), at / pilot.vehicles.max(1))
                }
                _ => "all".to_owned(),
            };
            return Some(name);
        }
        first += n;
    }
    None
}
