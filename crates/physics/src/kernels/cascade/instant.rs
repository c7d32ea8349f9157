//! One instant of braking: the forces left after each limit, and the powers that follow.

use super::lift_off::{Strongest, fade, lift_off};
use super::{Cascade, LevelChoice, Limit, Moment};
use crate::kernels::road_load::{Conditions, ForceLaw, Interval, force_law};
use crate::truck::{Blending, Level, Truck};

pub(super) struct Instant<'a> {
    pub truck: &'a Truck,
    pub conditions: &'a Conditions,
    pub law: ForceLaw,
    pub moment: &'a Moment,
    strongest: Option<Strongest>,
}

/// Which branch of every formula holds. Within one branch powers are smooth in speed.
pub(super) type Branch = (u64, usize);

/// Forces left after each limit, in order. [N]
#[derive(Clone, Copy, Default)]
pub(super) struct Forces {
    asked: f64,
    axle: f64,
    unfaded: f64,
    level: f64,
    /// Number of the level that gave it.
    chosen: usize,
    /// Where road load uses up the lift-off force.
    no_lift_off: bool,
    /// Where lift-off alone asks for all the motor has, and where it asks for more than the pedal lets the motor take.
    lift_off_fills: [bool; 2],
    torque: f64,
    pub power: f64,
}

/// What a force brings to the terminals.
#[derive(Clone, Copy, Default)]
pub(super) struct Arrival {
    pub power_w: f64,
    pub branch: Branch,
    /// See [`Instant::curved`].
    pub curved: bool,
}

impl<'a> Instant<'a> {
    pub fn new(truck: &'a Truck, conditions: &'a Conditions, interval: &Interval, moment: &'a Moment) -> Self {
        let strongest = Strongest::beyond(truck, conditions, moment.level);
        Self { truck, conditions, law: force_law(conditions, interval), moment, strongest }
    }
}

impl Instant<'_> {
    /// Powers booked at one speed. [W] in place of J.
    pub fn powers(&self, speed: f64) -> Cascade {
        let f = self.forces(speed, None);
        let (accepted, bus) = self.truck.losses.accepted(f.power, speed, self.bus_limit_w());
        let to_auxiliaries = bus.min(self.moment.aux_power_w);
        let beyond = accepted > 0.0 && self.truck.losses.braking_beyond_map(accepted, speed);
        let (strongest, _) = self.at_strongest(&f, speed);
        Cascade {
            beyond_axle_j: (f.asked - f.axle) * speed,
            beyond_blending_j: (f.axle - strongest) * speed,
            beyond_level_j: (strongest - f.unfaded) * speed,
            in_fade_j: (f.unfaded - f.level) * speed,
            beyond_torque_j: (f.level - f.torque) * speed,
            beyond_power_j: (f.torque - f.power) * speed,
            beyond_acceptance_j: (f.power - accepted) * speed,
            converted_j: accepted * speed - bus,
            to_auxiliaries_j: to_auxiliaries,
            recoverable_j: bus - to_auxiliaries,
            beyond_map_s: if beyond { 1.0 } else { 0.0 },
            taken_whole_j: if accepted >= f.asked { accepted * speed } else { 0.0 },
            force_squared_n2_s: accepted * accepted,
        }
    }

    #[inline]
    pub fn branch(&self, speed: f64) -> Branch {
        let f = self.forces(speed, None);
        let (accepted, bus) = self.truck.losses.accepted(f.power, speed, self.bus_limit_w());
        let ends = bits([accepted < f.power, bus > 0.0, bus > self.moment.aux_power_w]);
        let (_, of_strongest) = self.at_strongest(&f, speed);
        let bits = f.bits() | (of_strongest << 9) | (ends << 12) | (self.region(speed) << 20);
        (bits, self.truck.losses.braking_piece(accepted, speed))
    }

    /// True where a force goes with one over speed, with a root, or with the square of a fading force: no polynomial of
    /// the fifth degree, except under a constant law.
    pub fn curved(&self, speed: f64) -> bool {
        if self.truck.losses.is_constant() {
            return false;
        }
        let f = self.forces(speed, None);
        f.curved() || self.truck.losses.returned(f.power, speed) > self.bus_limit_w()
    }

    /// Speed below which more force may return less, over the braking part of an interval.
    pub fn falls_below_m_s(&self, interval: &Interval, part: (f64, f64)) -> f64 {
        let slower = interval.speed_at(part.0).min(interval.speed_at(part.1));
        // The force never falls as speed rises: braking is hardest at the slower end.
        self.truck.losses.falls_below_m_s((-self.law.at(slower)).max(0.0))
    }

    /// Forces at a speed, with one limit lifted where asked.
    #[inline]
    pub fn forces(&self, speed: f64, without: Option<Limit>) -> Forces {
        let asked = (-self.law.at(speed)).max(0.0);
        let limit = self.conditions.mass_kg * self.truck.axle_limit_m_s2;
        let axle = if without == Some(Limit::Axle) { asked } else { asked.min(limit) };
        let of = |at: usize| self.at_level(at, speed, (asked, axle), without);
        let arrives = |f: &Forces| self.truck.losses.returned(f.power, speed).min(self.bus_limit_w());
        // What arrives decides, not the force: more force may return less. The stronger of equals binds later.
        let order = |a: &Forces, b: &Forces| {
            arrives(a)
                .total_cmp(&arrives(b))
                .then(a.level.total_cmp(&b.level))
                .then(a.unfaded.total_cmp(&b.unfaded))
        };
        let levels = || (0..self.truck.levels.len()).map(of);
        match self.moment.level {
            LevelChoice::Set(at) => of(at),
            LevelChoice::Best => levels().max_by(order).unwrap_or_default(),
            LevelChoice::Worst => levels().min_by(order).unwrap_or_default(),
        }
    }

    /// What arrives at the terminals now and with each of some limits lifted; branches leave out the region.
    #[inline]
    pub fn arrivals(&self, speed: f64, limits: &[Limit], mut each: impl FnMut(usize, Arrival)) -> Arrival {
        let forces = self.forces(speed, None);
        let now = self.arrival(speed, &forces, &forces, None);
        for (at, limit) in limits.iter().enumerate() {
            let lifted = match self.binds(*limit, &forces) {
                Some(false) => now,
                Some(true) => self.arrival(speed, &forces, &self.forces(speed, Some(*limit)), Some(*limit)),
                None => self.arrival(speed, &forces, &forces, Some(*limit)),
            };
            each(at, lifted);
        }
        now
    }

    /// More room permits more force and never demands it: of the forces between `forces` and those of the lifted
    /// limit the one that returns most is taken.
    #[inline]
    fn arrival(&self, speed: f64, forces: &Forces, lifted: &Forces, without: Option<Limit>) -> Arrival {
        let most = lifted.power.max(forces.power);
        let best =
            if most > forces.power { self.truck.losses.best_force(forces.power, most, speed) } else { most };
        let lossless = without == Some(Limit::Losses);
        let returned = if lossless { best * speed } else { self.truck.losses.returned(best, speed) };
        let aux = if without == Some(Limit::Auxiliaries) { 0.0 } else { self.moment.aux_power_w };
        let bus_limit =
            if without == Some(Limit::Acceptance) { f64::INFINITY } else { self.moment.acceptance_w + aux };
        let bus = returned.min(bus_limit);
        let ends = bits([returned > 0.0, returned > bus_limit, bus > aux, best <= forces.power, best >= most]);
        let piece = if lossless { 0 } else { self.truck.losses.braking_piece(best, speed) };
        let branch = (lifted.bits() | (ends << 12), piece);
        Arrival { power_w: (bus - aux).max(0.0), branch, curved: lifted.curved() || forces.curved() }
    }

    /// Whether lifting a limit of force can change the force; `None` for limits of power.
    #[inline]
    fn binds(&self, limit: Limit, f: &Forces) -> Option<bool> {
        let binds = match limit {
            Limit::Axle => f.axle < f.asked,
            Limit::Fade => f.level < f.unfaded,
            Limit::Level => f.level < f.axle,
            Limit::Torque => f.torque < f.level,
            Limit::Power => f.power < f.torque,
            Limit::Acceptance | Limit::Losses | Limit::Auxiliaries => return None,
        };
        // Another level may be chosen where the limit is lifted.
        Some(binds || !matches!(self.moment.level, LevelChoice::Set(_)))
    }

    /// Power at the dc link beyond which neither battery nor auxiliaries take any.
    fn bus_limit_w(&self) -> f64 {
        self.moment.acceptance_w + self.moment.aux_power_w
    }

    #[inline]
    fn at_level(&self, at: usize, speed: f64, (asked, axle): (f64, f64), without: Option<Limit>) -> Forces {
        let level = &self.truck.levels[at];
        let lift_off = lift_off(level, self.conditions, speed);
        let blend = |fade: f64| {
            let set = self.blend(lift_off, axle, fade);
            // With no level to bind, the motor takes all it can, as where the pedal asks it to.
            if without == Some(Limit::Level) { set.max(self.motor(axle, fade)) } else { set }
        };
        let fade = if without == Some(Limit::Fade) { 1.0 } else { fade(level, speed) };
        let (unfaded, level) = (blend(1.0), blend(fade));
        let torque = if without == Some(Limit::Torque) {
            level
        } else {
            level.min(self.torque_left(lift_off, fade, without))
        };
        let within = torque * speed <= self.truck.motor_power_max_w || without == Some(Limit::Power);
        let power = if within { torque } else { self.truck.motor_power_max_w / speed };
        let lifted = fade * lift_off;
        let lift_off_fills =
            [lifted >= self.truck.motor_force_max_n, lifted.min(axle) >= self.motor(axle, fade)];
        let no_lift_off = lift_off <= 0.0;
        Forces { asked, axle, unfaded, level, chosen: at, no_lift_off, lift_off_fills, torque, power }
    }

    /// What the strongest level would have the motor take, the pedal as it is and no fade, and which branch of that
    /// holds. A stronger lift-off never leaves the motor less, however the pedal blends. [N]
    #[inline]
    fn at_strongest(&self, f: &Forces, speed: f64) -> (f64, u64) {
        let Some(strongest) = self.strongest.filter(|_| f.unfaded < f.axle) else { return (f.unfaded, 0) };
        let (lift_off, is_less_road_load) = strongest.lift_off(self.conditions, speed);
        // Rounding aside it is no less than the level in question gives.
        let unfaded = self.blend(lift_off, f.axle, 1.0).max(f.unfaded);
        (unfaded, bits([unfaded >= f.axle, unfaded > f.unfaded, is_less_road_load]))
    }

    #[inline]
    fn blend(&self, lift_off: f64, asked: f64, fade: f64) -> f64 {
        let lifted = fade * lift_off;
        match self.truck.blending {
            // What the pedal does takes the pedal.
            _ if !self.moment.pedal_used => lifted.min(asked),
            Blending::FrictionOnly => lifted.min(asked),
            Blending::Parallel { pedal_share } => {
                (lifted + fade * pedal_share * (asked - lifted).max(0.0)).min(asked)
            }
            // The pedal takes nothing away from what lifting off gives.
            Blending::Series => self.motor(asked, fade).max(lifted.min(asked)),
        }
    }

    /// What the fade leaves of a force the motor may take all of: the fade is a share of the motor's force, and what lies
    /// beyond that force in any case is booked as torque.
    #[inline]
    fn motor(&self, asked: f64, fade: f64) -> f64 {
        let most = self.truck.motor_force_max_n;
        (fade * most).min(asked) + (asked - most).max(0.0)
    }

    /// Torque the motor has left: where it may take all it can, the fade took its share of it already.
    #[inline]
    fn torque_left(&self, lift_off: f64, fade: f64, without: Option<Limit>) -> f64 {
        let most = self.truck.motor_force_max_n;
        let series = self.truck.blending == Blending::Series && self.moment.pedal_used;
        if series || without == Some(Limit::Level) {
            (fade * most).max((fade * lift_off).min(most))
        } else {
            most
        }
    }

    /// The levels in question.
    fn levels(&self) -> &[Level] {
        match self.moment.level {
            LevelChoice::Set(at) => &self.truck.levels[at..=at],
            LevelChoice::Best | LevelChoice::Worst => &self.truck.levels,
        }
    }

    /// Between which fade speeds of the levels in question a speed lies, and on which side of still air.
    #[inline]
    pub fn region(&self, speed: f64) -> u64 {
        let passed = self
            .levels()
            .iter()
            .map(|level| u64::from(speed > level.fade_start_m_s) + u64::from(speed > level.fade_end_m_s));
        (passed.sum::<u64>().min(0x7fff) << 1) | u64::from(speed < self.law.still_air_m_s())
    }
}

impl Forces {
    /// Where a fade may square and power goes with one over speed.
    fn curved(&self) -> bool {
        self.level < self.unfaded || self.power < self.torque
    }

    /// Which limits of force bind, and which level was chosen.
    #[inline]
    fn bits(&self) -> u64 {
        let binding = bits([
            self.axle < self.asked,
            self.unfaded < self.axle,
            self.level < self.unfaded,
            self.level <= 0.0,
            self.torque < self.level,
            self.power < self.torque,
            self.no_lift_off,
            self.lift_off_fills[0],
            self.lift_off_fills[1],
        ]);
        binding | ((self.chosen as u64) << 40)
    }
}

fn bits<const N: usize>(flags: [bool; N]) -> u64 {
    flags.into_iter().enumerate().fold(0, |bits, (at, flag)| bits | (u64::from(flag) << at))
}
