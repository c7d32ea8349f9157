//! The cascade of braking energy: parts, order of the levels, and agreement with a dense sum.

use backwatt_physics::kernels::cascade::{Cascade, Gains, LevelChoice, Limit, Moment, gains, integrate};
use backwatt_physics::kernels::losses;
use backwatt_physics::kernels::road_load::{self, Conditions, Interval};
use backwatt_physics::{Blending, Level, LiftOff, Losses, STANDARD_GRAVITY_M_S2, Truck};
use proptest::prelude::*;

use super::made::{cases, plain, truck};

const SHARE: f64 = 1e-9;
/// Pieces of the dense sum. What it misses where a limit begins to bind within a piece is far below the share asked.
const PIECES: u32 = 4000;
const DENSE_SHARE: f64 = 1e-7;
/// The same for laws other than a constant, where a force limited by power leaves no polynomial.
const LAW_SHARE: f64 = 1e-6;

fn dense_share(truck: &Truck) -> f64 {
    if matches!(truck.losses, Losses::Constant { .. }) { DENSE_SHARE } else { LAW_SHARE }
}

fn conditions(truck: &Truck) -> Conditions {
    Conditions {
        mass_kg: truck.mass_empty_kg + truck.payload_kg,
        rotating_mass_kg: truck.rotating_mass_kg,
        rolling_resistance: truck.rolling_resistance,
        drag_area_m2: truck.drag_area_m2,
        air_density_kg_m3: 1.2,
        gravity_m_s2: STANDARD_GRAVITY_M_S2,
        // From behind, so that the air stands still within many of the intervals.
        headwind_m_s: -6.0,
    }
}

/// Stops, slowdowns and descents of one interval.
fn slowing() -> impl Strategy<Value = Interval> {
    (0.0..32.0f64, 0.0..1.0f64, 0.3..12.0f64, -0.08..0.03f64).prop_map(|(start, left, duration_s, grade)| {
        let mut interval =
            Interval { duration_s, speed_start_m_s: start, speed_end_m_s: start * left, rise_m: 0.0 };
        interval.rise_m = grade * interval.distance_m();
        interval
    })
}

fn run(truck: &Truck, interval: &Interval, level: LevelChoice) -> Option<(Cascade, f64)> {
    let conditions = conditions(truck);
    let energy = road_load::integrate(&conditions, interval);
    let moment = Moment {
        level,
        pedal_used: true,
        aux_power_w: truck.aux_power_w,
        acceptance_w: truck.acceptance.power_max_w,
    };
    let cascade = integrate(truck, &conditions, interval, energy.braking_part?, &moment);
    Some((cascade, energy.braking_j))
}

/// Cascade and gains with a level set, the pedal used or not.
fn with_gains(truck: &Truck, interval: &Interval, pedal_used: bool) -> Option<(Cascade, Gains)> {
    let conditions = conditions(truck);
    let part = road_load::integrate(&conditions, interval).braking_part?;
    let (aux_power_w, acceptance_w) = (truck.aux_power_w, truck.acceptance.power_max_w);
    let moment = Moment { level: LevelChoice::Set(0), pedal_used, aux_power_w, acceptance_w };
    let cascade = integrate(truck, &conditions, interval, part, &moment);
    let gains = gains(truck, &conditions, interval, part, &moment, &cascade);
    Some((cascade, gains))
}

/// The same interval cut into many short ones.
fn cut(interval: &Interval) -> impl Iterator<Item = Interval> {
    (0..PIECES).map(move |piece| {
        let share = |piece: u32| f64::from(piece) / f64::from(PIECES);
        let mut short = Interval {
            duration_s: interval.duration_s / f64::from(PIECES),
            speed_start_m_s: interval.speed_at(share(piece)),
            speed_end_m_s: interval.speed_at(share(piece + 1)),
            rise_m: 0.0,
        };
        if interval.rise_m != 0.0 {
            short.rise_m = interval.rise_m / interval.distance_m() * short.distance_m();
        }
        short
    })
}

/// Each of the short ones with its own cascade.
fn dense(truck: &Truck, interval: &Interval, level: LevelChoice) -> Cascade {
    let mut sum = Cascade::default();
    for (cascade, _) in cut(interval).filter_map(|short| run(truck, &short, level)) {
        sum.add(&cascade);
    }
    sum
}

/// The cascade from few pieces beside that from many: the largest difference of a part over the braking energy.
fn missed(truck: &Truck, interval: &Interval, level: LevelChoice) -> f64 {
    let Some((cascade, braking)) = run(truck, interval, level) else { return 0.0 };
    let many = dense(truck, interval, level);
    let differences = cascade.steps().into_iter().zip(many.steps()).map(|(few, many)| (few - many).abs());
    // A thousandth of a joule is nothing, whatever it is divided by.
    differences.map(|joules| (joules - 1e-3).max(0.0) / braking).fold(0.0, f64::max)
}

/// The plain truck with levels that hold a deceleration: (m/s2, road load included, fade start, fade end).
fn made(blending: Blending, levels: &[(f64, bool, f64, f64)]) -> Truck {
    let level = |&(m_s2, includes_road_load, fade_start_m_s, fade_end_m_s): &(f64, bool, f64, f64)| Level {
        name: "level".to_owned(),
        lift_off: LiftOff::Deceleration { m_s2, includes_road_load },
        fade_start_m_s,
        fade_end_m_s,
    };
    Truck { blending, levels: levels.iter().map(level).collect(), ..plain() }
}

fn slowdown(start: f64, end: f64, deceleration: f64) -> Interval {
    Interval {
        duration_s: (start - end) / deceleration,
        speed_start_m_s: start,
        speed_end_m_s: end,
        rise_m: 0.0,
    }
}

/// The strong level has faded where the weak one still works: the best of the two changes on the way, and the
/// interval has to be cut there.
#[test]
fn the_best_level_changes_within_an_interval() {
    let truck = made(Blending::FrictionOnly, &[(1.2, false, 3.0, 8.0), (0.5, false, 0.5, 9.0)]);
    for (start, end) in [(13.4112, 0.0), (4.3, 3.3)] {
        for level in [LevelChoice::Best, LevelChoice::Worst] {
            let share = missed(&truck, &slowdown(start, end, 1.5), level);
            assert!(
                share <= DENSE_SHARE,
                "{start} to {end} m/s, {level:?}: off by {share:e} of the braking energy"
            );
        }
    }
}

/// Road load alone slows the truck as much as the level asks above a speed: there lift-off gives nothing, and the
/// interval has to be cut there.
#[test]
fn lift_off_is_used_up_by_road_load_at_speed() {
    let truck = made(Blending::Parallel { pedal_share: 0.5 }, &[(0.2, true, 0.5, 1.5)]);
    for (start, end) in [(24.9, 0.0), (17.3, 15.8)] {
        let share = missed(&truck, &slowdown(start, end, 1.5), LevelChoice::Set(0));
        assert!(share <= DENSE_SHARE, "{start} to {end} m/s: off by {share:e} of the braking energy");
    }
}

/// A limit that begins to bind exactly where the interval is looked at, here the fade's end and start in steps of a
/// quarter metre per second, has to be cut there like any other.
#[test]
fn limits_begin_at_round_speeds() {
    let truck = made(Blending::Parallel { pedal_share: 0.5 }, &[(0.2, false, 0.5, 1.5)]);
    for (start, end) in [(25.0, 0.0), (2.0, 0.0), (2.0, 1.0)] {
        let share = missed(&truck, &slowdown(start, end, 1.5), LevelChoice::Set(0));
        assert!(share <= DENSE_SHARE, "{start} to {end} m/s: off by {share:e} of the braking energy");
    }
}

/// A fading lift-off force that asks for all the motor has part of the way: the motor's torque bends there although the
/// same limits bind on both sides.
#[test]
fn a_bend_between_the_same_limits_is_cut() {
    let strong = Level {
        name: "strong".to_owned(),
        lift_off: LiftOff::Force { n: 60e3 },
        fade_start_m_s: 2.0,
        fade_end_m_s: 6.0,
    };
    let truck = Truck { blending: Blending::Series, motor_force_max_n: 4e3, levels: vec![strong], ..plain() };
    for (start, end) in [(6.0, 2.0), (6.9, 1.3)] {
        let share = missed(&truck, &slowdown(start, end, 2.0), LevelChoice::Set(0));
        assert!(share <= DENSE_SHARE, "{start} to {end} m/s: off by {share:e} of the braking energy");
    }
}

proptest! {
    #![proptest_config(cases(400))]

    #[test]
    fn parts_are_magnitudes_and_sum_to_the_braking_energy(truck in truck(), interval in slowing()) {
        for level in [LevelChoice::Set(0), LevelChoice::Best, LevelChoice::Worst] {
            let Some((cascade, braking)) = run(&truck, &interval, level) else { continue };
            prop_assert!((cascade.total_j() - braking).abs() <= SHARE * braking + 1e-6, "{cascade:?} {braking}");
            for part in cascade.steps() {
                prop_assert!(part >= -SHARE * braking, "{cascade:?}");
            }
        }
    }

    #[test]
    fn any_level_lies_between_the_worst_and_the_best(truck in truck(), interval in slowing()) {
        let recoverable = |level| run(&truck, &interval, level).map(|found| found.0.recoverable_j);
        let Some((_, braking)) = run(&truck, &interval, LevelChoice::Best) else { return Ok(()) };
        let (worst, best) = (recoverable(LevelChoice::Worst).unwrap(), recoverable(LevelChoice::Best).unwrap());
        let rounding = dense_share(&truck).max(SHARE) * braking;
        for level in 0..truck.levels.len() {
            let set = recoverable(LevelChoice::Set(level)).unwrap();
            prop_assert!(worst <= set + rounding, "level {level}: worst {worst} set {set} of {braking}");
            prop_assert!(set <= best + rounding, "level {level}: set {set} best {best} of {braking}");
        }
        prop_assert!(best <= braking + rounding);
    }
}

proptest! {
    #![proptest_config(cases(400))]

    #[test]
    fn gains_are_magnitudes_and_close_with_the_remainder(
        truck in truck(), interval in slowing(), pedal_used in any::<bool>(),
    ) {
        let Some((cascade, gains)) = with_gains(&truck, &interval, pedal_used) else { return Ok(()) };
        let braking = cascade.total_j();
        for limit in Limit::ALL {
            let gain = gains.without_j(limit);
            prop_assert!(gain >= -SHARE * braking, "{limit:?}: {gain} of {braking}");
            prop_assert!(cascade.recoverable_j + gain <= braking * (1.0 + SHARE), "{limit:?}: {gain} of {braking}");
        }
        let sum: f64 = Limit::ALL.iter().map(|limit| gains.without_j(*limit)).sum();
        let closed = cascade.recoverable_j + sum + gains.remainder_j(&cascade);
        prop_assert!((closed - braking).abs() <= SHARE * (braking + sum), "{closed} {braking}");
    }

    /// A released pedal brings no more than a used one, and leaves the level to bind whatever the kind.
    #[test]
    fn a_released_pedal_is_lift_off(truck in truck(), interval in slowing()) {
        let truck = Truck { losses: Losses::Constant { efficiency: 0.86 }, ..truck };
        let friction = Truck { blending: Blending::FrictionOnly, ..truck.clone() };
        let of = |truck: &Truck, pedal| with_gains(truck, &interval, pedal).map(|found| found.0);
        let Some(released) = of(&truck, false) else { return Ok(()) };
        prop_assert_eq!(Some(released), of(&friction, true));
        let used = of(&truck, true).unwrap();
        let weaker = matches!(truck.blending, Blending::Series);
        prop_assert!(weaker || released.recoverable_j <= used.recoverable_j + SHARE * used.total_j());
    }
}

proptest! {
    #![proptest_config(cases(32))]

    #[test]
    fn gains_and_drawn_agree_with_many_pieces(truck in truck(), interval in slowing()) {
        if let Some((cascade, few)) = with_gains(&truck, &interval, true) {
            let mut many = Gains::default();
            for (_, gains) in cut(&interval).filter_map(|short| with_gains(&truck, &short, true)) {
                many.add(&gains);
            }
            for limit in Limit::ALL {
                let off = (few.without_j(limit) - many.without_j(limit)).abs() - 1e-3;
                let (few, many) = (few.without_j(limit), many.without_j(limit));
                prop_assert!(off <= LAW_SHARE * cascade.total_j(), "{limit:?}: {few} {many} of {}", cascade.total_j());
            }
        }
        let conditions = conditions(&truck);
        // The same way uphill and gaining speed.
        let (speed_start_m_s, speed_end_m_s) = (interval.speed_end_m_s, interval.speed_start_m_s);
        for interval in [interval, Interval { speed_start_m_s, speed_end_m_s, rise_m: 0.02, ..interval }] {
            let drawn = |interval: &Interval| {
                losses::drawn(&truck.losses, &conditions, interval, &road_load::integrate(&conditions, interval))
            };
            let (few, many) = (drawn(&interval), cut(&interval).map(|short| drawn(&short).energy_j).sum::<f64>());
            prop_assert!((few.energy_j - many).abs() <= LAW_SHARE * many + 1e-3, "{few:?} {many}");
            prop_assert!(few.energy_j >= road_load::integrate(&conditions, &interval).tractive_j * (1.0 - SHARE));
            prop_assert!(few.beyond_map_s >= 0.0 && few.beyond_map_s <= interval.duration_s * (1.0 + SHARE));
        }
    }
}

proptest! {
    #![proptest_config(cases(32))]

    #[test]
    fn few_pieces_agree_with_many(truck in truck(), interval in slowing()) {
        for level in [LevelChoice::Set(0), LevelChoice::Best, LevelChoice::Worst] {
            let share = missed(&truck, &interval, level);
            prop_assert!(share <= dense_share(&truck), "{level:?}: off by {share:e} of the braking energy");
        }
    }
}
