//! R12 by hand: the stops of checks C5 and C6 against each other.

use backwatt_estimate::{StopLengths, avoidable_losses};
use backwatt_physics::{LiftOff, ReplaySettings, Sheet, SpeedReading};
use backwatt_schema::tables;
use backwatt_testkit::{close, within};

use crate::batches::numbers;
use crate::drive::{Drive, TRUCK};

/// 30 mph. [m/s]
const SPEED: f64 = 13.4112;
const EFFICIENCY: f64 = 0.86;
const WEIGHT_N: f64 = 6600.0 * 9.806_65;
const ROLLING: f64 = 0.0077;
const RHO_CDA: f64 = 1.2 * 5.0;

/// Braking energy of a stop from 30 mph over a distance at constant deceleration, closed form (C5, C11). [J]
fn braking_j(distance_m: f64) -> f64 {
    let deceleration = SPEED * SPEED / (2.0 * distance_m);
    let kinetic = 0.5 * 6930.0 * SPEED * SPEED;
    kinetic - WEIGHT_N * ROLLING * distance_m - RHO_CDA * SPEED.powi(4) / (8.0 * deceleration)
}

/// Energy at the wheels to hold 30 mph over a distance. [J]
fn cruising_j(distance_m: f64) -> f64 {
    (WEIGHT_N * ROLLING + 0.5 * RHO_CDA * SPEED * SPEED) * distance_m
}

/// A stop at 2 m/s², seen from a distance at which the truck still cruised. [kWh]
fn driven_kwh(distance_m: f64) -> f64 {
    let length = SPEED * SPEED / 4.0;
    (cruising_j(distance_m - length) / EFFICIENCY - EFFICIENCY * braking_j(length)) / 3.6e6
}

#[test]
fn closed_forms_are_those_of_c5_and_c6() {
    close("C5", braking_j(SPEED * SPEED / 2.0), 554_134.8, 0.1);
    close("C6", braking_j(SPEED * SPEED / 4.0), 588_675.3, 0.1);
}

/// A truck that takes back all braking and draws nothing beside: only efficiency is left to reckon with.
fn all_taken() -> Sheet {
    let mut sheet = TRUCK.sheet();
    for truck in [&mut sheet.nominal, &mut sheet.low, &mut sheet.high] {
        truck.axle_limit_m_s2 = 9.0;
        truck.motor_force_max_n = 1e6;
        truck.motor_power_max_w = 1e9;
        truck.acceptance.power_max_w = 1e9;
        truck.aux_power_w = 0.0;
        for level in &mut truck.levels {
            level.lift_off = LiftOff::Force { n: 1e6 };
            (level.fade_start_m_s, level.fade_end_m_s) = (0.0, 0.0);
        }
    }
    sheet
}

/// Setting off, 30 s of cruise, a stop of 8 steps, 5 s of standing; again for each deceleration.
fn stops(decelerations: &[f64]) -> Drive {
    let (mut drive, mut now) = (Drive::default(), 0.0);
    let mut put = |step_s: f64, speed: f64| {
        now += step_s;
        drive.time_s.push(now);
        drive.speed_m_s.push(speed);
    };
    for deceleration in decelerations {
        put(1.0, 0.0);
        put(15.0 / 8.0, 0.1 * SPEED);
        (1..=9).for_each(|i| put(1.5, SPEED * (0.1 + 0.1 * f64::from(i))));
        (0..30).for_each(|_| put(1.0, SPEED));
        let step_s = SPEED / deceleration / 8.0;
        (1..=8).for_each(|i| put(step_s, SPEED * f64::from(8 - i) / 8.0));
        (0..4).for_each(|_| put(1.0, 0.0));
    }
    drive
}

fn approaches(decelerations: &[f64]) -> arrow::array::RecordBatch {
    let settings = ReplaySettings { speed: SpeedReading::AsLogged, ..ReplaySettings::default() };
    stops(decelerations).replay_with(&TRUCK, &all_taken(), &settings).replay.approaches
}

#[test]
fn places_before_a_stop_hold_the_closed_forms() {
    let found = approaches(&[2.0]);
    let column = |name: &str| numbers(&tables::APPROACHES, &found, name);
    let (distances, driven) = (column("distance_to_stop_m"), column("energy_driven_kwh"));
    let reference = column("energy_reference_kwh");
    assert!(distances.len() > 10, "{} places", distances.len());
    let mut checked = 0;
    for (row, distance) in distances.iter().enumerate() {
        let distance = distance.expect("a distance");
        if distance < SPEED * SPEED / 4.0 + SPEED {
            continue;
        }
        within(&format!("driven from {distance} m"), driven[row].unwrap(), driven_kwh(distance), 1e-9);
        // Beyond some 180 m a constant deceleration asks for less than road load takes: then for traction.
        if distance < 150.0 {
            let expected = -EFFICIENCY * braking_j(distance) / 3.6e6;
            within(&format!("reference over {distance} m"), reference[row].unwrap(), expected, 1e-9);
            checked += 1;
        }
    }
    assert!(checked >= 3, "{checked}");
}

/// Nineteen stops as C5, one as C6: what the hard one cost beyond the others.
#[test]
fn a_hard_stop_among_gentle_ones() {
    let mut decelerations = vec![1.0; 19];
    decelerations.push(2.0);
    let found = approaches(&decelerations);
    let lengths = StopLengths::of(&found).expect("approaches");
    let losses = avoidable_losses(&found, &lengths).expect("losses");
    let column = |name: &str| numbers(&tables::AVOIDABLE_LOSSES, &losses, name);
    let (avoidable, reference) = (column("energy_avoidable_kwh"), column("reference_m"));
    assert_eq!(avoidable.len(), 20);
    // The lengths are counted in classes of 25 m; by the 5 % rule a stop begins a little late. It is no longer than C5's.
    let length = reference[19].expect("a reference");
    assert!((75.0..=100.0).contains(&length), "{length} m");
    let expected = driven_kwh(length) + EFFICIENCY * braking_j(length) / 3.6e6;
    println!("the hard stop cost {:.6} kWh more, by hand {expected:.6}", avoidable[19].unwrap());
    // Linear between places 25 m apart.
    within("avoidable", avoidable[19].unwrap(), expected, 0.01);
    for gentle in &avoidable[..19] {
        // Up to 10 m of cruising, by the classes.
        assert!(gentle.unwrap().abs() < 0.2 * expected, "{gentle:?}");
    }
    // With C5's own length: 44.97 m of cruising saved, less what the gentler stop brakes less.
    let c5 = driven_kwh(SPEED * SPEED / 2.0) + EFFICIENCY * 554_134.8 / 3.6e6;
    close("C6 against C5 [kWh]", c5, 0.006_823_5, 1e-6);
}
