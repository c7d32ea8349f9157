//! What the energies of an interval rest on: how they move with drag, rolling resistance and load.

use super::quadrature;
use super::road_load::{Conditions, Interval, RoadEnergy, force_law};

/// Parts of one interval's energies.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Shares {
    /// Drag work done while braking, which braking need not do. [J]
    pub aero_braking_j: f64,
    /// Rolling work done while braking. [J]
    pub rolling_braking_j: f64,
    /// Square of the wheel force over the driving part: losses that go with current squared go with it. [N² s]
    pub force_squared_tractive_n2_s: f64,
}

impl Shares {
    pub fn add(&mut self, other: &Shares) {
        self.add_scaled(other, 1.0);
    }

    pub fn add_scaled(&mut self, other: &Shares, factor: f64) {
        self.aero_braking_j += other.aero_braking_j * factor;
        self.rolling_braking_j += other.rolling_braking_j * factor;
        self.force_squared_tractive_n2_s += other.force_squared_tractive_n2_s * factor;
    }
}

/// The parts of one interval's energies.
///
/// With F = inertia + grade + rolling + drag, traction is ∫ F v where F > 0 and braking is -∫ F v where F < 0. A small
/// change of one cause moves each by that cause's own work over its part: at the change of sign F is nothing. So
/// ∂E_brk/∂ln CdA = -aero_braking, ∂E_trac/∂ln CdA = aero - aero_braking, and likewise for rolling.
/// Shape    one interval and its energies
/// Sign     rolling 0 or more; aero negative where a tailwind pushes
/// Holds    as [`road_load::integrate`](super::road_load::integrate); exact
/// Source   derivative of an integral between its own zeros (Leibniz). Check: finite differences in the laws
pub fn shares(conditions: &Conditions, interval: &Interval, energy: &RoadEnergy) -> Shares {
    let law = force_law(conditions, interval);
    let (from, to) = energy.braking_part.unwrap_or((0.0, 0.0));
    let mut found = Shares::default();
    let drag = |speed: f64| law.at(speed) - law.constant_n;
    let side = |speed: f64| speed < law.still_air_m_s();
    if to > from {
        let before = interval.speed_at(from);
        let part = f64::midpoint(before, interval.speed_at(to)) * (to - from) * interval.duration_s;
        found.rolling_braking_j = energy.rolling_j * part / interval.distance_m();
        quadrature::sum(
            interval,
            (from, to),
            0.0,
            side,
            |_| false,
            |speed, seconds| {
                found.aero_braking_j += drag(speed) * speed * seconds;
            },
        );
    }
    for part in [(0.0, from), (to, 1.0)] {
        if part.1 > part.0 && energy.tractive_j > 0.0 {
            quadrature::sum(
                interval,
                part,
                0.0,
                side,
                |_| false,
                |speed, seconds| {
                    found.force_squared_tractive_n2_s += law.at(speed).max(0.0).powi(2) * seconds;
                },
            );
        }
    }
    found
}
