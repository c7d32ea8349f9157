//! The numbers that were assumed: energy per distance, regen share, climate share, range.

use std::collections::BTreeMap;

use backwatt_estimate::plan::{Assumption, Covers, Kind, Measure, Scope};
use backwatt_schema::unit::Dimension;
use backwatt_schema::{JOULES_PER_KWH, METRES_PER_MILE};

use super::{season, tolerance};
use crate::VehicleType;
use crate::document::Section;

pub fn read(plan: &Section<'_, '_>, margin: f64, types: &BTreeMap<String, VehicleType>) -> Vec<Assumption> {
    let mut found = Vec::new();
    let mut take = |key: &str, value: fn(&Section<'_, '_>) -> Option<(Kind, f64)>| {
        for table in plan.sections(key) {
            let scope = scope(&table, types);
            let tolerance_frac = tolerance(&table, "tolerance").unwrap_or(margin);
            if let Some((kind, value)) = value(&table) {
                found.push(Assumption { scope, kind, value, tolerance_frac });
            }
            table.finish();
        }
    };
    take("energy", energy);
    take("regen", regen);
    take("climate", climate);
    take("range", range);
    found
}

fn scope(table: &Section<'_, '_>, types: &BTreeMap<String, VehicleType>) -> Scope {
    let vehicle_type = table.text("vehicle_type").map(|at| at.value);
    if let Some(wanted) = &vehicle_type {
        crate::check_type(table, "vehicle_type", wanted, types);
    }
    Scope { vehicle_type, route: table.text("route").map(|at| at.value), season: season(table) }
}

fn energy(table: &Section<'_, '_>) -> Option<(Kind, f64)> {
    let covers = match table.text("covers").map(|at| at.value).as_deref() {
        Some("trips") => Covers::Trips,
        Some("driving") | None => Covers::Driving,
        Some(other) => {
            let message = format!("\"{other}\" is nothing an energy per distance covers");
            table.fault(
                "pilot-plan-covers",
                "covers",
                message,
                "driving, or trips (stops within them included)".into(),
            );
            Covers::Driving
        }
    };
    if !table.has("covers") {
        table.default("covers", "driving", "as the consumption of every other table");
    }
    let per_m = needed(
        table,
        "use",
        "use = \"1.0 kW.h/mi\"",
        table.quantity("use", Dimension::EnergyPerLength).map(|at| at.value),
    )?;
    Some((Kind::Energy(covers), per_m / JOULES_PER_KWH * METRES_PER_MILE))
}

fn regen(table: &Section<'_, '_>) -> Option<(Kind, f64)> {
    let of = table.text("of").map(|at| at.value);
    let measure = match of.as_deref() {
        Some("braking") => Some(Measure::Braking),
        Some("use") => Some(Measure::Use),
        Some("net use") => Some(Measure::NetUse),
        Some("range") => Some(Measure::RangeGain),
        Some("unstated") => None,
        None => {
            if !table.has("of") {
                table.default("of", "unstated", "checked as a share of each thing it may be a share of");
            }
            None
        }
        Some(other) => {
            let message = format!("a regen share of \"{other}\" is not known here");
            let hint = "braking, use (gross discharge), net use, range (gain), or unstated".to_owned();
            table.fault("pilot-plan-regen", "of", message, hint);
            None
        }
    };
    share(table).map(|share| (Kind::Regen(measure), share))
}

fn climate(table: &Section<'_, '_>) -> Option<(Kind, f64)> {
    share(table).map(|share| (Kind::Climate, share))
}

fn range(table: &Section<'_, '_>) -> Option<(Kind, f64)> {
    let packs = needed(table, "packs", "packs = 3", table.number("packs").map(|at| at.value))?;
    let metres = needed(
        table,
        "range",
        "range = \"60 mi\"",
        table.quantity("range", Dimension::Length).map(|at| at.value),
    )?;
    Some((Kind::Range { packs }, metres / METRES_PER_MILE))
}

fn share(table: &Section<'_, '_>) -> Option<f64> {
    let share = needed(table, "share", "share = \"30 %\"", table.share("share").map(|at| at.value))?;
    if share >= 1.0 {
        let message = format!("\"{}\" must lie below 1", table.key_path("share"));
        table.fault("pilot-out-of-range", "share", message, "\"30 %\" or 0.3".into());
    }
    Some(share)
}

/// A value above 0, or a fault.
fn needed(table: &Section<'_, '_>, key: &str, example: &str, value: Option<f64>) -> Option<f64> {
    if value.is_some_and(|value| value > 0.0) {
        return value;
    }
    // A value that could not be read has been complained of already.
    if value.is_some() || !table.has(key) {
        let message = format!("[{}] needs \"{key}\", above 0", table.path);
        table.fault("pilot-plan-incomplete", key, message, example.to_owned());
    }
    None
}
