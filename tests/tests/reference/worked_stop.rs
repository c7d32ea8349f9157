//! The stop of check C6 through a cascade in which every limit takes its part: the handbook's picture of the cascade.

use backwatt_physics::{Blending, ReplaySettings, Sheet, SpeedReading};
use backwatt_schema::tables;
use backwatt_testkit::{close, evidence, within};

use crate::drive::{Drive, TRUCK};

/// 30 mph and the deceleration of C6. [m/s, m/s²]
const SPEED: f64 = 13.4112;
const DECELERATION: f64 = 2.0;
const BRAKING_J: f64 = 588_675.3;
/// [m/s²]
const AXLE: f64 = 1.9;

/// The reference truck with parallel blending, a small motor, and a battery that takes 60 kW.
fn limited() -> Sheet {
    let mut sheet = TRUCK.sheet();
    for truck in [&mut sheet.nominal, &mut sheet.low, &mut sheet.high] {
        truck.axle_limit_m_s2 = AXLE;
        truck.blending = Blending::Parallel { pedal_share: 0.6 };
        truck.motor_force_max_n = 9_600.0;
        truck.motor_power_max_w = 90e3;
        truck.acceptance.power_max_w = 60e3;
        truck.aux_power_w = 4_000.0;
    }
    sheet
}

fn stop() -> Drive {
    let steps = 8;
    let seconds = SPEED / DECELERATION;
    let at = |step: i32| f64::from(step) / f64::from(steps);
    // Standing after it, so that the stop ends within the log.
    let time_s = (0..=steps).map(|step| seconds * at(step)).chain([seconds + 1.0, seconds + 2.0]).collect();
    let speed_m_s = (0..=steps).map(|step| SPEED * (1.0 - at(step))).chain([0.0, 0.0]).collect();
    Drive { time_s, speed_m_s, grade_frac: Vec::new() }
}

/// Braking beyond the axle's limit, in closed form: D = m_e a − m g C_rr − ½ρC_dA v², summed over v dv/a. [J]
fn beyond_axle_j() -> f64 {
    let level = 6930.0 * DECELERATION - 6600.0 * 9.806_65 * 0.0077 - 6600.0 * AXLE;
    (level * SPEED.powi(2) / 2.0 - 3.0 * SPEED.powi(4) / 4.0) / DECELERATION
}

#[test]
fn every_limit_takes_its_part_of_one_stop() {
    let settings = ReplaySettings { speed: SpeedReading::AsLogged, ..ReplaySettings::default() };
    let totals = stop().replay_with(&TRUCK, &limited(), &settings);
    let parts: Vec<(&str, f64)> = tables::CASCADE.iter().map(|name| (*name, totals.joules(name))).collect();
    let gains: Vec<(&str, f64)> = tables::GAINS.iter().map(|name| (*name, totals.joules(name))).collect();
    for (name, joules) in parts.iter().chain(&gains) {
        println!("{name}: {joules:.0} J");
    }
    close("braking [J]", totals.braking_j(), BRAKING_J, 0.1);
    within("the nine columns [J]", parts.iter().map(|part| part.1).sum(), BRAKING_J, 1e-6);
    close("beyond the axle [J]", parts[0].1, beyond_axle_j(), 0.1);
    let recoverable = parts[parts.len() - 1].1;
    within(
        "recoverable and gains [J]",
        recoverable + gains.iter().map(|gain| gain.1).sum::<f64>(),
        BRAKING_J,
        1e-6,
    );
    assert!(parts.iter().all(|part| part.1 > 0.002 * BRAKING_J), "a limit takes no part: {parts:?}");
    assert!(gains[..gains.len() - 1].iter().all(|gain| gain.1 >= 0.0), "{gains:?}");
    let rows: Vec<String> =
        parts.iter().chain(&gains).map(|(name, joules)| format!("{name},{joules:.1}")).collect();
    evidence::write("worked-stop.csv", "column,joules", &rows);
}
