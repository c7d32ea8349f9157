//! What energies rest on, against finite differences of the energies themselves.

use backwatt_physics::kernels::road_load::{self, Conditions, Interval};
use backwatt_physics::kernels::shares::shares;
use proptest::prelude::*;

use super::made::cases;

fn conditions() -> impl Strategy<Value = Conditions> {
    (2e3..40e3f64, 0.004..0.012f64, 0.5..9.0f64, -9.0..9.0f64).prop_map(|(mass, rolling, drag, wind)| {
        Conditions {
            mass_kg: mass,
            rotating_mass_kg: 0.05 * mass,
            rolling_resistance: rolling,
            drag_area_m2: drag,
            air_density_kg_m3: 1.2,
            gravity_m_s2: 9.80665,
            headwind_m_s: wind,
        }
    })
}

fn interval() -> impl Strategy<Value = Interval> {
    (0.0..32.0f64, 0.0..32.0f64, 0.3..12.0f64, -0.08..0.08f64).prop_map(|(start, end, duration_s, grade)| {
        let mut interval = Interval { duration_s, speed_start_m_s: start, speed_end_m_s: end, rise_m: 0.0 };
        interval.rise_m = grade * interval.distance_m();
        interval
    })
}

/// Central difference in the logarithm of one cause.
fn slope(of: impl Fn(f64) -> f64) -> f64 {
    let step = 1e-4;
    (of(1.0 + step) - of(1.0 - step)) / (2.0 * step)
}

proptest! {
    #![proptest_config(cases(300))]

    #[test]
    fn drag_and_rolling_move_energies_by_their_own_work(conditions in conditions(), interval in interval()) {
        let energy = road_load::integrate(&conditions, &interval);
        let found = shares(&conditions, &interval, &energy);
        let size = energy.tractive_j + energy.braking_j + energy.rolling_j + energy.aero_j.abs();
        let with = |drag: f64, rolling: f64| {
            let moved = Conditions {
                drag_area_m2: conditions.drag_area_m2 * drag,
                rolling_resistance: conditions.rolling_resistance * rolling,
                ..conditions
            };
            road_load::integrate(&moved, &interval)
        };
        let near = |a: f64, b: f64| (a - b).abs() <= 2e-4 * size + 1e-6;
        prop_assert!(near(slope(|by| with(by, 1.0).braking_j), -found.aero_braking_j));
        prop_assert!(near(slope(|by| with(by, 1.0).tractive_j), energy.aero_j - found.aero_braking_j));
        prop_assert!(near(slope(|by| with(1.0, by).braking_j), -found.rolling_braking_j));
        prop_assert!(near(slope(|by| with(1.0, by).tractive_j), energy.rolling_j - found.rolling_braking_j));
    }

    #[test]
    fn squared_force_agrees_with_a_dense_sum(conditions in conditions(), interval in interval()) {
        let energy = road_load::integrate(&conditions, &interval);
        let found = shares(&conditions, &interval, &energy).force_squared_tractive_n2_s;
        let law = road_load::force_law(&conditions, &interval);
        let pieces = 4000;
        let dense: f64 = (0..pieces)
            .map(|piece| interval.speed_at((f64::from(piece) + 0.5) / f64::from(pieces)))
            .map(|speed| law.at(speed).max(0.0).powi(2) * interval.duration_s / f64::from(pieces))
            .sum();
        prop_assert!((found - dense).abs() <= 1e-5 * found.max(dense) + 1e-3, "{found} {dense}");
    }
}
