//! Scaling the mass, and driving a loop the other way round.

use backwatt_physics::kernels::road_load::{Conditions, Interval, integrate};
use backwatt_physics::{ReplaySettings, Truck};
use backwatt_schema::tables;
use proptest::prelude::*;

use super::made::{Log, cases, drive, known, numbers, sum, truck};

const SHARE: f64 = 1e-12;
const REPLAY_SHARE: f64 = 1e-9;
const NOTHING_KWH: f64 = 1e-3 / 3.6e6;

fn near(a: f64, b: f64, share: f64) -> bool {
    (a - b).abs() <= share * a.abs().max(b.abs())
}

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn double_mass_doubles_all_but_the_air(
        (mass, rotating, rolling, area) in (500.0..20e3f64, 0.0..800.0f64, 0.0..0.03f64, 0.1..10.0f64),
        (start, end, duration, grade) in (0.0..35.0f64, 0.0..35.0f64, 0.1..10.0f64, -0.1..0.1f64),
    ) {
        let of = |factor: f64| {
            let conditions = Conditions {
                mass_kg: factor * mass,
                rotating_mass_kg: factor * rotating,
                rolling_resistance: rolling,
                drag_area_m2: area,
                air_density_kg_m3: 1.2,
                gravity_m_s2: 9.806_65,
                headwind_m_s: 0.0,
            };
            let mut interval =
                Interval { duration_s: duration, speed_start_m_s: start, speed_end_m_s: end, rise_m: 0.0 };
            interval.rise_m = grade * interval.distance_m();
            integrate(&conditions, &interval)
        };
        let (one, two) = (of(1.0), of(2.0));
        prop_assert!(near(two.kinetic_j, 2.0 * one.kinetic_j, SHARE));
        prop_assert!(near(two.rolling_j, 2.0 * one.rolling_j, SHARE));
        prop_assert!(near(two.grade_j, 2.0 * one.grade_j, SHARE));
        prop_assert!(near(two.aero_j, one.aero_j, SHARE));
    }
}

proptest! {
    #![proptest_config(cases(48))]

    #[test]
    fn double_mass_through_the_replay(truck in truck(), (speeds, steps) in drive()) {
        let grades = (0..speeds.len()).map(|i| Some(0.03 * (i as f64).cos())).collect();
        let log = Log::new(&speeds, &steps).with("grade_frac", grades);
        let heavy = Truck {
            mass_empty_kg: 2.0 * truck.mass_empty_kg,
            payload_kg: 2.0 * truck.payload_kg,
            rotating_mass_kg: 2.0 * truck.rotating_mass_kg,
            ..truck.clone()
        };
        let settings = ReplaySettings { segment_length_m: 1e9, ..ReplaySettings::default() };
        let (one, two) = (log.replay(&truck, &settings), log.replay(&heavy, &settings));
        let size = sum(&two, "energy_tractive_kwh") + sum(&two, "energy_braking_kwh");
        let pairs = [
            ("energy_kinetic_kwh", 2.0), ("energy_rolling_kwh", 2.0), ("energy_grade_kwh", 2.0),
            ("energy_aero_kwh", 1.0),
        ];
        for (name, factor) in pairs {
            let (a, b) = (factor * sum(&one, name), sum(&two, name));
            prop_assert!((a - b).abs() <= REPLAY_SHARE * size + NOTHING_KWH, "{name}: {a} {b}");
        }
    }

    /// A loop over hills at steady speed, driven the other way: what was up is down, and the wheels' net is the same.
    #[test]
    fn a_loop_driven_backwards_swaps_up_and_down(
        truck in truck(),
        speed in 3.0..28.0f64,
        hills in prop::collection::vec(-0.06..0.06f64, 2..40),
    ) {
        // The last stretch leads back to the height of the first; sines, because a rise is a sine times a way.
        let mut sines: Vec<f64> = hills.iter().map(|grade| grade.atan().sin() / hills.len() as f64).collect();
        sines.push(-sines.iter().sum::<f64>());
        let up_and_down = |sines: &[f64]| {
            let mut grades: Vec<f64> = sines.iter().map(|sine| sine.asin().tan()).collect();
            grades.push(0.0);
            let rows = grades.len();
            let replay = Log::new(&vec![speed; rows], &vec![1.0; rows])
                .with("grade_frac", known(&grades))
                .replay(&truck, &ReplaySettings { segment_length_m: 0.0, ..ReplaySettings::default() });
            let rises: Vec<f64> =
                numbers(&tables::SEGMENTS, &replay.segments, "energy_grade_kwh").into_iter().flatten().collect();
            let up: f64 = rises.iter().filter(|rise| **rise > 0.0).sum();
            let down: f64 = -rises.iter().filter(|rise| **rise < 0.0).sum::<f64>();
            let net = sum(&replay, "energy_tractive_kwh") - sum(&replay, "energy_braking_kwh");
            (up, down, net)
        };
        let there = up_and_down(&sines);
        let reversed: Vec<f64> = sines.iter().rev().map(|sine| -sine).collect();
        let back = up_and_down(&reversed);
        let size = there.0 + there.1 + there.2.abs();
        for (name, a, b) in [("up", there.0, back.1), ("down", there.1, back.0), ("net", there.2, back.2),
            ("closed", there.0, there.1)] {
            prop_assert!((a - b).abs() <= REPLAY_SHARE * size + NOTHING_KWH, "{name}: {a} {b}");
        }
        prop_assert!(there.0 > 0.0);
    }
}
