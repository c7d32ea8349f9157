//! The truth files: what really happened, from the inner model.

use std::fmt::Write as _;
use std::path::Path;

use super::truck_logs::{DefectRecord, TruckLogs};
use crate::drive::account::Account;
use crate::drive::battery::{PACK_ENERGY_KWH, WINDOW_FRAC};
use crate::drive::day::DayTruth;
use crate::error::{DemoError, make_folder, write_file};
use crate::fleet::drivers::DRIVERS;
use crate::fleet::trucks::Truck;
use crate::fleet::types::LEVEL_NAMES;
use crate::place::routes::Route;

const J_PER_KWH: f64 = 3.6e6;

/// A named figure of an account.
type Figure = (&'static str, fn(&Account) -> f64);

/// Energies that only a whole day has.
const DAY_FIGURES: [Figure; 18] = [
    ("energy_tractive_kwh", |book| book.tractive_j),
    ("energy_braking_kwh", |book| book.braking_j),
    ("energy_friction_kwh", |book| book.friction_j),
    ("energy_regen_wheel_kwh", |book| book.regen_wheel_j),
    ("energy_recoverable_kwh", |book| book.recoverable_j),
    ("energy_returned_kwh", |book| book.returned_j),
    ("energy_recovered_kwh", |book| book.recovered_j),
    ("energy_discharge_gross_kwh", |book| book.discharge_j),
    ("energy_auxiliary_kwh", |book| book.auxiliary_j),
    ("energy_auxiliary_key_off_kwh", |book| book.auxiliary_key_off_j),
    ("energy_kinetic_kwh", |book| book.kinetic_j),
    ("energy_grade_kwh", |book| book.grade_j),
    ("energy_rolling_kwh", |book| book.rolling_j),
    ("energy_aero_kwh", |book| book.aero_j),
    ("energy_battery_heat_kwh", |book| book.battery_heat_j),
    ("energy_plug_kwh", |book| book.plug_j),
    ("energy_plug_logged_kwh", |book| book.plug_logged_j),
    ("energy_wall_kwh", |book| book.wall_j),
];

/// Energies of the part of a day driven at one level.
const LEVEL_FIGURES: [Figure; 7] = [
    ("energy_tractive_kwh", |book| book.tractive_j),
    ("energy_braking_kwh", |book| book.braking_j),
    ("energy_friction_kwh", |book| book.friction_j),
    ("energy_regen_wheel_kwh", |book| book.regen_wheel_j),
    ("energy_recoverable_kwh", |book| book.recoverable_j),
    ("energy_returned_kwh", |book| book.returned_j),
    ("energy_recovered_kwh", |book| book.recovered_j),
];

/// Writes all truth files into a folder.
pub fn write(folder: &Path, fleet: &[Truck], routes: &[Route], all: &[TruckLogs]) -> Result<(), DemoError> {
    make_folder(folder)?;
    let days: Vec<&DayTruth> = all.iter().flat_map(|logs| &logs.days).collect();
    let defects: Vec<&DefectRecord> = all.iter().flat_map(|logs| &logs.defects).collect();
    let save = |name: &str, text: String| write_file(&folder.join(name), text.as_bytes());
    save("vehicle_days.csv", vehicle_days(fleet, &days, routes))?;
    save("levels.csv", levels(fleet, &days))?;
    save("drivers.csv", drivers(&days))?;
    save("vehicles.csv", vehicles(fleet, &days))?;
    save("defects.csv", defect_rows(fleet, &defects))
}

fn vehicle_days(fleet: &[Truck], days: &[&DayTruth], routes: &[Route]) -> String {
    let mut text = String::from(
        "vehicle,vehicle_type,date,driver,route,is_updated,temperature_mean_deg_c,distance_m,moving_s,\
         payload_distance_mean_kg,soc_start_frac,soc_end_frac",
    );
    push_names(&mut text, &DAY_FIGURES);
    for truth in days {
        let (shift, day) = (truth.shift, &truth.day);
        let _ = write!(
            text,
            "{},{},{},{},{},{},{:.2},{:.1},{:.1},{:.1},{:.5},{:.5}",
            fleet[shift.truck].id,
            fleet[shift.truck].kind.id,
            shift.date(),
            DRIVERS[shift.driver].name,
            routes[shift.route].name,
            u8::from(shift.is_updated(&fleet[shift.truck])),
            truth.temperature_mean_deg_c,
            day.distance_m,
            day.moving_s,
            day.payload_distance_kg_m / day.distance_m.max(1.0),
            truth.soc_start_frac,
            truth.soc_end_frac,
        );
        push_figures(&mut text, &DAY_FIGURES, day);
    }
    text
}

fn levels(fleet: &[Truck], days: &[&DayTruth]) -> String {
    let mut text = String::from("vehicle,date,regen_level,distance_m,moving_s");
    push_names(&mut text, &LEVEL_FIGURES);
    for truth in days {
        for (name, book) in LEVEL_NAMES.iter().zip(&truth.levels) {
            if book.moving_s > 0.0 {
                let (id, date) = (fleet[truth.shift.truck].id, truth.shift.date());
                let _ = write!(text, "{id},{date},{name},{:.1},{:.1}", book.distance_m, book.moving_s);
                push_figures(&mut text, &LEVEL_FIGURES, book);
            }
        }
    }
    text
}

fn drivers(days: &[&DayTruth]) -> String {
    let mut text = String::from(
        "driver,lift_off_at_m_s2,brake_at_m_s2,acceleration_m_s2,speed_share,usual_level,\
         other_level_chance,vehicle_days,distance_m,energy_braking_kwh,energy_recoverable_kwh,\
         energy_recovered_kwh\n",
    );
    for (index, driver) in DRIVERS.iter().enumerate() {
        let own: Vec<&&DayTruth> = days.iter().filter(|truth| truth.shift.driver == index).collect();
        let sum = |value: fn(&Account) -> f64| own.iter().map(|truth| value(&truth.day)).sum::<f64>();
        if own.is_empty() {
            continue;
        }
        let _ = writeln!(
            text,
            "{},{},{},{},{},{},{},{},{:.1},{:.5},{:.5},{:.5}",
            driver.name,
            driver.lift_off_at_m_s2,
            driver.brake_at_m_s2,
            driver.acceleration_m_s2,
            driver.speed_share,
            LEVEL_NAMES[driver.usual_level],
            driver.other_level_chance,
            own.len(),
            sum(|book| book.distance_m),
            sum(|book| book.braking_j) / J_PER_KWH,
            sum(|book| book.recoverable_j) / J_PER_KWH,
            sum(|book| book.recovered_j) / J_PER_KWH,
        );
    }
    text
}

/// The trucks as they truly are.
fn vehicles(fleet: &[Truck], days: &[&DayTruth]) -> String {
    let mut text = String::from(
        "vehicle,vehicle_type,mass_empty_kg,mass_rotating_kg,area_drag_m2,rolling_resistance_20_deg_c,\
         energy_usable_kwh,wheel_scale,current_offset_a,has_refrigeration,has_update\n",
    );
    let is_driven = |index: usize| days.iter().any(|truth| truth.shift.truck == index);
    for (_, truck) in fleet.iter().enumerate().filter(|(index, _)| is_driven(*index)) {
        let kind = truck.kind;
        let _ = writeln!(
            text,
            "{},{},{},{},{},{},{:.3},{},{},{},{}",
            truck.id,
            kind.id,
            kind.mass_kg,
            kind.rotating_mass_kg,
            kind.drag_area_m2,
            kind.rolling_resistance,
            kind.packs * PACK_ENERGY_KWH * WINDOW_FRAC * truck.state_of_health_frac,
            truck.wheel_scale,
            truck.current_offset_a,
            u8::from(truck.has_refrigeration),
            u8::from(truck.has_firmware_update),
        );
    }
    text
}

fn defect_rows(fleet: &[Truck], defects: &[&DefectRecord]) -> String {
    let mut text = String::from("kind,vehicle,date,file,line,rows,time_utc,detail\n");
    for record in defects {
        let time = jiff::Timestamp::from_second(record.done.time_s).unwrap_or_default();
        let _ = writeln!(
            text,
            "{},{},{},{},{},{},{time},{}",
            record.done.kind.name(),
            fleet[record.shift.truck].id,
            record.shift.date(),
            record.file,
            record.line,
            record.done.rows.len(),
            record.done.detail,
        );
    }
    text
}

fn push_names(text: &mut String, figures: &[Figure]) {
    for (name, _) in figures {
        text.push(',');
        text.push_str(name);
    }
    text.push('\n');
}

fn push_figures(text: &mut String, figures: &[Figure], book: &Account) {
    for (_, value) in figures {
        // Whole millionths, plus zero: no "-0.000000" from rounding.
        let energy_kwh = (value(book) / J_PER_KWH * 1e6).round() / 1e6 + 0.0;
        let _ = write!(text, ",{energy_kwh:.6}");
    }
    text.push('\n');
}
