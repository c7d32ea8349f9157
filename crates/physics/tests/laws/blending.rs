//! What the level as set leaves, and what even the strongest leaves as the pedal blends.

use backwatt_physics::kernels::cascade::{Cascade, LevelChoice, Moment, integrate};
use backwatt_physics::kernels::road_load::{self, Conditions, Interval};
use backwatt_physics::{Blending, Level, LiftOff, Losses, STANDARD_GRAVITY_M_S2, Truck};
use proptest::prelude::*;

use super::made::{cases, plain, truck};

/// Level as set, level that is the strongest.
const WEAK: usize = 0;
const STRONG: usize = 1;
/// Steady, above every fade. [m/s]
const SPEED: f64 = 10.0;

fn level(name: &str, n: f64) -> Level {
    let lift_off = LiftOff::Force { n };
    Level { name: name.to_owned(), lift_off, fade_start_m_s: 1.0, fade_end_m_s: 3.0 }
}

/// Levels of 2 kN and 5 kN; axle, motor and battery take whatever comes.
fn two_levels(blending: Blending) -> Truck {
    let mut truck = Truck {
        axle_limit_m_s2: 9.0,
        motor_force_max_n: 50e3,
        motor_power_max_w: 1e9,
        aux_power_w: 0.0,
        blending,
        levels: vec![level("weak", 2e3), level("strong", 5e3)],
        ..plain()
    };
    truck.acceptance.power_max_w = 1e9;
    truck
}

fn conditions(truck: &Truck) -> Conditions {
    Conditions {
        mass_kg: truck.mass_empty_kg,
        rotating_mass_kg: truck.rotating_mass_kg,
        rolling_resistance: truck.rolling_resistance,
        drag_area_m2: truck.drag_area_m2,
        air_density_kg_m3: 1.2,
        gravity_m_s2: STANDARD_GRAVITY_M_S2,
        headwind_m_s: 0.0,
    }
}

fn run(truck: &Truck, interval: &Interval, level: LevelChoice, pedal_used: bool) -> Option<Cascade> {
    let conditions = conditions(truck);
    let part = road_load::integrate(&conditions, interval).braking_part?;
    let (aux_power_w, acceptance_w) = (truck.aux_power_w, truck.acceptance.power_max_w);
    let moment = Moment { level, pedal_used, aux_power_w, acceptance_w };
    Some(integrate(truck, &conditions, interval, part, &moment))
}

/// One second of a steady descent on which the wheels ask for 8 kN of braking, in newtons: what blending leaves, what the
/// level leaves, and what the motor takes.
fn at_8_kn(blending: Blending, level: usize, pedal_used: bool) -> [f64; 3] {
    let truck = two_levels(blending);
    // Of the force balance m g (sin + C_rr cos) + air = -8 kN, with sin s and cos = sqrt(1 - s^2), in ten rounds.
    let weight = truck.mass_empty_kg * STANDARD_GRAVITY_M_S2;
    let air = 0.5 * 1.2 * truck.drag_area_m2 * SPEED * SPEED;
    let rolling = truck.rolling_resistance;
    let sine = (0..10).fold(0.0, |s: f64, _| (-8e3 - air) / weight - rolling * (1.0 - s * s).sqrt());
    let interval =
        Interval { duration_s: 1.0, speed_start_m_s: SPEED, speed_end_m_s: SPEED, rise_m: sine * SPEED };
    let cascade = run(&truck, &interval, LevelChoice::Set(level), pedal_used).expect("it brakes");
    assert!((cascade.total_j() / SPEED - 8e3).abs() < 1e-6, "{cascade:?}");
    let taken = cascade.recoverable_j + cascade.converted_j;
    [cascade.beyond_blending_j, cascade.beyond_level_j, taken].map(|joules| joules / SPEED)
}

fn check(found: [f64; 3], by_hand: [f64; 3]) {
    for (found, by_hand) in found.into_iter().zip(by_hand) {
        assert!((found - by_hand).abs() < 1e-6, "{found} N, by hand {by_hand} N");
    }
}

/// The pedal adds nothing to lift-off: weak takes 2 kN, strong 5 kN, friction at any level 8 - 5.
#[test]
fn friction_only_by_hand() {
    check(at_8_kn(Blending::FrictionOnly, WEAK, true), [3e3, 3e3, 2e3]);
    check(at_8_kn(Blending::FrictionOnly, STRONG, true), [3e3, 0.0, 5e3]);
}

/// The motor takes 0.4 of what the pedal asks beyond lift-off: strong 5 + 0.4 (8 - 5) = 6.2 kN, weak 2 + 0.4 (8 - 2) =
/// 4.4 kN. Friction at any level 8 - 6.2, for the weak level 6.2 - 4.4 more.
#[test]
fn parallel_by_hand() {
    let blending = Blending::Parallel { pedal_share: 0.4 };
    check(at_8_kn(blending, WEAK, true), [1.8e3, 1.8e3, 4.4e3]);
    check(at_8_kn(blending, STRONG, true), [1.8e3, 0.0, 6.2e3]);
}

/// The pedal takes all from the motor whatever the level.
#[test]
fn series_by_hand() {
    check(at_8_kn(Blending::Series, WEAK, true), [0.0, 0.0, 8e3]);
    check(at_8_kn(Blending::Series, STRONG, true), [0.0, 0.0, 8e3]);
}

/// With the pedal released every kind is lift-off, as friction-only with it used.
#[test]
fn a_released_pedal_by_hand() {
    for blending in [Blending::FrictionOnly, Blending::Parallel { pedal_share: 0.4 }, Blending::Series] {
        check(at_8_kn(blending, WEAK, false), [3e3, 3e3, 2e3]);
    }
}

/// Losses that swallow a strong force make the weak level the best of the two: then the level's part says what the
/// strongest would have taken beyond it, although that would have brought less.
#[test]
fn the_best_level_may_be_the_weaker() {
    let losses = Losses::Coefficients(backwatt_physics::kernels::losses::Coefficients {
        gear_efficiency: 1.0,
        idle_w: 0.0,
        per_speed_n: 0.0,
        per_speed_squared_kg_s: 0.0,
        // Returned is F v - d F^2, most at v/(2 d) = 2 kN: 10 kW from the weak level, -12.5 kW, so nothing, from the strong.
        load_squared_w_per_n2: 2.5e-3,
    });
    let truck = Truck { losses, ..two_levels(Blending::FrictionOnly) };
    let interval =
        Interval { duration_s: 0.1, speed_start_m_s: SPEED, speed_end_m_s: SPEED - 0.2, rise_m: 0.0 };
    let of = |level| run(&truck, &interval, level, true).expect("it brakes");
    let (best, weak, strong) =
        (of(LevelChoice::Best), of(LevelChoice::Set(WEAK)), of(LevelChoice::Set(STRONG)));
    assert_eq!(best, weak);
    assert!(best.recoverable_j > 0.0 && strong.recoverable_j == 0.0, "{best:?} {strong:?}");
    let distance_m = interval.distance_m();
    assert!((best.beyond_level_j - 3e3 * distance_m).abs() < 1e-6, "{best:?}");
    assert!((best.beyond_blending_j - strong.beyond_blending_j).abs() < 1e-6, "{best:?} {strong:?}");
    // The worst of the two is the strong one, and no level is stronger than that.
    assert_eq!(of(LevelChoice::Worst).beyond_level_j, 0.0);
}

fn slowing() -> impl Strategy<Value = Interval> {
    (1.0..32.0f64, 0.0..1.0f64, 0.3..12.0f64).prop_map(|(start, left, duration_s)| Interval {
        duration_s,
        speed_start_m_s: start,
        speed_end_m_s: start * left,
        rise_m: 0.0,
    })
}

proptest! {
    #![proptest_config(cases(400))]

    /// The two parts are what the level leaves of the axle's force, as one level alone would have it: a truck of one level
    /// loses nothing to the level, and to blending what the other truck loses to both.
    #[test]
    fn a_level_alone_is_the_strongest(truck in truck(), interval in slowing(), pedal_used in any::<bool>()) {
        let alone = Truck { levels: truck.levels[..1].to_vec(), ..truck.clone() };
        let set = LevelChoice::Set(0);
        let (Some(one), Some(of_all)) = (run(&alone, &interval, set, pedal_used), run(&truck, &interval, set, pedal_used))
        else { return Ok(()) };
        let rounding = 1e-6 * one.total_j() + 1e-3;
        prop_assert_eq!(one.beyond_level_j, 0.0);
        let both = of_all.beyond_blending_j + of_all.beyond_level_j;
        prop_assert!((one.beyond_blending_j - both).abs() <= rounding, "{one:?} {of_all:?}");
        let others = |c: &Cascade| [c.beyond_axle_j, c.in_fade_j, c.beyond_torque_j, c.beyond_power_j, c.converted_j, c.recoverable_j];
        for (one, all) in others(&one).into_iter().zip(others(&of_all)) {
            prop_assert!((one - all).abs() <= rounding, "{one} {all}");
        }
    }

    /// Blending's part is the truck's, whatever level is set; it is nothing for series blending in pedal braking.
    #[test]
    fn blending_is_the_same_at_every_level(truck in truck(), interval in slowing(), pedal_used in any::<bool>()) {
        let Some(first) = run(&truck, &interval, LevelChoice::Set(0), pedal_used) else { return Ok(()) };
        let rounding = 1e-6 * first.total_j() + 1e-3;
        for level in (0..truck.levels.len()).map(LevelChoice::Set).chain([LevelChoice::Best, LevelChoice::Worst]) {
            let other = run(&truck, &interval, level, pedal_used).unwrap();
            prop_assert!((other.beyond_blending_j - first.beyond_blending_j).abs() <= rounding, "{level:?}");
        }
        if truck.blending == Blending::Series && pedal_used {
            prop_assert!(first.beyond_blending_j + first.beyond_level_j <= 1e-9 * first.total_j());
        }
    }
}
