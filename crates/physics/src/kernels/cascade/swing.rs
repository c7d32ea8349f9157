//! How far each step of the cascade moves where one value of the vehicle data lies at another place.

use super::instant::Instant;
use super::{Cascade, Moment};
use crate::kernels::quadrature;
use crate::kernels::road_load::{Conditions, Interval};
use crate::truck::Truck;

/// Steps of the cascade, in the order they bind; the last is what is recoverable.
pub const STEPS: usize = 10;

/// A truck on the road, at one moment.
pub struct Case<'a> {
    pub truck: &'a Truck,
    pub conditions: Conditions,
    pub moment: Moment,
}

impl Case<'_> {
    /// The steps over the part of an interval that brakes, as shares of what this case brakes there; `None` where it does not.
    ///
    /// A few points and no cuts: what a limit that begins to bind within the interval is off by, all cases share.
    /// Shape    one interval; `part` in shares of its duration
    /// Holds    speed linear; grade constant
    /// Source   as [`super::integrate`], whose formulas these are
    pub fn split(&self, interval: &Interval, part: (f64, f64)) -> Option<[f64; STEPS]> {
        let instant = Instant::new(self.truck, &self.conditions, interval, &self.moment);
        let mut sum = Cascade::default();
        quadrature::uncut(interval, part, |speed, seconds| sum.add_scaled(&instant.powers(speed), seconds));
        let braking_j = sum.total_j();
        (braking_j > 0.0).then(|| sum.steps().map(|step| step / braking_j))
    }
}

/// How far the steps move from where they stand, as the sheet's values go to either of their ends. [J] One entry for each
/// value: what a value does in one interval and in another is of the same origin, and adds up.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Swings {
    by_value: Vec<[[f64; STEPS]; 2]>,
}

impl Swings {
    /// Of one value, by what its ends make of a braking energy that stands: an end that does not brake moves nothing.
    pub fn push(&mut self, braking_j: f64, stands: &[f64; STEPS], ends: [Option<[f64; STEPS]>; 2]) {
        let moved = |end: Option<[f64; STEPS]>| {
            let end = end.unwrap_or(*stands);
            std::array::from_fn(|step| braking_j * (end[step] - stands[step]))
        };
        self.by_value.push(ends.map(moved));
    }

    pub fn add(&mut self, other: &Swings) {
        self.add_scaled(other, 1.0);
    }

    pub fn add_scaled(&mut self, other: &Swings, factor: f64) {
        if self.by_value.len() < other.by_value.len() {
            self.by_value.resize(other.by_value.len(), [[0.0; STEPS]; 2]);
        }
        for (sum, other) in self.by_value.iter_mut().flatten().zip(other.by_value.iter().flatten()) {
            sum.iter_mut().zip(other).for_each(|(sum, other)| *sum += other * factor);
        }
    }

    /// Of each value in the order pushed: what the unfavourable end adds to each step, and the favourable one. [J]
    pub fn by_value(&self) -> &[[[f64; STEPS]; 2]] {
        &self.by_value
    }
}
