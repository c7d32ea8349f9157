//! What lifting one limit alone would bring to the terminals.

use super::instant::{Branch, Instant};
use super::{Cascade, Moment};
use crate::kernels::quadrature;
use crate::kernels::road_load::{Conditions, Interval};
use crate::truck::Truck;

/// A limit on the way from the wheels to the terminals, in the order they bind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    Axle,
    Fade,
    Level,
    Torque,
    Power,
    Acceptance,
    Losses,
    Auxiliaries,
}

impl Limit {
    pub const ALL: [Limit; 8] = [
        Limit::Axle,
        Limit::Fade,
        Limit::Level,
        Limit::Torque,
        Limit::Power,
        Limit::Acceptance,
        Limit::Losses,
        Limit::Auxiliaries,
    ];
}

/// Recoverable energy with one limit lifted, minus recoverable energy. [J]
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Gains {
    by_limit: [f64; 8],
}

impl Gains {
    pub fn without_j(&self, limit: Limit) -> f64 {
        self.by_limit[limit as usize]
    }

    /// What all limits together hold back beyond the single gains. With every limit lifted all braking energy would
    /// arrive, so that recoverable + gains + remainder = braking. Positive where two limits bind at once and lifting
    /// one of them brings little; negative where single gains count the same joule twice.
    pub fn remainder_j(&self, cascade: &Cascade) -> f64 {
        cascade.total_j() - cascade.recoverable_j - self.by_limit.iter().sum::<f64>()
    }

    pub fn add(&mut self, other: &Gains) {
        self.add_scaled(other, 1.0);
    }

    pub fn add_scaled(&mut self, other: &Gains, factor: f64) {
        for (sum, other) in self.by_limit.iter_mut().zip(other.by_limit) {
            *sum += other * factor;
        }
    }
}

/// Gains over the braking part of one interval whose cascade is known. [J]
///
/// G_x = ∫ (P_x - P) dt with P = [min(R(F), P_acc + P_aux) - P_aux]+, R the loss law's return; P_x is the same with
/// limit x lifted: the force F without it, P_acc = ∞, R(F) = F v, or P_aux = 0. Lifting the level lifts the
/// pedal's blending with it, one limit here where the cascade books two parts: the motor has all it can take, as under
/// series blending. A lifted limit permits force and does not demand it: where more force
/// would return less, the best on the way is taken.
/// Shape    one interval; `part` in shares of its duration
/// Sign     0 or more each
/// Holds    speed linear; grade constant. Only limits that book something in `cascade` are looked at: the others
///          gain nothing
/// Source   derived, the chain of limits with one of them lifted; see notebooks-docs/method/ledger.md
/// Check    wheel 60 kW, η 0.86, aux 4 kW, acceptance 40 kW: no acceptance limit +7.6 kW, no losses 0, no
///          auxiliaries 0, remainder 12.4 kW (tests of the cascade)
pub fn gains(
    truck: &Truck,
    conditions: &Conditions,
    interval: &Interval,
    part: (f64, f64),
    moment: &Moment,
    cascade: &Cascade,
) -> Gains {
    let instant = Instant::new(truck, conditions, interval, moment);
    let mut sum = Gains::default();
    let mut booked = [Limit::Axle; 8];
    let mut count = 0;
    for limit in Limit::ALL.into_iter().filter(|limit| cascade.held_back(*limit)) {
        (booked[count], count) = (limit, count + 1);
    }
    let booked = &booked[..count];
    if booked.is_empty() {
        return sum;
    }
    let branches = |speed: f64| {
        let mut of_lifted = 0;
        let now = instant.arrivals(speed, booked, |_, lifted| of_lifted = mixed(of_lifted, lifted.branch));
        (instant.region(speed), now.branch, of_lifted)
    };
    let curved = |speed: f64| {
        if truck.losses.is_constant() {
            return false;
        }
        let mut any = false;
        let now = instant.arrivals(speed, booked, |_, lifted| any |= lifted.curved);
        any || now.curved
    };
    quadrature::sum(
        interval,
        part,
        instant.falls_below_m_s(interval, part),
        branches,
        curved,
        |speed, seconds| {
            let mut lifted_w = [0.0; 8];
            let now = instant.arrivals(speed, booked, |at, lifted| lifted_w[at] = lifted.power_w);
            for (limit, lifted_w) in booked.iter().zip(lifted_w) {
                sum.by_limit[*limit as usize] += (lifted_w - now.power_w) * seconds;
            }
        },
    );
    sum
}

/// One number for a row of branches: another one for another row, but for one chance in 2⁶⁴.
fn mixed(before: u64, branch: Branch) -> u64 {
    const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;
    [branch.0, branch.1 as u64]
        .into_iter()
        .fold(before, |sum, bits| (sum.rotate_left(5) ^ bits).wrapping_mul(GOLDEN))
}
