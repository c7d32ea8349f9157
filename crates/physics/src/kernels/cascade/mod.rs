//! The cascade of braking energy: from the wheels down to what could have reached the battery terminals.

mod gains;
mod instant;
mod lift_off;
mod swing;

use super::quadrature;
use super::road_load::{Conditions, Interval};
use crate::truck::{Acceptance, Truck};
pub use gains::{Gains, Limit, gains};
use instant::Instant;
pub use swing::{Case, STEPS, Swings};

/// Braking energy of a stretch, split by the first limit that binds. [J] The parts sum to the braking energy.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Cascade {
    pub beyond_axle_j: f64,
    /// What even the strongest level leaves to the friction brakes, as the pedal blends.
    pub beyond_blending_j: f64,
    pub in_fade_j: f64,
    /// What the strongest level would have taken and the one in question does not.
    pub beyond_level_j: f64,
    pub beyond_torque_j: f64,
    pub beyond_power_j: f64,
    pub beyond_acceptance_j: f64,
    pub converted_j: f64,
    pub to_auxiliaries_j: f64,
    pub recoverable_j: f64,
    /// Time in which the loss map's edge stood in for what lies beyond. [s]
    pub beyond_map_s: f64,
    /// At the wheels, of what the motor takes: where it takes all that is asked. [J] A part, not one of the sum.
    pub taken_whole_j: f64,
    /// Square of the force the motor takes. [N² s]
    pub force_squared_n2_s: f64,
}

impl Cascade {
    /// The parts in the order they bind. [J]
    pub fn steps(&self) -> [f64; STEPS] {
        [
            self.beyond_axle_j,
            self.beyond_blending_j,
            self.in_fade_j,
            self.beyond_level_j,
            self.beyond_torque_j,
            self.beyond_power_j,
            self.beyond_acceptance_j,
            self.converted_j,
            self.to_auxiliaries_j,
            self.recoverable_j,
        ]
    }

    pub fn total_j(&self) -> f64 {
        self.steps().iter().sum()
    }

    /// Returned at the dc link, before auxiliaries.
    pub fn bus_j(&self) -> f64 {
        self.to_auxiliaries_j + self.recoverable_j
    }

    pub fn add(&mut self, other: &Cascade) {
        self.add_scaled(other, 1.0);
    }

    pub fn add_scaled(&mut self, other: &Cascade, factor: f64) {
        self.beyond_axle_j += other.beyond_axle_j * factor;
        self.beyond_blending_j += other.beyond_blending_j * factor;
        self.in_fade_j += other.in_fade_j * factor;
        self.beyond_level_j += other.beyond_level_j * factor;
        self.beyond_torque_j += other.beyond_torque_j * factor;
        self.beyond_power_j += other.beyond_power_j * factor;
        self.beyond_acceptance_j += other.beyond_acceptance_j * factor;
        self.converted_j += other.converted_j * factor;
        self.to_auxiliaries_j += other.to_auxiliaries_j * factor;
        self.recoverable_j += other.recoverable_j * factor;
        self.beyond_map_s += other.beyond_map_s * factor;
        self.taken_whole_j += other.taken_whole_j * factor;
        self.force_squared_n2_s += other.force_squared_n2_s * factor;
    }

    /// Whether another level could bring more where more force does: one that is stronger, or that fades later.
    fn leaves_to_levels(&self) -> bool {
        self.beyond_level_j > 0.0 || self.in_fade_j > 0.0
    }

    /// Whether a limit holds back anything. Lifting the level lifts the pedal's blending with it, and the fade is a share
    /// of the level's force: it may help where only one of those is booked.
    fn held_back(&self, limit: Limit) -> bool {
        match limit {
            Limit::Axle => self.beyond_axle_j > 0.0,
            Limit::Fade => self.in_fade_j > 0.0,
            Limit::Level => self.beyond_blending_j > 0.0 || self.leaves_to_levels(),
            Limit::Torque => self.beyond_torque_j > 0.0,
            Limit::Power => self.beyond_power_j > 0.0,
            Limit::Acceptance => self.beyond_acceptance_j > 0.0,
            Limit::Losses => self.converted_j > 0.0,
            Limit::Auxiliaries => self.to_auxiliaries_j > 0.0,
        }
    }
}

/// Which level is set while braking.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LevelChoice {
    Set(usize),
    /// At each instant the level that brings most to the terminals.
    Best,
    /// At each instant the level that brings least: a bound where the level is unknown.
    Worst,
}

/// What holds during one interval beside the road.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    pub level: LevelChoice,
    /// False where the brake pedal is known to be released: regen is then what lifting off gives, however it blends.
    pub pedal_used: bool,
    pub aux_power_w: f64,
    /// Battery charge acceptance at the terminals.
    pub acceptance_w: f64,
}

/// Power a battery accepts at a state of charge and temperature. [W]
///
/// P_acc = P_max · taper(s) · cold(T), both linear between their ends; an unknown s or T takes nothing away
/// Source   shape: common practice, no source; the sheet says the figures. Broadcast limits belong here when logged
/// Check    95 % with a taper from 90 % -> half
/// ```
/// use backwatt_physics::kernels::cascade::acceptance_power;
/// let battery = backwatt_physics::replay::Acceptance {
///     power_max_w: 100e3, taper_start_soc: 0.9, cold_full_k: 283.15, cold_none_k: 253.15,
/// };
/// assert!((acceptance_power(&battery, Some(0.95), None) - 50e3).abs() < 1e-6);
/// assert!((acceptance_power(&battery, None, Some(268.15)) - 50e3).abs() < 1e-6);
/// ```
pub fn acceptance_power(battery: &Acceptance, soc_frac: Option<f64>, temperature_k: Option<f64>) -> f64 {
    let (taper, cold) = acceptance_left(battery, soc_frac, temperature_k);
    battery.power_max_w * taper * cold
}

/// Share of its power that nearly full charge leaves a battery, and that cold leaves it.
pub fn acceptance_left(battery: &Acceptance, soc_frac: Option<f64>, temperature_k: Option<f64>) -> (f64, f64) {
    let taper = soc_frac.map_or(1.0, |soc| {
        let room = 1.0 - battery.taper_start_soc;
        if room <= 0.0 { 1.0 } else { ((1.0 - soc) / room).clamp(0.0, 1.0) }
    });
    let cold = temperature_k.map_or(1.0, |temperature| {
        let span = battery.cold_full_k - battery.cold_none_k;
        if span <= 0.0 { 1.0 } else { ((temperature - battery.cold_none_k) / span).clamp(0.0, 1.0) }
    });
    (taper, cold)
}

/// The cascade over the braking part of one interval. [J]
///
/// Order: axle -> the pedal's blending, level and low-speed fade -> motor torque -> motor power -> battery
/// acceptance (at the wheel: the force whose return is P_acc + P_aux) -> conversion -> auxiliaries -> terminals. With
/// D = -F(v) the braking force asked, L the lift-off force, r the fade, k the pedal's share, T the motor's force:
/// friction-only min(D, r L); parallel min(D, r L + r k [D - r L]+); series min(D, r T); with the pedal released all
/// of them min(D, r L). The interval is cut where another limit begins to bind; each piece is integrated by
/// three-point Gauss.
/// Shape    one interval; `part` in shares of its duration
/// Sign     all 0 or more; their sum is the braking energy of the part. With the best or worst level at each instant
///          that level stands for the one set: where losses make a weaker one the best, the level's part is above 0
/// Holds    speed linear; grade constant
/// Source   limits: derived, order as documented in notebooks-docs/method; integration: see `quadrature`. Departures:
///          none
/// Check    wheel 60 kW, η 0.86, aux 4 kW, acceptance 40 kW -> 40 kW at the terminals (tests below)
pub fn integrate(
    truck: &Truck,
    conditions: &Conditions,
    interval: &Interval,
    part: (f64, f64),
    moment: &Moment,
) -> Cascade {
    let instant = Instant::new(truck, conditions, interval, moment);
    let mut sum = Cascade::default();
    let (branch, curved) = (|speed| instant.branch(speed), |speed| instant.curved(speed));
    quadrature::sum(
        interval,
        part,
        instant.falls_below_m_s(interval, part),
        branch,
        curved,
        |speed, seconds| {
            sum.add_scaled(&instant.powers(speed), seconds);
        },
    );
    sum
}

/// Recoverable energy with, at each instant, the level that brings most to the terminals. [J]
///
/// Shape    as [`integrate`], whose result for the level set is `as_set`
/// Sign     never below the recoverable energy at the level set, which is one of those on offer
/// Missing  none. Errors: none
/// Holds, Source   as [`integrate`]
/// Check    a truck of one level attains what it recovers (laws)
pub fn attainable(
    truck: &Truck,
    conditions: &Conditions,
    interval: &Interval,
    part: (f64, f64),
    moment: &Moment,
    as_set: &Cascade,
) -> f64 {
    let instant = Instant::new(truck, conditions, interval, moment);
    let slower = interval.speed_at(part.0).min(interval.speed_at(part.1));
    let more_returns_more = slower >= instant.falls_below_m_s(interval, part);
    let all_through = more_returns_more && !as_set.leaves_to_levels();
    if truck.levels.len() == 1 || all_through {
        return as_set.recoverable_j;
    }
    let best = Moment { level: LevelChoice::Best, ..*moment };
    // The two sums are cut at different speeds and may differ by rounding.
    integrate(truck, conditions, interval, part, &best).recoverable_j.max(as_set.recoverable_j)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::losses::{Coefficients, Losses};
    use crate::kernels::road_load;
    use crate::truck::{Blending, Level, LiftOff};

    fn truck() -> Truck {
        let level = |name: &str, m_s2| Level {
            name: name.into(),
            lift_off: LiftOff::Deceleration { m_s2, includes_road_load: false },
            fade_start_m_s: 1.0,
            fade_end_m_s: 3.0,
        };
        Truck {
            mass_empty_kg: 6600.0,
            payload_kg: 0.0,
            rotating_mass_kg: 330.0,
            drag_area_m2: 5.0,
            rolling_resistance: 0.0077,
            losses: Losses::Constant { efficiency: 0.86 },
            rolling_temperature: None,
            axle_limit_m_s2: 1.9,
            motor_force_max_n: 12e3,
            motor_power_max_w: 120e3,
            acceptance: Acceptance {
                power_max_w: 1e6,
                taper_start_soc: 0.9,
                cold_full_k: 283.15,
                cold_none_k: 253.15,
            },
            battery_warmth: 0.5,
            aux_power_w: 4e3,
            climate: None,
            blending: Blending::FrictionOnly,
            levels: vec![level("low", 0.4), level("high", 1.3)],
            default_level: None,
        }
    }

    fn conditions() -> Conditions {
        Conditions {
            mass_kg: 6600.0,
            rotating_mass_kg: 330.0,
            rolling_resistance: 0.0077,
            drag_area_m2: 5.0,
            air_density_kg_m3: 1.2,
            gravity_m_s2: 9.80665,
            headwind_m_s: 0.0,
        }
    }

    fn stop(deceleration: f64) -> Interval {
        Interval {
            duration_s: 13.4112 / deceleration,
            speed_start_m_s: 13.4112,
            speed_end_m_s: 0.0,
            rise_m: 0.0,
        }
    }

    fn run(truck: &Truck, interval: &Interval, level: LevelChoice, acceptance_w: f64) -> (Cascade, f64) {
        let energy = road_load::integrate(&conditions(), interval);
        let moment = Moment { level, pedal_used: true, aux_power_w: truck.aux_power_w, acceptance_w };
        let part = energy.braking_part.unwrap();
        (integrate(truck, &conditions(), interval, part, &moment), energy.braking_j)
    }

    #[test]
    fn parts_sum_to_the_braking_energy() {
        for deceleration in [0.3, 1.0, 2.5] {
            for blending in [Blending::FrictionOnly, Blending::Parallel { pedal_share: 0.4 }, Blending::Series]
            {
                for level in [LevelChoice::Set(0), LevelChoice::Best, LevelChoice::Worst] {
                    let truck = Truck { blending, ..truck() };
                    let (cascade, braking) = run(&truck, &stop(deceleration), level, 40e3);
                    assert!((cascade.total_j() - braking).abs() < 1e-9 * braking, "{cascade:?} {braking}");
                }
            }
        }
    }

    /// Steady descent worked by hand: 60 kW at the wheels, 40 kW accepted, 51.6 kW less 4 kW would have come.
    #[test]
    fn acceptance_binds_as_worked_by_hand() {
        let truck = Truck { axle_limit_m_s2: 9.0, blending: Blending::Series, ..truck() };
        let speed = 15.0;
        let flat = road_load::steady_force(&conditions(), speed, 0.0);
        let sine = -(60e3 / speed + flat) / (6600.0 * 9.80665);
        let interval = Interval {
            duration_s: 10.0,
            speed_start_m_s: speed,
            speed_end_m_s: speed,
            rise_m: sine * speed * 10.0,
        };
        let (cascade, braking) = run(&truck, &interval, LevelChoice::Set(0), 40e3);
        // The cosine of the slope takes a little rolling resistance away; the limits do not care.
        assert!((braking - 600e3).abs() < 700.0);
        assert!((cascade.recoverable_j - 400e3).abs() < 1e-3, "{cascade:?}");
        assert!((cascade.to_auxiliaries_j - 40e3).abs() < 1e-3);
    }

    /// The same descent: only a battery that accepts more would help on its own, and by 51.6 - 4 - 40 kW; the
    /// 8.4 kW of losses and 4 kW of auxiliaries stand behind it and are the remainder.
    #[test]
    fn gains_as_worked_by_hand() {
        let truck = Truck { axle_limit_m_s2: 9.0, blending: Blending::Series, ..truck() };
        let speed = 15.0;
        let flat = road_load::steady_force(&conditions(), speed, 0.0);
        let rise_m = -(60e3 / speed + flat) / (6600.0 * 9.80665) * speed * 10.0;
        let interval = Interval { duration_s: 10.0, speed_start_m_s: speed, speed_end_m_s: speed, rise_m };
        let (cascade, braking) = run(&truck, &interval, LevelChoice::Set(0), 40e3);
        let moment =
            Moment { level: LevelChoice::Set(0), pedal_used: true, aux_power_w: 4e3, acceptance_w: 40e3 };
        let gains = gains(&truck, &conditions(), &interval, (0.0, 1.0), &moment, &cascade);
        let without_acceptance = 0.86 * braking - 40e3 - 400e3;
        for limit in Limit::ALL {
            let expected = if limit == Limit::Acceptance { without_acceptance } else { 0.0 };
            assert!((gains.without_j(limit) - expected).abs() < 1e-3, "{limit:?} {gains:?}");
        }
        let remainder = braking - 400e3 - without_acceptance;
        assert!((gains.remainder_j(&cascade) - remainder).abs() < 1e-3);
    }

    /// Two limits that bind at one force: lifting either gains nothing, the remainder holds it all. A stop at 1.3 m/s²
    /// with a level and a motor that give 4 kN each.
    #[test]
    fn limits_that_bind_together_leave_a_remainder() {
        let level = Level {
            name: "one".into(),
            lift_off: LiftOff::Force { n: 4e3 },
            fade_start_m_s: 0.0,
            fade_end_m_s: 0.0,
        };
        let truck = Truck {
            motor_force_max_n: 4e3,
            losses: Losses::Constant { efficiency: 1.0 },
            aux_power_w: 0.0,
            levels: vec![level],
            ..truck()
        };
        let (interval, level) = (stop(1.3), LevelChoice::Set(0));
        let (cascade, braking) = run(&truck, &interval, level, 1e6);
        let moment = Moment { level, pedal_used: true, aux_power_w: 0.0, acceptance_w: 1e6 };
        let part = road_load::integrate(&conditions(), &interval).braking_part.unwrap();
        let gains = gains(&truck, &conditions(), &interval, part, &moment, &cascade);
        assert!(Limit::ALL.iter().all(|limit| gains.without_j(*limit).abs() < 1e-6), "{gains:?}");
        assert!((cascade.recoverable_j - 4e3 * interval.distance_m()).abs() < 1.0, "{cascade:?}");
        assert!((gains.remainder_j(&cascade) - (braking - cascade.recoverable_j)).abs() < 1e-6);
    }

    /// A battery that accepts nothing and a law whose losses swallow a weak braking force: nothing comes back, and it
    /// is booked as conversion.
    #[test]
    fn regen_at_low_power_is_a_loss() {
        let law = Coefficients {
            gear_efficiency: 0.95,
            idle_w: 2e3,
            per_speed_n: 100.0,
            per_speed_squared_kg_s: 0.0,
            load_squared_w_per_n2: 2e-5,
        };
        let truck = Truck { losses: Losses::Coefficients(law), blending: Blending::Series, ..truck() };
        let slow = Interval { duration_s: 1.0, speed_start_m_s: 4.0, speed_end_m_s: 3.9, rise_m: 0.0 };
        let (cascade, braking) = run(&truck, &slow, LevelChoice::Set(0), 1e6);
        assert!(braking > 0.0 && cascade.bus_j() == 0.0, "{cascade:?}");
        assert!((cascade.converted_j - braking).abs() < 1e-9 * braking, "{cascade:?}");
    }

    /// Strong levels lose more than they bring at low speed: the best level is the one that brings most.
    #[test]
    fn the_best_level_is_found_at_the_terminals() {
        let level = |n| Level {
            name: "level".into(),
            lift_off: LiftOff::Force { n },
            fade_start_m_s: 0.0,
            fade_end_m_s: 0.0,
        };
        let law = Coefficients {
            gear_efficiency: 1.0,
            idle_w: 0.0,
            per_speed_n: 0.0,
            per_speed_squared_kg_s: 0.0,
            load_squared_w_per_n2: 5e-4,
        };
        // At 5 m/s the return is highest at v/(2 d) = 5 kN: 12.5 kW, and nothing from 10 kN.
        let truck = Truck {
            losses: Losses::Coefficients(law),
            levels: vec![level(5e3), level(10e3)],
            aux_power_w: 0.0,
            ..truck()
        };
        let interval = Interval { duration_s: 0.1, speed_start_m_s: 5.01, speed_end_m_s: 4.83, rise_m: 0.0 };
        let of = |level| run(&truck, &interval, level, 1e6).0.recoverable_j;
        assert!(of(LevelChoice::Set(1)) < 0.2 * of(LevelChoice::Set(0)));
        assert_eq!(of(LevelChoice::Best), of(LevelChoice::Set(0)));
        assert!((of(LevelChoice::Best) - 12.1e2).abs() < 40.0, "{}", of(LevelChoice::Best));
    }

    /// Against a dense midpoint sum that knows nothing of pieces.
    #[test]
    fn pieces_agree_with_a_dense_sum() {
        let truck = Truck { blending: Blending::Parallel { pedal_share: 0.5 }, ..truck() };
        let interval = stop(2.0);
        let (cascade, _) = run(&truck, &interval, LevelChoice::Set(1), 60e3);
        let moment =
            Moment { level: LevelChoice::Set(1), pedal_used: true, aux_power_w: 4e3, acceptance_w: 60e3 };
        let c = conditions();
        let instant = Instant::new(&truck, &c, &interval, &moment);
        let steps = 400_000;
        let dense: f64 = (0..steps)
            .map(|i| instant.powers(interval.speed_at((f64::from(i) + 0.5) / f64::from(steps))).recoverable_j)
            .sum::<f64>()
            * interval.duration_s
            / f64::from(steps);
        assert!((cascade.recoverable_j - dense).abs() < 1e-7 * dense, "{} {dense}", cascade.recoverable_j);
    }

    #[test]
    fn recoverable_is_ordered_by_level() {
        let of = |level| run(&truck(), &stop(1.5), level, 1e6).0.recoverable_j;
        assert!(of(LevelChoice::Worst) <= of(LevelChoice::Set(0)));
        assert!(of(LevelChoice::Set(0)) < of(LevelChoice::Set(1)));
        assert!(of(LevelChoice::Set(1)) <= of(LevelChoice::Best));
    }

    /// Within the fade a series truck loses to the fade its share of the motor's force, and to torque what lies beyond that
    /// force anyway: 8 kN asked beyond a motor of 12 kN are the torque's, whatever the fade.
    #[test]
    fn a_fade_takes_its_share_of_the_motor_only() {
        let truck = Truck {
            axle_limit_m_s2: 99.0,
            blending: Blending::Series,
            motor_power_max_w: 1e9,
            losses: Losses::Constant { efficiency: 0.86 },
            ..truck()
        };
        // 20 kN asked at a steady 2 m/s, half-way through the fade from 1 to 3 m/s.
        let (speed, seconds) = (2.0, 5.0);
        let flat = road_load::steady_force(&conditions(), speed, 0.0);
        let sine = -(20e3 + flat) / (6600.0 * 9.80665);
        let interval = Interval {
            duration_s: seconds,
            speed_start_m_s: speed,
            speed_end_m_s: speed,
            rise_m: sine * speed * seconds,
        };
        let (cascade, braking) = run(&truck, &interval, LevelChoice::Set(0), 1e9);
        let way = speed * seconds;
        assert!((braking - 20e3 * way).abs() < 30.0 * way);
        assert!((cascade.in_fade_j - 6e3 * way).abs() < 1e-6, "{cascade:?}");
        assert!((cascade.beyond_torque_j - (braking - 12e3 * way)).abs() < 1e-6, "{cascade:?}");
    }
}
