//! Force balance of a vehicle on a road, and its exact integrals over an interval of linear speed.

/// What a vehicle is on a stretch of road.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// As driven, payload and people included.
    pub mass_kg: f64,
    pub rotating_mass_kg: f64,
    pub rolling_resistance: f64,
    pub drag_area_m2: f64,
    pub air_density_kg_m3: f64,
    pub gravity_m_s2: f64,
    /// Wind against the way of travel, negative from behind, 0 in calm air.
    pub headwind_m_s: f64,
}

impl Conditions {
    pub fn effective_mass_kg(&self) -> f64 {
        self.mass_kg + self.rotating_mass_kg
    }

    /// ½ ρ CdA. [kg/m]
    pub fn drag_factor(&self) -> f64 {
        0.5 * self.air_density_kg_m3 * self.drag_area_m2
    }
}

/// Road load at steady speed on a grade. [N]
///
/// F = m g (sin θ + C_rr cos θ) + ½ ρ CdA v²,  θ = atan G
///   G    grade_frac  [1]    rise over run, uphill positive
///   v    speed_m_s   [m/s]  0 or more
/// Holds    calm air: a headwind is left out, as in a sheet's coastdown
/// Source   force balance along the road, e.g. 40 CFR 1036.545(f)(4). Departures: none
/// Check    6 600 kg, C_rr 0.0077, CdA 5.0, ρ 1.2, 25 mph, flat -> 873.08 N
/// ```
/// use backwatt_physics::kernels::road_load::{Conditions, steady_force};
/// let truck = Conditions {
///     mass_kg: 6600.0, rotating_mass_kg: 330.0, rolling_resistance: 0.0077, drag_area_m2: 5.0,
///     air_density_kg_m3: 1.2, gravity_m_s2: 9.80665, headwind_m_s: 0.0,
/// };
/// assert!((steady_force(&truck, 11.176, 0.0) - 873.08).abs() < 0.01);
/// ```
pub fn steady_force(conditions: &Conditions, speed_m_s: f64, grade_frac: f64) -> f64 {
    let angle = grade_frac.atan();
    let weight = conditions.mass_kg * conditions.gravity_m_s2;
    weight * (angle.sin() + conditions.rolling_resistance * angle.cos())
        + conditions.drag_factor() * speed_m_s * speed_m_s
}

/// One interval between two samples: speed linear in time, grade constant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    pub duration_s: f64,
    /// 0 or more.
    pub speed_start_m_s: f64,
    pub speed_end_m_s: f64,
    /// Height gained.
    pub rise_m: f64,
}

/// Energies of one interval at the wheels. [J]
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct RoadEnergy {
    pub kinetic_j: f64,
    pub grade_j: f64,
    pub rolling_j: f64,
    pub aero_j: f64,
    pub tractive_j: f64,
    pub braking_j: f64,
    /// Part of the interval in which the wheel force is negative, in shares of its duration.
    pub braking_part: Option<(f64, f64)>,
}

impl Interval {
    /// The same way no faster than a cap, in the time that takes.
    pub fn capped(self, cap_m_s: f64) -> Self {
        let (start, end) = (self.speed_start_m_s.min(cap_m_s), self.speed_end_m_s.min(cap_m_s));
        let (mean, capped) =
            (f64::midpoint(self.speed_start_m_s, self.speed_end_m_s), f64::midpoint(start, end));
        let longer = if capped > 0.0 { mean / capped } else { 1.0 };
        Self {
            duration_s: self.duration_s * longer,
            speed_start_m_s: start,
            speed_end_m_s: end,
            rise_m: self.rise_m,
        }
    }

    pub fn distance_m(&self) -> f64 {
        f64::midpoint(self.speed_start_m_s, self.speed_end_m_s) * self.duration_s
    }

    pub fn acceleration_m_s2(&self) -> f64 {
        (self.speed_end_m_s - self.speed_start_m_s) / self.duration_s
    }

    /// Sine and cosine of the slope; a rise longer than the way is no road and counts as vertical.
    fn slope(&self) -> (f64, f64) {
        let distance = self.distance_m();
        if distance <= 0.0 {
            return (0.0, 1.0);
        }
        let sine = (self.rise_m / distance).clamp(-1.0, 1.0);
        (sine, (1.0 - sine * sine).sqrt())
    }

    #[inline]
    pub fn speed_at(&self, share: f64) -> f64 {
        self.speed_start_m_s + (self.speed_end_m_s - self.speed_start_m_s) * share
    }
}

/// The wheel force of an interval over its speed. [N]
///
/// F(v) = c0 + c2 u |u|,  u = v + w
///   c0   constant_n      [N]     inertia, grade and rolling resistance
///   c2   drag_kg_m       [kg/m]  ½ ρ CdA
///   w    headwind_m_s    [m/s]   negative from behind
/// It never falls as v rises, so it changes its sign at one speed at most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForceLaw {
    pub constant_n: f64,
    pub drag_kg_m: f64,
    pub headwind_m_s: f64,
}

impl ForceLaw {
    #[inline]
    pub fn at(&self, speed_m_s: f64) -> f64 {
        let air = speed_m_s + self.headwind_m_s;
        self.constant_n + self.drag_kg_m * air * air.abs()
    }

    /// The speed at which the air stands still along the vehicle; the law is another polynomial on either side.
    #[inline]
    pub fn still_air_m_s(&self) -> f64 {
        -self.headwind_m_s
    }

    /// The speed without wheel force.
    fn free_speed_m_s(&self) -> Option<f64> {
        if self.drag_kg_m <= 0.0 {
            return None;
        }
        let square = -self.constant_n / self.drag_kg_m;
        Some(square.abs().sqrt().copysign(square) - self.headwind_m_s)
    }
}

/// The wheel force over one interval as a function of speed. [N]
///
/// F(v) = c0 + c2 u |u|, u = v + w;  c0 = m_e a + m g (sin θ + C_rr cos θ), c2 = ½ ρ CdA
/// Shape    one interval
/// Sign     positive pushes forward
/// Missing  none. Errors: none
/// Holds    speed linear, grade constant, wind steady
/// Source   the force balance, e.g. 40 CFR 1036.545(f)(4). Departures: of an oblique wind only the part along the way
/// Check    steady 25 mph on the flat -> 873.08 N, as [`steady_force`]
#[inline]
pub fn force_law(conditions: &Conditions, interval: &Interval) -> ForceLaw {
    let (sine, cosine) = interval.slope();
    let weight = conditions.mass_kg * conditions.gravity_m_s2;
    let constant_n = conditions.effective_mass_kg() * interval.acceleration_m_s2()
        + weight * (sine + conditions.rolling_resistance * cosine);
    ForceLaw { constant_n, drag_kg_m: conditions.drag_factor(), headwind_m_s: conditions.headwind_m_s }
}

/// All energies of one interval, traction and braking split where the wheel force changes its sign. [J]
///
/// kinetic ½ m_e (v1² - v0²);  grade m g Δh;  rolling m g C_rr d cos θ;
/// aero ½ ρ CdA ∫ u |u| v dt, u = v + w; in calm air ½ ρ CdA (dt/4)(v0³ + v0² v1 + v0 v1² + v1³)
/// F(v) = c0 + c2 u |u| changes its sign at v* = ±sqrt(|c0|/c2) - w, and its form at v = -w; between these cuts it is
/// a polynomial and each piece is integrated on its own.
/// Shape    one interval
/// Sign     tractive and braking 0 or more; kinetic and grade signed; aero negative where a tailwind pushes
/// Holds    speed linear, grade constant, wind steady; exact then
/// Source   integrals of the force balance; derived. Departures: of an oblique wind only the component along the way
/// Check    30 mph to rest at 1 m/s², 6 600 kg, λ 1.05 -> braking 554 134.8 J
/// ```
/// use backwatt_physics::kernels::road_load::{Conditions, Interval, integrate};
/// let truck = Conditions {
///     mass_kg: 6600.0, rotating_mass_kg: 330.0, rolling_resistance: 0.0077, drag_area_m2: 5.0,
///     air_density_kg_m3: 1.2, gravity_m_s2: 9.80665, headwind_m_s: 0.0,
/// };
/// let stop = Interval { duration_s: 13.4112, speed_start_m_s: 13.4112, speed_end_m_s: 0.0, rise_m: 0.0 };
/// assert!((integrate(&truck, &stop).braking_j - 554_134.8).abs() < 0.1);
/// ```
pub fn integrate(conditions: &Conditions, interval: &Interval) -> RoadEnergy {
    let (v0, v1) = (interval.speed_start_m_s, interval.speed_end_m_s);
    let (sine, cosine) = interval.slope();
    let weight = conditions.mass_kg * conditions.gravity_m_s2;
    let mut energy = RoadEnergy {
        kinetic_j: 0.5 * conditions.effective_mass_kg() * (v1 - v0) * (v1 + v0),
        grade_j: weight * sine * interval.distance_m(),
        rolling_j: weight * conditions.rolling_resistance * interval.distance_m() * cosine,
        ..RoadEnergy::default()
    };
    let law = force_law(conditions, interval);
    let mut from = 0.0;
    for to in smooth_ends(&law, interval) {
        let (start, end) = (interval.speed_at(from), interval.speed_at(to));
        let duration_s = (to - from) * interval.duration_s;
        let aero = drag_work(&law, start, end, duration_s);
        let work = law.constant_n * f64::midpoint(start, end) * duration_s + aero;
        energy.aero_j += aero;
        if work >= 0.0 {
            energy.tractive_j += work;
        } else {
            energy.braking_j -= work;
            // The force changes its sign once, so braking pieces lie side by side.
            energy.braking_part = Some((energy.braking_part.map_or(from, |part| part.0), to));
        }
        from = to;
    }
    energy
}

/// False where the wheel force is nowhere negative: as it never falls as v rises, its value at the slower end tells.
///
/// Shape    one interval
/// Missing  none. Errors: none
/// Holds    as [`integrate`]; Source, Check: the sign of [`force_law`]'s force, tests of the laws
pub fn may_brake(conditions: &Conditions, interval: &Interval) -> bool {
    force_law(conditions, interval).at(interval.speed_start_m_s.min(interval.speed_end_m_s)) < 0.0
        && interval.distance_m() > 0.0
}

/// Ends of the pieces in which the force is one polynomial of one sign, in shares of the interval.
fn smooth_ends(law: &ForceLaw, interval: &Interval) -> impl Iterator<Item = f64> {
    let (v0, v1) = (interval.speed_start_m_s, interval.speed_end_m_s);
    let share_of = |speed: f64| Some((speed - v0) / (v1 - v0)).filter(|share| *share > 0.0 && *share < 1.0);
    let free = law.free_speed_m_s().and_then(share_of);
    let still = if law.drag_kg_m > 0.0 { share_of(law.still_air_m_s()) } else { None };
    let (first, second) = match (free, still) {
        (Some(a), Some(b)) if a > b => (Some(b), Some(a)),
        cuts => cuts,
    };
    [first, second, Some(1.0)].into_iter().flatten()
}

/// ∫ c2 u |u| v dt, u = v + w, for linear v and u of one sign.
fn drag_work(law: &ForceLaw, from_m_s: f64, to_m_s: f64, duration_s: f64) -> f64 {
    let (a, b, wind) = (from_m_s, to_m_s, law.headwind_m_s);
    let calm = law.drag_kg_m * (a + b) * (a * a + b * b) * duration_s / 4.0;
    let moved = 2.0 * wind * (a * a + a * b + b * b) / 3.0 + wind * wind * f64::midpoint(a, b);
    let sign = if f64::midpoint(a, b) + wind < 0.0 { -1.0 } else { 1.0 };
    sign * (calm + law.drag_kg_m * moved * duration_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A hand-solvable case: 10 m/s steady for 1 s, C_dA 2, ρ 1, flat, no rolling resistance.
    fn aero(headwind_m_s: f64) -> RoadEnergy {
        let box_on_wheels = Conditions {
            mass_kg: 1000.0,
            rotating_mass_kg: 0.0,
            rolling_resistance: 0.0,
            drag_area_m2: 2.0,
            air_density_kg_m3: 1.0,
            gravity_m_s2: 9.8,
            headwind_m_s,
        };
        let second = Interval { duration_s: 1.0, speed_start_m_s: 10.0, speed_end_m_s: 10.0, rise_m: 0.0 };
        integrate(&box_on_wheels, &second)
    }

    #[test]
    fn wind_from_ahead_and_from_behind() {
        assert!((aero(0.0).aero_j - 1000.0).abs() < 1e-9);
        assert!((aero(10.0).aero_j - 4000.0).abs() < 1e-9, "twice the air speed, four times the force");
        assert!(aero(-10.0).aero_j.abs() < 1e-9);
        let pushed = aero(-20.0);
        assert!((pushed.aero_j + 1000.0).abs() < 1e-9, "a tailwind faster than the truck pushes");
        assert!((pushed.braking_j - 1000.0).abs() < 1e-9, "and steady speed then takes braking");
    }

    /// Against ten thousand mid-point steps, where the air reverses and the force changes its sign on the way.
    #[test]
    fn pieces_agree_with_a_dense_sum() {
        for (headwind_m_s, end) in [(-8.0, 0.5), (-3.0, 14.0), (6.0, 2.0), (-12.0, 20.0)] {
            let truck = Conditions {
                mass_kg: 6600.0,
                rotating_mass_kg: 330.0,
                rolling_resistance: 0.0077,
                drag_area_m2: 5.0,
                air_density_kg_m3: 1.2,
                gravity_m_s2: 9.80665,
                headwind_m_s,
            };
            let interval =
                Interval { duration_s: 90.0, speed_start_m_s: 10.0, speed_end_m_s: end, rise_m: -0.5 };
            let (exact, law) = (integrate(&truck, &interval), force_law(&truck, &interval));
            let steps = 10_000;
            let powers = (0..steps).map(|i| {
                let speed = interval.speed_at((f64::from(i) + 0.5) / f64::from(steps));
                law.at(speed) * speed * interval.duration_s / f64::from(steps)
            });
            let (mut out, mut back) = (0.0, 0.0);
            powers.for_each(|work| if work > 0.0 { out += work } else { back -= work });
            let size = out + back;
            assert!((exact.tractive_j - out).abs() < 1e-6 * size, "{headwind_m_s}: {} {out}", exact.tractive_j);
            assert!((exact.braking_j - back).abs() < 1e-6 * size, "{headwind_m_s}: {} {back}", exact.braking_j);
        }
    }
}
