//! Group C: closed forms of the force balance, and two handbook examples.

use backwatt_physics::STANDARD_GRAVITY_M_S2;
use backwatt_physics::kernels::road_load::{Conditions, Interval, force_law, integrate, steady_force};
use backwatt_schema::METRES_PER_MILE;
use backwatt_schema::unit::Unit;
use backwatt_testkit::{close, within};

use crate::drive::{Drive, TRUCK, Vehicle};
use crate::tables::{cycle, in_m_s, wltc_km_h};

const FORCE_N: f64 = 0.01;
const POWER_KW: f64 = 1e-4;
const DESCENT_POWER_KW: f64 = 0.01;
const ENERGY_WH_MI: f64 = 0.01;
const DECELERATION_M_S2: f64 = 1e-5;
const STOP_J: f64 = 0.1;
const FAST_STOP_J: f64 = 0.2;
const GRADE_PCT: f64 = 0.001;
const IDENTITY_SHARE: f64 = 1e-9;
/// Equal but for rounding.
const EXACT_SHARE: f64 = 1e-14;
const SENSITIVITY: f64 = 0.001;
const HANDBOOK_FORCE_N: f64 = 0.1;
const HANDBOOK_DRAG_KG_M: f64 = 0.0005;
const HANDBOOK_STOP_SHARE: f64 = 0.002;

const SPEEDS_MPH: [f64; 4] = [10.0, 25.0, 45.0, 65.0];

fn si(value: f64, unit: &str) -> f64 {
    Unit::parse(unit).unwrap_or_else(|| panic!("{unit} is no unit")).to_si(value)
}

fn steady(speed_mph: f64, grade_frac: f64) -> f64 {
    steady_force(&TRUCK.conditions(), si(speed_mph, "mph"), grade_frac)
}

fn stop(speed_m_s: f64, deceleration_m_s2: f64) -> Interval {
    Interval {
        duration_s: speed_m_s / deceleration_m_s2,
        speed_start_m_s: speed_m_s,
        speed_end_m_s: 0.0,
        rise_m: 0.0,
    }
}

#[test]
fn c1_steady_road_load() {
    for (mph, expected) in SPEEDS_MPH.into_iter().zip([558.33, 873.08, 1712.43, 3031.41]) {
        close(&format!("{mph} mph [N]"), steady(mph, 0.0), expected, FORCE_N);
    }
}

#[test]
fn c2_steady_power() {
    for (mph, expected) in SPEEDS_MPH.into_iter().zip([2.4959, 9.7576, 34.4486, 88.0854]) {
        close(&format!("{mph} mph [kW]"), steady(mph, 0.0) * si(mph, "mph") / 1000.0, expected, POWER_KW);
    }
}

/// An hour of steady driving through the replay.
#[test]
fn c3_wheel_energy_per_mile() {
    for (mph, expected) in SPEEDS_MPH.into_iter().zip([249.59, 390.30, 765.53, 1355.16]) {
        let totals = Drive::every(1.0, &vec![si(mph, "mph"); 3601]).totals(&TRUCK);
        let per_mile =
            totals.sum("energy_tractive_kwh") * 1000.0 / (totals.sum("distance_m") / METRES_PER_MILE);
        close(&format!("{mph} mph [Wh/mi]"), per_mile, expected, ENERGY_WH_MI);
    }
}

/// Slowing as fast as the road load alone does it, the wheels neither push nor brake.
#[test]
fn c4_natural_deceleration() {
    for (mph, expected) in SPEEDS_MPH.into_iter().zip([0.080_57, 0.125_99, 0.247_10, 0.437_43]) {
        let natural = steady(mph, 0.0) / TRUCK.conditions().effective_mass_kg();
        close(&format!("{mph} mph [m/s2]"), natural, expected, DECELERATION_M_S2);
        let left = force_law(&TRUCK.conditions(), &stop(si(mph, "mph"), expected)).at(si(mph, "mph"));
        close(&format!("{mph} mph, force left [N]"), left, 0.0, DECELERATION_M_S2 * 6930.0);
    }
}

#[test]
fn c5_stop_from_30_mph() {
    let energy = integrate(&TRUCK.conditions(), &stop(13.4112, 1.0));
    close("kinetic [J]", energy.kinetic_j, -623_215.9, STOP_J);
    close("rolling [J]", energy.rolling_j, 44_818.8, STOP_J);
    close("aero [J]", energy.aero_j, 24_262.3, STOP_J);
    close("braking [J]", energy.braking_j, 554_134.8, STOP_J);
    close("tractive [J]", energy.tractive_j, 0.0, STOP_J);
}

/// A harder stop leaves less to the road load, so more to the brakes.
#[test]
fn c6_harder_stop_from_30_mph() {
    let energy = integrate(&TRUCK.conditions(), &stop(13.4112, 2.0));
    close("braking [J]", energy.braking_j, 588_675.3, STOP_J);
}

#[test]
fn c7_stop_from_60_mph() {
    let energy = integrate(&TRUCK.conditions(), &stop(26.8224, 1.0));
    close("rolling [J]", energy.rolling_j, 179_275.4, FAST_STOP_J);
    close("aero [J]", energy.aero_j, 388_196.7, FAST_STOP_J);
    close("braking [J]", energy.braking_j, 1_925_391.5, FAST_STOP_J);
}

#[test]
fn c8_steady_descent() {
    let cases = [(-0.02, 163.31, 2.920), (-0.04, -1129.66, -20.200), (-0.06, -2419.73, -43.269)];
    for (grade, newtons, kilowatts) in cases {
        close(&format!("{grade} [N]"), steady(40.0, grade), newtons, FORCE_N);
        let power = steady(40.0, grade) * si(40.0, "mph") / 1000.0;
        close(&format!("{grade} [kW]"), power, kilowatts, DESCENT_POWER_KW);
    }
}

/// The check value takes the angle as small; the force balance does not, which is within the tolerance.
#[test]
fn c9_grade_that_needs_no_force() {
    let (mut low, mut high) = (-0.1, 0.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if steady(40.0, middle) < 0.0 { low = middle } else { high = middle }
    }
    close("grade [%]", 100.0 * low, -2.2521, GRADE_PCT);
}

/// From rest to rest: what the wheels gave and did not take back went into rolling, air and height.
#[test]
fn c10_what_goes_in_comes_out() {
    let mut drives = vec![
        ("udds", Drive::every(1.0, &cycle("udds"))),
        ("hwfet", Drive::every(1.0, &cycle("hwfet"))),
        ("udds uphill", Drive::every(1.0, &cycle("udds")).on_grade(0.02)),
    ];
    if let Some(km_h) = wltc_km_h("c10_what_goes_in_comes_out (wltc)") {
        drives.push(("wltc", Drive::every(1.0, &in_m_s(&km_h, "km/h"))));
    }
    for (name, drive) in drives {
        let totals = drive.totals(&TRUCK);
        let losses =
            ["energy_rolling_kwh", "energy_aero_kwh", "energy_grade_kwh"].map(|name| totals.joules(name));
        let wheels = totals.tractive_j() - totals.braking_j();
        within(&format!("{name} [J]"), wheels, losses.iter().sum(), IDENTITY_SHARE);
        let trip_residual = crate::batches::largest(
            &backwatt_schema::tables::TRIPS,
            &totals.replay.trips,
            "ledger_residual_frac",
        );
        close(&format!("{name}, residual stored"), trip_residual, 0.0, IDENTITY_SHARE);
    }
}

/// rho CdA v^4 / (8 a).
#[test]
fn c11_air_drag_of_a_stop() {
    for (speed, deceleration) in [(13.4112, 1.0), (26.8224, 1.0), (8.0, 2.5), (30.0, 0.3)] {
        let closed = 1.2 * 5.0 * f64::powi(speed, 4) / (8.0 * deceleration);
        let energy = integrate(&TRUCK.conditions(), &stop(speed, deceleration));
        within("aero [J]", energy.aero_j, closed, EXACT_SHARE);
    }
}

fn on_udds(vehicle: &Vehicle) -> (f64, f64) {
    let totals = Drive::every(1.0, &cycle("udds")).totals(vehicle);
    (totals.braking_j(), totals.tractive_j())
}

#[test]
fn c12_sensitivity_to_mass() {
    let (braking, tractive) = on_udds(&TRUCK);
    for (factor, braking_factor, tractive_factor) in [(0.9, 0.888, 0.927), (1.1, 1.113, 1.073)] {
        let other = on_udds(&Vehicle { mass_kg: 6600.0 * factor, rotating_mass_kg: 330.0 * factor, ..TRUCK });
        close(&format!("braking, mass x {factor}"), other.0 / braking, braking_factor, SENSITIVITY);
        close(&format!("tractive, mass x {factor}"), other.1 / tractive, tractive_factor, SENSITIVITY);
    }
}

#[test]
fn c13_sensitivity_to_drag_rolling_and_rotating_mass() {
    let (braking, _) = on_udds(&TRUCK);
    let others = [
        ("CdA + 20 %", Vehicle { drag_area_m2: 6.0, ..TRUCK }, 0.976),
        ("C_rr + 20 %", Vehicle { rolling_resistance: 0.0077 * 1.2, ..TRUCK }, 0.972),
        ("no rotating mass", Vehicle { rotating_mass_kg: 0.0, ..TRUCK }, 0.940),
    ];
    for (what, vehicle, expected) in others {
        close(what, on_udds(&vehicle).0 / braking, expected, SENSITIVITY);
    }
}

/// Larminie and Lowry, Electric Vehicle Technology Explained, chapter on performance modelling; inputs from memory,
/// the arithmetic reproduces. The book prints 72.4 + 0.214 v^2.
#[test]
fn c14_handbook_car() {
    let car = Conditions {
        mass_kg: 1540.0,
        rotating_mass_kg: 0.0,
        rolling_resistance: 0.0048,
        drag_area_m2: 0.19 * 1.8,
        air_density_kg_m3: 1.25,
        gravity_m_s2: 9.81,
        headwind_m_s: 0.0,
    };
    let standing = steady_force(&car, 0.0, 0.0);
    close("rolling [N]", standing, 72.5, HANDBOOK_FORCE_N);
    close("drag [kg/m]", (steady_force(&car, 20.0, 0.0) - standing) / 400.0, 0.2138, HANDBOOK_DRAG_KG_M);
}

/// Gillespie, Fundamentals of Vehicle Dynamics, braking chapter, example 1 (g 32.2 ft/s2, no drag); inputs and answers
/// from memory, the arithmetic reproduces.
#[test]
fn c15_handbook_stop() {
    let car = Conditions {
        mass_kg: si(3635.0, "lb"),
        rotating_mass_kg: 0.0,
        rolling_resistance: 0.0,
        drag_area_m2: 0.0,
        air_density_kg_m3: 1.2,
        gravity_m_s2: STANDARD_GRAVITY_M_S2,
        headwind_m_s: 0.0,
    };
    let force = si(2000.0, "lbf");
    let speed = si(88.0, "ft/s");
    let stop = stop(speed, force / car.effective_mass_kg());
    within("deceleration [ft/s2]", -stop.acceleration_m_s2() / 0.3048, 17.72, HANDBOOK_STOP_SHARE);
    within("distance [ft]", stop.distance_m() / 0.3048, 218.6, HANDBOOK_STOP_SHARE);
    within("time [s]", stop.duration_s, 4.967, HANDBOOK_STOP_SHARE);
    let braking = integrate(&car, &stop).braking_j;
    within("energy [J]", braking, 592.6e3, HANDBOOK_STOP_SHARE);
    let horsepower = si(1.0, "hp");
    within(
        "initial power [hp]",
        -force_law(&car, &stop).at(speed) * speed / horsepower,
        320.0,
        HANDBOOK_STOP_SHARE,
    );
    within("mean power [hp]", braking / stop.duration_s / horsepower, 160.0, HANDBOOK_STOP_SHARE);
}
