//! What a level gives when the accelerator is released, its fade at low speed, and the strongest level on offer.

use super::LevelChoice;
use crate::kernels::road_load::{Conditions, steady_force};
use crate::truck::{Level, LiftOff, Truck};

/// Lift-off force of a level above its fade. [N]
#[inline]
pub(super) fn lift_off(level: &Level, conditions: &Conditions, speed: f64) -> f64 {
    match held(level, conditions) {
        (force, false) => force,
        (force, true) => less_road_load(force, conditions, speed),
    }
}

/// Share of its lift-off force a level still has at a speed: 0 to 1, linear between the fade speeds.
#[inline]
pub(super) fn fade(level: &Level, speed: f64) -> f64 {
    if speed <= level.fade_start_m_s {
        0.0
    } else if speed >= level.fade_end_m_s {
        1.0
    } else {
        (speed - level.fade_start_m_s) / (level.fade_end_m_s - level.fade_start_m_s)
    }
}

/// The strongest lift-offs of a truck: which of the two is the stronger may change with speed. [N]
#[derive(Clone, Copy)]
pub(super) struct Strongest {
    held: f64,
    /// Of the levels whose figure includes road load.
    with_road_load: Option<f64>,
}

impl Strongest {
    /// None where no level is stronger than the one set, whatever the speed.
    pub fn beyond(truck: &Truck, conditions: &Conditions, set: LevelChoice) -> Option<Self> {
        if truck.levels.len() == 1 {
            return None;
        }
        let mut most = Self { held: 0.0, with_road_load: None };
        for level in &truck.levels {
            match held(level, conditions) {
                (force, false) => most.held = most.held.max(force),
                (force, true) => {
                    most.with_road_load = Some(most.with_road_load.map_or(force, |most| most.max(force)));
                }
            }
        }
        let is_strongest = |at: usize| match held(&truck.levels[at], conditions) {
            (force, false) => force >= most.held && most.with_road_load.is_none(),
            (force, true) => most.held <= 0.0 && Some(force) >= most.with_road_load,
        };
        let none_beyond = matches!(set, LevelChoice::Set(at) if is_strongest(at));
        (!none_beyond).then_some(most)
    }

    /// The strongest at a speed, and whether road load is part of its figure.
    #[inline]
    pub fn lift_off(self, conditions: &Conditions, speed: f64) -> (f64, bool) {
        let other = self.with_road_load.map_or(0.0, |force| less_road_load(force, conditions, speed));
        (self.held.max(other), other > self.held)
    }
}

/// What a level holds, and whether road load is part of it. [N]
#[inline]
fn held(level: &Level, conditions: &Conditions) -> (f64, bool) {
    match level.lift_off {
        LiftOff::Force { n } => (n, false),
        LiftOff::Deceleration { m_s2, includes_road_load } => {
            (conditions.effective_mass_kg() * m_s2, includes_road_load)
        }
    }
}

/// Nothing where road load alone slows the truck as much.
#[inline]
fn less_road_load(force: f64, conditions: &Conditions, speed: f64) -> f64 {
    (force - steady_force(conditions, speed, 0.0)).max(0.0)
}
