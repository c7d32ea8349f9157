//! The cascade of braking energy: from the wheels down to what could have reached the battery terminals.

use super::road_load::{Conditions, ForceLaw, Interval, force_law, steady_force};
use crate::truck::{Acceptance, Blending, Level, LiftOff, Truck};

/// Braking energy of a stretch, split by the first limit that binds. [J] The parts sum to the braking energy.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Cascade {
    pub beyond_axle_j: f64,
    pub in_fade_j: f64,
    pub beyond_level_j: f64,
    pub beyond_torque_j: f64,
    pub beyond_power_j: f64,
    pub beyond_acceptance_j: f64,
    pub converted_j: f64,
    pub to_auxiliaries_j: f64,
    pub recoverable_j: f64,
}

impl Cascade {
    pub fn total_j(&self) -> f64 {
        self.beyond_axle_j
            + self.in_fade_j
            + self.beyond_level_j
            + self.beyond_torque_j
            + self.beyond_power_j
            + self.beyond_acceptance_j
            + self.converted_j
            + self.to_auxiliaries_j
            + self.recoverable_j
    }

    /// Returned at the dc link, before auxiliaries.
    pub fn bus_j(&self) -> f64 {
        self.to_auxiliaries_j + self.recoverable_j
    }

    pub fn add(&mut self, other: &Cascade) {
        self.add_scaled(other, 1.0);
    }

    fn add_scaled(&mut self, other: &Cascade, factor: f64) {
        self.beyond_axle_j += other.beyond_axle_j * factor;
        self.in_fade_j += other.in_fade_j * factor;
        self.beyond_level_j += other.beyond_level_j * factor;
        self.beyond_torque_j += other.beyond_torque_j * factor;
        self.beyond_power_j += other.beyond_power_j * factor;
        self.beyond_acceptance_j += other.beyond_acceptance_j * factor;
        self.converted_j += other.converted_j * factor;
        self.to_auxiliaries_j += other.to_auxiliaries_j * factor;
        self.recoverable_j += other.recoverable_j * factor;
    }
}

/// Which level is set while braking.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LevelChoice {
    Set(usize),
    /// At each instant the level that gives most.
    Best,
    /// At each instant the level that gives least: a bound where the level is unknown.
    Worst,
}

/// What holds during one interval beside the road.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    pub level: LevelChoice,
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
    let taper = soc_frac.map_or(1.0, |soc| {
        let room = 1.0 - battery.taper_start_soc;
        if room <= 0.0 { 1.0 } else { ((1.0 - soc) / room).clamp(0.0, 1.0) }
    });
    let cold = temperature_k.map_or(1.0, |temperature| {
        let span = battery.cold_full_k - battery.cold_none_k;
        if span <= 0.0 { 1.0 } else { ((temperature - battery.cold_none_k) / span).clamp(0.0, 1.0) }
    });
    battery.power_max_w * taper * cold
}

/// The cascade over the braking part of one interval. [J]
///
/// Order: axle -> low-speed fade and level with the pedal's blending -> motor torque -> motor power -> battery
/// acceptance (at the wheel: (P_acc + P_aux)/η) -> conversion -> auxiliaries -> terminals. With D = -F(v) the
/// braking force asked, each limit is a force of v; the interval is cut where another limit begins to bind and each
/// piece is integrated by three-point Gauss, exact for the fifth-degree polynomials that occur.
/// Shape    one interval; `part` in shares of its duration
/// Sign     all 0 or more; their sum is the braking energy of the part
/// Holds    constant efficiency; speed linear; grade constant
/// Source   limits: derived, order as documented in notebooks-docs/method; Gauss-Legendre: Abramowitz and Stegun
///          (1964), table 25.4. Departures: none
/// Check    wheel 60 kW, η 0.86, aux 4 kW, acceptance 40 kW -> 40 kW at the terminals (tests below)
pub fn integrate(
    truck: &Truck,
    conditions: &Conditions,
    interval: &Interval,
    part: (f64, f64),
    moment: &Moment,
) -> Cascade {
    let instant = Instant { truck, conditions, law: force_law(conditions, interval), moment };
    let mut sum = Cascade::default();
    let mut from = part.0;
    for to in smooth_pieces(&instant, interval, part) {
        gauss(&instant, interval, from, to, &mut sum);
        from = to;
    }
    sum
}

const GAUSS_NODES: [(f64, f64); 3] =
    [(-0.774_596_669_241_483_4, 5.0 / 9.0), (0.0, 8.0 / 9.0), (0.774_596_669_241_483_4, 5.0 / 9.0)];

fn gauss(instant: &Instant<'_>, interval: &Interval, from: f64, to: f64, sum: &mut Cascade) {
    let half = (to - from) / 2.0;
    for (node, weight) in GAUSS_NODES {
        let speed = interval.speed_at(from + half * (1.0 + node));
        let powers = instant.powers(speed);
        sum.add_scaled(&powers, weight * half * interval.duration_s);
    }
}

/// Ends of the pieces within which the same limits bind, in shares of the interval.
fn smooth_pieces(instant: &Instant<'_>, interval: &Interval, part: (f64, f64)) -> Vec<f64> {
    let change = interval.speed_end_m_s - interval.speed_start_m_s;
    if change == 0.0 {
        return vec![part.1];
    }
    // Limits cross at most a few times per interval; looking every quarter metre per second finds the crossings.
    let looks = ((change.abs() * (part.1 - part.0) * 4.0).ceil() as usize).clamp(2, 128);
    let signature = |share: f64| instant.signature(interval.speed_at(share));
    let mut ends = Vec::with_capacity(4);
    let mut from = part.0;
    let mut before = signature(from);
    for look in 1..=looks {
        let to = part.0 + (part.1 - part.0) * look as f64 / looks as f64;
        let after = signature(to);
        while before != after {
            let (cut, beyond) = bisect(from, to, before, &signature);
            if cut <= from {
                break;
            }
            // A limit may begin to bind right at a look, as it does at round speeds.
            ends.push(cut.min(to));
            if cut >= to {
                break;
            }
            (from, before) = (cut, beyond);
        }
        (from, before) = (to, after);
    }
    ends.push(part.1);
    ends
}

/// The last place where the signature is still `same`, and the signature just beyond it.
fn bisect(mut low: f64, mut high: f64, same: u64, signature: &impl Fn(f64) -> u64) -> (f64, u64) {
    let mut beyond = signature(high);
    for _ in 0..52 {
        let middle = f64::midpoint(low, high);
        let here = signature(middle);
        if here == same {
            low = middle;
        } else {
            (high, beyond) = (middle, here);
        }
    }
    (high, beyond)
}

struct Instant<'a> {
    truck: &'a Truck,
    conditions: &'a Conditions,
    law: ForceLaw,
    moment: &'a Moment,
}

/// Forces left after each limit, in order. [N]
struct Forces {
    asked: f64,
    axle: f64,
    unfaded: f64,
    level: f64,
    /// Number of the level that gave it.
    chosen: usize,
    torque: f64,
    power: f64,
    accepted: f64,
}

impl Instant<'_> {
    fn forces(&self, speed: f64) -> Forces {
        let asked = (-self.law.at(speed)).max(0.0);
        let axle = asked.min(self.conditions.mass_kg * self.truck.axle_limit_m_s2);
        let (unfaded, level, chosen) = self.level(speed, axle);
        let torque = level.min(self.truck.motor_force_max_n);
        let (power, accepted) = if speed > 0.0 {
            let power = torque.min(self.truck.motor_power_max_w / speed);
            (power, power.min(self.accepted_at_wheel() / speed))
        } else {
            (torque, torque)
        };
        Forces { asked, axle, unfaded, level, chosen, torque, power, accepted }
    }

    /// Wheel power the battery would take in once losses and auxiliaries had their part.
    fn accepted_at_wheel(&self) -> f64 {
        (self.moment.acceptance_w + self.moment.aux_power_w) / self.truck.drive_efficiency
    }

    /// Force after level and blending, without and with the low-speed fade, and which level gave it.
    fn level(&self, speed: f64, asked: f64) -> (f64, f64, usize) {
        let blended = |at: usize| {
            let level = &self.truck.levels[at];
            let lift_off = self.lift_off(level, speed);
            let fade = fade(level, speed);
            (self.blend(lift_off, asked, 1.0), self.blend(lift_off, asked, fade), at)
        };
        let levels = || (0..self.truck.levels.len()).map(blended);
        let stronger =
            |a: &(f64, f64, usize), b: &(f64, f64, usize)| a.1.total_cmp(&b.1).then(a.0.total_cmp(&b.0));
        match self.moment.level {
            LevelChoice::Set(at) => blended(at),
            LevelChoice::Best => levels().max_by(stronger).unwrap_or((0.0, 0.0, 0)),
            LevelChoice::Worst => levels().min_by(stronger).unwrap_or((0.0, 0.0, 0)),
        }
    }

    fn blend(&self, lift_off: f64, asked: f64, fade: f64) -> f64 {
        let regen = match self.truck.blending {
            Blending::FrictionOnly => fade * lift_off,
            Blending::Parallel { pedal_share } => {
                fade * lift_off + fade * pedal_share * (asked - fade * lift_off).max(0.0)
            }
            // Above the fade nothing but the motor itself binds, and that is booked as its torque.
            Blending::Series if fade >= 1.0 => asked,
            Blending::Series => fade * self.truck.motor_force_max_n,
        };
        regen.min(asked)
    }

    fn lift_off(&self, level: &Level, speed: f64) -> f64 {
        match level.lift_off {
            LiftOff::Force { n } => n,
            LiftOff::Deceleration { m_s2, includes_road_load } => {
                let force = self.conditions.effective_mass_kg() * m_s2;
                let road = if includes_road_load { steady_force(self.conditions, speed, 0.0) } else { 0.0 };
                (force - road).max(0.0)
            }
        }
    }

    /// Powers booked at one speed. [W] in place of J.
    fn powers(&self, speed: f64) -> Cascade {
        let f = self.forces(speed);
        let bus = f.accepted * speed * self.truck.drive_efficiency;
        let to_auxiliaries = bus.min(self.moment.aux_power_w);
        Cascade {
            beyond_axle_j: (f.asked - f.axle) * speed,
            beyond_level_j: (f.axle - f.unfaded) * speed,
            in_fade_j: (f.unfaded - f.level) * speed,
            beyond_torque_j: (f.level - f.torque) * speed,
            beyond_power_j: (f.torque - f.power) * speed,
            beyond_acceptance_j: (f.power - f.accepted) * speed,
            converted_j: f.accepted * speed - bus,
            to_auxiliaries_j: to_auxiliaries,
            recoverable_j: bus - to_auxiliaries,
        }
    }

    /// Which limits bind at a speed: pieces of one signature are smooth.
    fn signature(&self, speed: f64) -> u64 {
        let f = self.forces(speed);
        let bus = f.accepted * speed * self.truck.drive_efficiency;
        let mut bits = 0;
        for (at, binds) in [
            f.axle < f.asked,
            f.unfaded < f.axle,
            f.level < f.unfaded,
            f.level <= 0.0,
            f.torque < f.level,
            f.power < f.torque,
            f.accepted < f.power,
            bus > self.moment.aux_power_w,
            // Where road load uses up the lift-off force.
            self.lift_off(&self.truck.levels[f.chosen], speed) <= 0.0,
            speed < self.law.still_air_m_s(),
        ]
        .into_iter()
        .enumerate()
        {
            bits |= u64::from(binds) << at;
        }
        bits | (self.fade_region(speed) << 16) | ((f.chosen as u64) << 32)
    }

    /// Between which fade speeds of the levels a speed lies.
    fn fade_region(&self, speed: f64) -> u64 {
        let passed = self
            .truck
            .levels
            .iter()
            .map(|level| u64::from(speed > level.fade_start_m_s) + u64::from(speed > level.fade_end_m_s));
        passed.sum::<u64>().min(0xffff)
    }
}

/// Share of its lift-off force a level still has at a speed: 0 to 1, linear between the fade speeds.
fn fade(level: &Level, speed: f64) -> f64 {
    let span = level.fade_end_m_s - level.fade_start_m_s;
    if span <= 0.0 {
        return if speed > level.fade_start_m_s { 1.0 } else { 0.0 };
    }
    ((speed - level.fade_start_m_s) / span).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::road_load;

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
            rolling_temperature: None,
            drive_efficiency: 0.86,
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
        let moment = Moment { level, aux_power_w: truck.aux_power_w, acceptance_w };
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

    /// Against a dense midpoint sum that knows nothing of pieces.
    #[test]
    fn pieces_agree_with_a_dense_sum() {
        let truck = Truck { blending: Blending::Parallel { pedal_share: 0.5 }, ..truck() };
        let interval = stop(2.0);
        let (cascade, _) = run(&truck, &interval, LevelChoice::Set(1), 60e3);
        let moment = Moment { level: LevelChoice::Set(1), aux_power_w: 4e3, acceptance_w: 60e3 };
        let c = conditions();
        let instant = Instant { truck: &truck, conditions: &c, law: force_law(&c, &interval), moment: &moment };
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
}
