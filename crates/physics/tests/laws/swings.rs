//! Intervals of the cascade's steps, against draws of every value of the sheet at once.
//!
//! Source of the way of checking: JCGM 101:2008, propagation of distributions by a Monte Carlo method.

use std::collections::BTreeMap;

use backwatt_physics::{Blending, Level, LiftOff, Losses, Open, Replay, ReplaySettings, Sheet, Truck};
use backwatt_schema::tables::{CASCADE, SEGMENTS, STEP_SWINGS, SWINGS};
use backwatt_schema::{BatchView, number_at};

use super::made::{Log, exactly, known, plain};

/// A value of the sheet and how it is set, from -1 (unfavourable) over 0 to 1.
type Value = fn(&mut Truck, f64);

/// Ends of unlike length where a sheet has them so.
fn between(at: f64, [low, nominal, high]: [f64; 3]) -> f64 {
    nominal + at.abs() * (if at < 0.0 { low } else { high } - nominal)
}

const VALUES: [Value; 9] = [
    |truck, at| truck.mass_empty_kg *= 1.0 + 0.1 * at,
    |truck, at| truck.drag_area_m2 *= 1.0 - 0.15 * at,
    |truck, at| truck.rolling_resistance *= 1.0 - 0.2 * at,
    |truck, at| truck.losses = Losses::Constant { efficiency: between(at, [0.80, 0.86, 0.90]) },
    |truck, at| truck.axle_limit_m_s2 = between(at, [1.2, 1.9, 3.8]),
    |truck, at| truck.motor_power_max_w = between(at, [66e3, 90e3, 120e3]),
    |truck, at| truck.aux_power_w = between(at, [2.0e3, 800.0, 400.0]),
    |truck, at| {
        for level in &mut truck.levels {
            let LiftOff::Deceleration { m_s2, .. } = &mut level.lift_off else { unreachable!() };
            *m_s2 *= 1.0 + 0.2 * at;
        }
    },
    |truck, at| {
        for level in &mut truck.levels {
            (level.fade_start_m_s, level.fade_end_m_s) =
                (between(at, [1.8, 1.5, 1.2]), between(at, [7.0, 5.0, 4.0]));
        }
    },
];

const NAMES: [&str; 9] =
    ["mass", "drag", "rolling", "losses", "axle", "power", "auxiliaries", "lift-off", "fade"];

fn nominal() -> Truck {
    let level = |name: &str, m_s2| Level {
        name: name.to_owned(),
        lift_off: LiftOff::Deceleration { m_s2, includes_road_load: false },
        fade_start_m_s: 1.5,
        fade_end_m_s: 5.0,
    };
    Truck {
        motor_power_max_w: 90e3,
        blending: Blending::Parallel { pedal_share: 0.5 },
        levels: vec![level("low", 0.5), level("high", 1.2)],
        ..plain()
    }
}

fn sheet() -> Sheet {
    let set = |value: Value, at: f64| {
        let mut truck = nominal();
        value(&mut truck, at);
        truck
    };
    let open =
        |(name, value): (&'static str, &Value)| Open { name, ends: [set(*value, -1.0), set(*value, 1.0)] };
    Sheet { open: NAMES.into_iter().zip(&VALUES).map(open).collect(), ..exactly(&nominal()) }
}

/// Stops from 8 to 20 m/s, gentle and hard, over hills.
fn log() -> Log {
    let mut speeds = vec![0.0; 5];
    for stop in 0..60_u32 {
        let top = 8.0 + f64::from(stop * 7 % 13);
        let pace = 0.4 + f64::from(stop * 5 % 11) / 5.0;
        speeds.extend((1..=10).map(|second| top * f64::from(second) / 10.0));
        let seconds = (top / pace).ceil() as u32;
        speeds.extend((0..=seconds).map(|second| (top - pace * f64::from(second)).max(0.0)));
        speeds.extend([0.0; 4]);
    }
    let heights: Vec<f64> = (0..speeds.len()).map(|at| 20.0 * (at as f64 / 60.0).sin()).collect();
    let pedal = vec![1.0; speeds.len()];
    let steps = vec![1.0; speeds.len()];
    Log::new(&speeds, &steps).with("altitude_m", known(&heights)).with("brake_pedal_frac", known(&pedal))
}

fn sum(replay: &Replay, column: &str) -> f64 {
    let view = BatchView::new(&SEGMENTS, &replay.segments);
    let numbers = view.numbers(column).unwrap_or_else(|e| panic!("{e}"));
    (0..view.rows()).filter_map(|row| number_at(numbers, row)).sum()
}

fn shares(replay: &Replay) -> [f64; CASCADE.len()] {
    CASCADE.map(|step| sum(replay, step) / sum(replay, "energy_braking_kwh"))
}

/// The 90 % interval that the moves of a step leave, each value's summed over all rows, values independent.
fn told(replay: &Replay, step: usize, share: f64, braking: f64) -> [f64; 2] {
    let view = BatchView::new(&STEP_SWINGS, &replay.step_swings);
    let names = view.texts("value").unwrap_or_else(|e| panic!("{e}"));
    let mut moves: BTreeMap<&str, [f64; 2]> = BTreeMap::new();
    for (end, column) in SWINGS[step].into_iter().enumerate() {
        let numbers = view.numbers(column).unwrap_or_else(|e| panic!("{e}"));
        for row in 0..view.rows() {
            moves.entry(names.value(row)).or_default()[end] += numbers.value(row) / braking;
        }
    }
    let reach = |sign: f64| {
        let most = moves.values().map(|[one, other]| (sign * one).max(sign * other).max(0.0).powi(2));
        1.645 * (most.sum::<f64>() / 3.0).sqrt()
    };
    [(share - reach(-1.0)).max(0.0), (share + reach(1.0)).min(1.0)]
}

#[test]
fn intervals_of_steps_are_those_of_draws() {
    const DRAWS: usize = 400;
    /// By how much of the braking energy an end may fall short of the drawn one, or go beyond it.
    const SHORT: f64 = 0.012;
    const LONG: f64 = 0.007;
    let (log, settings) = (log(), ReplaySettings::default());
    let booked = log.try_replay(&sheet(), &settings).unwrap_or_else(|e| panic!("{e}"));
    let braking = sum(&booked, "energy_braking_kwh");
    // Fractional parts of multiples of roots: they fill the cube of values evenly.
    let roots = [2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0, 23.0_f64].map(f64::sqrt);
    let drawn: Vec<_> = (1..=DRAWS)
        .map(|draw| {
            let mut truck = nominal();
            for (value, root) in VALUES.iter().zip(roots) {
                value(&mut truck, 2.0 * (draw as f64 * root).fract() - 1.0);
            }
            shares(&log.replay(&truck, &settings))
        })
        .collect();
    for (step, name) in CASCADE.into_iter().enumerate() {
        let mut of: Vec<f64> = drawn.iter().map(|shares| shares[step]).collect();
        of.sort_by(f64::total_cmp);
        let ends = [of[DRAWS / 20], of[DRAWS - 1 - DRAWS / 20]];
        let told = told(&booked, step, shares(&booked)[step], braking);
        let said = format!("{name}: {:.4}, told {told:.4?}, drawn {ends:.4?}", shares(&booked)[step]);
        println!("{said}");
        for (beyond, at) in [(told[0] - ends[0], "below"), (ends[1] - told[1], "above")] {
            assert!(beyond < SHORT, "{at} {said}");
            assert!(beyond > -LONG, "{at} {said}");
        }
    }
}
