//! The stop of check C6 through a cascade in which every limit takes its part: the handbook's picture of the cascade.

use backwatt_physics::{Blending, Level, LiftOff, ReplaySettings, Sheet, SpeedReading};
use backwatt_schema::tables;
use backwatt_testkit::{close, evidence, within};

use crate::drive::{Drive, TRUCK};

/// 30 mph and the deceleration of C6. [m/s, m/s²]
const SPEED: f64 = 13.4112;
const DECELERATION: f64 = 2.0;
const BRAKING_J: f64 = 588_675.3;
/// A dense sum of 200,000 steps against the exact pieces. [J]
const DENSE_J: f64 = 0.5;
/// [m/s²]
const AXLE: f64 = 1.9;
/// Lift-off at the level as set and at the strongest. [N]
const LIFT_OFF: f64 = 6930.0;
const STRONGEST: f64 = 6930.0 * 1.4;

/// The reference truck with parallel blending, a stronger level beside the one set, a small motor, and a battery that takes
/// 60 kW.
fn limited() -> Sheet {
    let mut sheet = TRUCK.sheet();
    for truck in [&mut sheet.nominal, &mut sheet.low, &mut sheet.high] {
        truck.axle_limit_m_s2 = AXLE;
        truck.blending = Blending::Parallel { pedal_share: 0.6 };
        let lift_off = LiftOff::Force { n: STRONGEST };
        truck.levels.push(Level { name: "strongest".to_owned(), lift_off, ..truck.levels[0].clone() });
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

/// The limits one after the other at each of many speeds, summed over v dv/a: what each takes, and what is left,
/// in the order of the columns. [J]
fn dense() -> [f64; 10] {
    const STEPS: u32 = 200_000;
    let mut sums = [0.0; 10];
    let step = SPEED / f64::from(STEPS);
    for at in 0..STEPS {
        let v = (f64::from(at) + 0.5) * step;
        let seconds = step / DECELERATION;
        let demand = 6930.0 * DECELERATION - 6600.0 * 9.806_65 * 0.0077 - 3.0 * v * v;
        let fade = ((v - 1.0) / 2.0).clamp(0.0, 1.0);
        let axle = demand.min(6600.0 * AXLE);
        let blended =
            |lift_off: f64, fade: f64| axle.min(fade * lift_off + fade * 0.6 * (axle - fade * lift_off));
        let (strongest, unfaded) = (blended(STRONGEST, 1.0), blended(LIFT_OFF, 1.0));
        let level = blended(LIFT_OFF, fade);
        let torque = level.min(9_600.0);
        let power = torque.min(90e3 / v);
        let accepted = power.min((60e3 + 4e3) / (0.86 * v));
        let bus_w = 0.86 * accepted * v;
        let auxiliaries_w = bus_w.min(4e3);
        let watts = [
            (demand - axle) * v,
            (axle - strongest) * v,
            (unfaded - level) * v,
            (strongest - unfaded) * v,
            (level - torque) * v,
            (torque - power) * v,
            (power - accepted) * v,
            0.14 * accepted * v,
            auxiliaries_w,
            bus_w - auxiliaries_w,
        ];
        sums.iter_mut().zip(watts).for_each(|(sum, watts)| *sum += watts * seconds);
    }
    sums
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
    within("the ten columns [J]", parts.iter().map(|part| part.1).sum(), BRAKING_J, 1e-6);
    close("beyond the axle [J]", parts[0].1, beyond_axle_j(), 0.1);
    for ((name, found), dense) in parts.iter().zip(dense()) {
        close(&format!("{name} [J]"), *found, dense, DENSE_J);
    }
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
