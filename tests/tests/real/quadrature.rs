//! Tractive and braking energy by a dense midpoint rule, written without the kernels it checks.

use backwatt::tables;
use backwatt_testkit::Table;

use crate::set::{KWH_J, Set, flags};

/// Steps per interval between two samples.
const STEPS: u32 = 2_000;
/// Agreement of the two ways to integrate. [1] The kink where the force changes its sign costs the rule
/// 1 / STEPS² of one interval at most.
const AGREEMENT: f64 = 1e-6;
/// Standard gravity. [m/s²] ISO 80000-3.
const GRAVITY_M_S2: f64 = 9.806_65;
/// Dry air. [J/(kg K)] ISO 2533:1975.
const DRY_AIR_J_KG_K: f64 = 287.052_87;
/// The standard atmosphere at sea level. [Pa, K] ISO 2533:1975.
const SEA_LEVEL_PA: f64 = 101_325.0;
const SEA_LEVEL_K: f64 = 288.15;
/// A gap: at least this, or so many median intervals. [s, 1] The product's rule, as the data dictionary states it.
const GAP_LEAST_S: f64 = 3.0;
const GAP_INTERVALS: f64 = 3.0;

/// What the pilot file says of the vehicle.
pub struct Vehicle {
    pub mass_kg: f64,
    pub payload_kg: f64,
    pub rotating_mass_kg: f64,
    pub drag_area_m2: f64,
    pub rolling_resistance: f64,
}

#[derive(Default)]
struct Sums {
    tractive_j: f64,
    braking_j: f64,
    duration_s: f64,
}

/// Asserts that the segments of a vehicle, run without height, hold the energy the quadrature finds.
pub fn agrees(name: &str, set: &Set, vehicle: &str, sheet: &Vehicle) {
    let sums = integrate(&set.samples[vehicle], sheet);
    let of = |column| set.segments.sum_where(column, "vehicle_id", vehicle);
    for (basis, id) in set.segments.texts("grade_basis").into_iter().zip(set.segments.texts("vehicle_id")) {
        assert!(id.as_deref() != Some(vehicle) || basis.as_deref() == Some("none"), "{name}: {basis:?}");
    }
    let rows = [
        ("tractive kWh", of("energy_tractive_kwh"), sums.tractive_j / KWH_J),
        ("braking kWh", of("energy_braking_kwh"), sums.braking_j / KWH_J),
        ("covered s", of("duration_s"), sums.duration_s),
    ];
    for (what, got, expected) in rows {
        println!("{name} {vehicle} {what}: segments {got}, quadrature {expected}, {:e}", got / expected - 1.0);
        assert!(expected > 0.0, "{name}: {what} is nothing");
        backwatt_testkit::within(&format!("{name} {vehicle} {what}"), got, expected, AGREEMENT);
    }
}

fn integrate(samples: &Table, sheet: &Vehicle) -> Sums {
    let frozen = flags(samples, &tables::SAMPLES, "mask_frozen");
    let times = samples.times("time_ns");
    let speed = samples.numbers("speed_m_s");
    let (ambient, payload) = (held(samples, "temperature_ambient_k"), held(samples, "payload_kg"));
    assert!(speed.iter().all(Option::is_some), "the excerpts have a speed in every row");
    let sound: Vec<usize> = (0..samples.rows()).filter(|&row| !frozen[row]).collect();
    let seconds = |from: usize, to: usize| (times[to] - times[from]) as f64 * 1e-9;
    let mut steps: Vec<f64> = sound.windows(2).map(|pair| seconds(pair[0], pair[1])).collect();
    steps.sort_by(f64::total_cmp);
    let gap_s = GAP_LEAST_S.max(GAP_INTERVALS * steps[steps.len() / 2]);
    let mut sums = Sums::default();
    for pair in sound.windows(2) {
        let (row, next) = (pair[0], pair[1]);
        let duration_s = seconds(row, next);
        // A gap, or frozen rows in between.
        if duration_s > gap_s || next != row + 1 {
            continue;
        }
        let moment = Moment {
            mass_kg: sheet.mass_kg + payload[row].unwrap_or(sheet.payload_kg),
            ambient_k: ambient[row],
        };
        let ends = (speed[row].unwrap_or(0.0), speed[next].unwrap_or(0.0));
        let (tractive_j, braking_j) = wheel_energy(sheet, &moment, ends, duration_s);
        sums.tractive_j += tractive_j;
        sums.braking_j += braking_j;
        sums.duration_s += duration_s;
    }
    sums
}

struct Moment {
    mass_kg: f64,
    ambient_k: Option<f64>,
}

/// Tractive and braking energy of one interval, in joules.
fn wheel_energy(sheet: &Vehicle, moment: &Moment, ends_m_s: (f64, f64), duration_s: f64) -> (f64, f64) {
    let density = SEA_LEVEL_PA / (DRY_AIR_J_KG_K * moment.ambient_k.unwrap_or(SEA_LEVEL_K));
    let drag = 0.5 * density * sheet.drag_area_m2;
    let (from, to) = (ends_m_s.0.max(0.0), ends_m_s.1.max(0.0));
    let constant = (moment.mass_kg + sheet.rotating_mass_kg) * (to - from) / duration_s
        + moment.mass_kg * GRAVITY_M_S2 * sheet.rolling_resistance;
    let (mut tractive, mut braking) = (0.0, 0.0);
    for step in 0..STEPS {
        let v = from + (to - from) * (f64::from(step) + 0.5) / f64::from(STEPS);
        let power = (constant + drag * v * v) * v;
        if power > 0.0 { tractive += power } else { braking -= power }
    }
    let width_s = duration_s / f64::from(STEPS);
    (tractive * width_s, braking * width_s)
}

/// Braking energy of a speed without gaps, at the standard temperature and without payload.
pub fn braking_kwh(times_ns: &[i64], speed_m_s: &[f64], sheet: &Vehicle) -> f64 {
    let moment = Moment { mass_kg: sheet.mass_kg, ambient_k: None };
    let intervals = (1..times_ns.len()).map(|row| {
        let duration_s = (times_ns[row] - times_ns[row - 1]) as f64 * 1e-9;
        wheel_energy(sheet, &moment, (speed_m_s[row - 1], speed_m_s[row]), duration_s).1
    });
    intervals.sum::<f64>() / KWH_J
}

/// The last value seen.
fn held(samples: &Table, column: &str) -> Vec<Option<f64>> {
    let mut last = None;
    samples
        .numbers(column)
        .into_iter()
        .map(|value| {
            last = value.or(last);
            last
        })
        .collect()
}
