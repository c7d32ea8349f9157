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
///   v    speed_m_s   [m/s]  0 or more, calm air
/// Source   force balance along the road, e.g. 40 CFR 1036.545(f)(4). Departures: none
/// Check    6 600 kg, C_rr 0.0077, CdA 5.0, ρ 1.2, 25 mph, flat -> 873.08 N
/// ```
/// use backwatt_physics::kernels::road_load::{Conditions, steady_force};
/// let truck = Conditions {
///     mass_kg: 6600.0, rotating_mass_kg: 330.0, rolling_resistance: 0.0077, drag_area_m2: 5.0,
///     air_density_kg_m3: 1.2, gravity_m_s2: 9.80665,
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

    pub fn speed_at(&self, share: f64) -> f64 {
        self.speed_start_m_s + (self.speed_end_m_s - self.speed_start_m_s) * share
    }
}

/// The wheel force of an interval as `constant + drag v²`. [N, kg/m]
pub fn force_law(conditions: &Conditions, interval: &Interval) -> (f64, f64) {
    let (sine, cosine) = interval.slope();
    let weight = conditions.mass_kg * conditions.gravity_m_s2;
    let constant = conditions.effective_mass_kg() * interval.acceleration_m_s2()
        + weight * (sine + conditions.rolling_resistance * cosine);
    (constant, conditions.drag_factor())
}

/// All energies of one interval, traction and braking split where the wheel force changes its sign. [J]
///
/// kinetic ½ m_e (v1² - v0²);  grade m g Δh;  rolling m g C_rr d cos θ;
/// aero ½ ρ CdA (dt/4)(v0³ + v0² v1 + v0 v1² + v1³)
/// F(v) = c0 + c2 v² changes sign at v* = sqrt(-c0/c2) when c0 < 0; each side is integrated on its own.
/// Shape    one interval
/// Sign     tractive and braking 0 or more; kinetic and grade signed
/// Holds    speed linear, grade constant, calm air; exact then
/// Source   integrals of the force balance; derived. Departures: none
/// Check    30 mph to rest at 1 m/s², 6 600 kg, λ 1.05 -> braking 554 134.8 J
/// ```
/// use backwatt_physics::kernels::road_load::{Conditions, Interval, integrate};
/// let truck = Conditions {
///     mass_kg: 6600.0, rotating_mass_kg: 330.0, rolling_resistance: 0.0077, drag_area_m2: 5.0,
///     air_density_kg_m3: 1.2, gravity_m_s2: 9.80665,
/// };
/// let stop = Interval { duration_s: 13.4112, speed_start_m_s: 13.4112, speed_end_m_s: 0.0, rise_m: 0.0 };
/// assert!((integrate(&truck, &stop).braking_j - 554_134.8).abs() < 0.1);
/// ```
pub fn integrate(conditions: &Conditions, interval: &Interval) -> RoadEnergy {
    let (v0, v1, dt) = (interval.speed_start_m_s, interval.speed_end_m_s, interval.duration_s);
    let (sine, cosine) = interval.slope();
    let weight = conditions.mass_kg * conditions.gravity_m_s2;
    let mut energy = RoadEnergy {
        kinetic_j: 0.5 * conditions.effective_mass_kg() * (v1 - v0) * (v1 + v0),
        grade_j: weight * sine * interval.distance_m(),
        rolling_j: weight * conditions.rolling_resistance * interval.distance_m() * cosine,
        aero_j: conditions.drag_factor() * cubes(v0, v1) * dt / 4.0,
        ..RoadEnergy::default()
    };
    let law = force_law(conditions, interval);
    for (from, to) in same_sign_parts(law, interval) {
        let work = work(law, interval.speed_at(from), interval.speed_at(to), (to - from) * dt);
        if work >= 0.0 {
            energy.tractive_j += work;
        } else {
            energy.braking_j -= work;
            energy.braking_part = Some((from, to));
        }
    }
    energy
}

/// The interval in parts of one sign of the wheel force, in shares of its duration.
fn same_sign_parts(law: (f64, f64), interval: &Interval) -> impl Iterator<Item = (f64, f64)> {
    let (constant, drag) = law;
    let (v0, v1) = (interval.speed_start_m_s, interval.speed_end_m_s);
    let crossing = if constant < 0.0 && drag > 0.0 && v0 != v1 {
        let share = ((-constant / drag).sqrt() - v0) / (v1 - v0);
        (share > 0.0 && share < 1.0).then_some(share)
    } else {
        None
    };
    let second = crossing.map(|share| (share, 1.0));
    std::iter::once((0.0, crossing.unwrap_or(1.0))).chain(second)
}

/// ∫ (c0 + c2 v²) v dt for linear v.
fn work(law: (f64, f64), from_m_s: f64, to_m_s: f64, duration_s: f64) -> f64 {
    law.0 * f64::midpoint(from_m_s, to_m_s) * duration_s + law.1 * cubes(from_m_s, to_m_s) * duration_s / 4.0
}

/// v0³ + v0² v1 + v0 v1² + v1³ = (v0 + v1)(v0² + v1²)
fn cubes(v0: f64, v1: f64) -> f64 {
    (v0 + v1) * (v0 * v0 + v1 * v1)
}
