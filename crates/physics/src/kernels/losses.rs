//! Loss laws: from the wheels to the dc link and back.

use super::loss_map::LossMap;
use super::quadrature;
use super::road_load::{Conditions, Interval, RoadEnergy, force_law};

/// What is lost between wheel and dc link, either way.
#[derive(Debug, Clone, PartialEq)]
pub enum Losses {
    /// Gears, motor and inverter as one factor each way.
    Constant {
        efficiency: f64,
    },
    Coefficients(Coefficients),
    Map {
        gear_efficiency: f64,
        map: LossMap,
    },
}

/// Loss of motor and inverter as a sum of powers of road speed and of the square of the force the motor gives,
/// brought to the wheels; the gears beside it as a factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficients {
    pub gear_efficiency: f64,
    pub idle_w: f64,
    /// W per m/s.
    pub per_speed_n: f64,
    /// W per (m/s)².
    pub per_speed_squared_kg_s: f64,
    /// W per N².
    pub load_squared_w_per_n2: f64,
}

impl Losses {
    /// Power a driving wheel force draws from the dc link. [W]
    ///
    /// constant: P = F v / η.  else: P = F v / η_g + L(F/η_g, v), L = a + b v + c v² + d F² or from the map
    ///   F  force_n    [N]    0 or more, at the wheels
    ///   v  speed_m_s  [m/s]  0 or more
    /// Sign     0 or more; at standstill nothing is drawn, whatever idles there is an auxiliary
    /// Source   dc electrical power of a machine as shaft power plus constant, speed-dependent and load-squared loss
    ///          (friction, iron, copper): common practice, no source; gears: 40 CFR 1036.545(f)(3), one factor each way
    /// Check    2 kN at 10 m/s: factor 0.8 -> 25 kW; gears 0.8 and 300 W + 20 N v + 1e-5 W/N² -> 25.5625 kW
    /// ```
    /// use backwatt_physics::kernels::losses::{Coefficients, Losses};
    /// assert_eq!(Losses::Constant { efficiency: 0.8 }.drawn(2e3, 10.0), 25e3);
    /// let law = Losses::Coefficients(Coefficients {
    ///     gear_efficiency: 0.8, idle_w: 300.0, per_speed_n: 20.0, per_speed_squared_kg_s: 0.0,
    ///     load_squared_w_per_n2: 1e-5,
    /// });
    /// assert!((law.drawn(2e3, 10.0) - 25_562.5).abs() < 1e-9);
    /// // Braking the same 20 kW: 16 kW past the gears, less 300 W, 200 W and 25.6 W.
    /// assert!((law.returned(2e3, 10.0) - 15_474.4).abs() < 1e-9);
    /// ```
    pub fn drawn(&self, force_n: f64, speed_m_s: f64) -> f64 {
        if speed_m_s <= 0.0 {
            return 0.0;
        }
        match self {
            Losses::Constant { efficiency } => force_n * speed_m_s / efficiency,
            Losses::Coefficients(law) => {
                let motor = force_n / law.gear_efficiency;
                motor * speed_m_s + law.loss(motor, speed_m_s)
            }
            Losses::Map { gear_efficiency, map } => {
                let motor = force_n / gear_efficiency;
                motor * speed_m_s + map.loss(motor, speed_m_s)
            }
        }
    }

    /// Power a braking wheel force returns to the dc link. [W]
    ///
    /// constant: P = η F v.  else: P = [η_g F v - L(η_g F, v)]+, see [`Losses::drawn`]
    ///   F  force_n  [N]  0 or more: the size of the braking force the motor takes
    /// Shape    one moment
    /// Sign     0 or more: where the loss exceeds what comes in, the motor is left to idle and nothing is drawn for it
    /// Missing  none. Errors: none
    /// Holds, Source, Check   as [`Losses::drawn`]
    #[inline]
    pub fn returned(&self, force_n: f64, speed_m_s: f64) -> f64 {
        self.balance(force_n, speed_m_s).max(0.0)
    }

    /// Largest braking force up to `most_n` whose return is within `most_w`, and what it returns. [N, W]
    ///
    /// Where a law returns less again beyond some force, a return above `most_w` is met on the way up.
    /// Shape    one moment
    /// Sign     0 or more
    /// Missing  none. Errors: none
    /// Holds, Source   as [`Losses::drawn`], inverted in closed form or by bisection
    /// Check    what is returned by the force accepted is the power asked for (tests of the cascade)
    #[inline]
    pub fn accepted(&self, most_n: f64, speed_m_s: f64, most_w: f64) -> (f64, f64) {
        let returned = self.returned(most_n, speed_m_s);
        if returned <= most_w {
            return (most_n, returned);
        }
        let force = match self {
            Losses::Constant { efficiency } => most_w / (efficiency * speed_m_s),
            Losses::Coefficients(law) => law.force_returning(most_w, speed_m_s),
            Losses::Map { gear_efficiency, map } => {
                let mut below = (0.0, self.balance(0.0, speed_m_s));
                let forces = map.braking_forces().map(|motor| motor / gear_efficiency);
                for force in forces.filter(|force| *force > 0.0 && *force < most_n).chain([most_n]) {
                    let above = (force, self.balance(force, speed_m_s));
                    if above.1 > most_w {
                        let share = (most_w - below.1) / (above.1 - below.1);
                        return (below.0 + (above.0 - below.0) * share, most_w);
                    }
                    below = above;
                }
                most_n
            }
        };
        (force.min(most_n), most_w)
    }

    /// Braking force between two that returns most.
    #[inline]
    pub(crate) fn best_force(&self, least_n: f64, most_n: f64, speed_m_s: f64) -> f64 {
        match self {
            Losses::Constant { .. } => most_n,
            // The return is a parabola in the force: η_g F v - d η_g² F² is highest at v / (2 d η_g).
            Losses::Coefficients(law) => {
                let peak = speed_m_s / (2.0 * law.load_squared_w_per_n2 * law.gear_efficiency);
                if peak.is_nan() { most_n } else { peak.max(least_n).min(most_n) }
            }
            Losses::Map { gear_efficiency, map } => {
                let forces = map.braking_forces().map(|motor| motor / gear_efficiency);
                let within = forces.filter(|force| *force > least_n && *force < most_n);
                let balance = |force: f64| self.balance(force, speed_m_s);
                let better = |best: f64, force: f64| if balance(force) > balance(best) { force } else { best };
                within.fold(if balance(least_n) > balance(most_n) { least_n } else { most_n }, better)
            }
        }
    }

    /// Number of the smooth piece of the law a braking force lies in.
    #[inline]
    pub(crate) fn braking_piece(&self, force_n: f64, speed_m_s: f64) -> usize {
        match self {
            Losses::Map { gear_efficiency, map } => map.cell(-force_n * gear_efficiency, speed_m_s),
            _ => 0,
        }
    }

    /// Whether a braking force lies beyond the map.
    pub(crate) fn braking_beyond_map(&self, force_n: f64, speed_m_s: f64) -> bool {
        matches!(self, Losses::Map { gear_efficiency, map } if map.beyond(-force_n * gear_efficiency, speed_m_s))
    }

    /// Speed below which more of a braking force up to `most_n` may return less. [m/s]
    pub(crate) fn falls_below_m_s(&self, most_n: f64) -> f64 {
        match self {
            Losses::Constant { .. } => 0.0,
            // The peak of `best_force` at `most_n`.
            Losses::Coefficients(law) => 2.0 * law.load_squared_w_per_n2 * law.gear_efficiency * most_n,
            Losses::Map { .. } => f64::INFINITY,
        }
    }

    /// Whether forces that fall with speed leave polynomials.
    #[inline]
    pub(crate) fn is_constant(&self) -> bool {
        matches!(self, Losses::Constant { .. })
    }

    #[inline]
    fn balance(&self, force_n: f64, speed_m_s: f64) -> f64 {
        match self {
            Losses::Constant { efficiency } => efficiency * force_n * speed_m_s,
            Losses::Coefficients(law) => {
                let motor = force_n * law.gear_efficiency;
                motor * speed_m_s - law.loss(motor, speed_m_s)
            }
            Losses::Map { gear_efficiency, map } => {
                let motor = force_n * gear_efficiency;
                motor * speed_m_s - map.loss(-motor, speed_m_s)
            }
        }
    }
}

impl Coefficients {
    #[inline]
    fn loss(&self, motor_n: f64, speed_m_s: f64) -> f64 {
        self.unloaded(speed_m_s) + self.load_squared_w_per_n2 * motor_n * motor_n
    }

    #[inline]
    fn unloaded(&self, speed_m_s: f64) -> f64 {
        self.idle_w + (self.per_speed_n + self.per_speed_squared_kg_s * speed_m_s) * speed_m_s
    }

    /// The smaller root of η_g F v - d η_g² F² = P + L_0, in the form that stays exact as d goes to 0.
    fn force_returning(&self, power_w: f64, speed_m_s: f64) -> f64 {
        let asked = power_w + self.unloaded(speed_m_s);
        let under = (speed_m_s * speed_m_s - 4.0 * self.load_squared_w_per_n2 * asked).max(0.0);
        2.0 * asked / (self.gear_efficiency * (speed_m_s + under.sqrt()))
    }
}

/// What driving drew from the dc link in one interval.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Drawn {
    pub energy_j: f64,
    /// Time the loss map's edge stood in for what lies beyond.
    pub beyond_map_s: f64,
}

/// Energy drawn at the dc link over the driving parts of an interval. [J]
///
/// E = ∫ P(F(v), v) dt where the wheel force F is positive, P as in [`Losses::drawn`]
/// Shape    one interval and its energies at the wheels
/// Sign     0 or more
/// Holds    speed linear, grade constant; exact for every law then, a map being cut at its grid lines
/// Source   derived. Check: the closed form of steady driving below
/// ```
/// use backwatt_physics::kernels::losses::{Losses, drawn};
/// use backwatt_physics::kernels::road_load::{Conditions, Interval, integrate};
/// let truck = Conditions {
///     mass_kg: 6600.0, rotating_mass_kg: 330.0, rolling_resistance: 0.0077, drag_area_m2: 5.0,
///     air_density_kg_m3: 1.2, gravity_m_s2: 9.80665, headwind_m_s: 0.0,
/// };
/// let steady = Interval { duration_s: 10.0, speed_start_m_s: 11.176, speed_end_m_s: 11.176, rise_m: 0.0 };
/// let energy = integrate(&truck, &steady);
/// let law = Losses::Constant { efficiency: 0.8 };
/// assert!((drawn(&law, &truck, &steady, &energy).energy_j - 9757.6 / 0.8 * 10.0).abs() < 2.0);
/// ```
pub fn drawn(losses: &Losses, conditions: &Conditions, interval: &Interval, energy: &RoadEnergy) -> Drawn {
    if let Losses::Constant { efficiency } = losses {
        return Drawn { energy_j: energy.tractive_j / efficiency, beyond_map_s: 0.0 };
    }
    let mut sum = Drawn::default();
    if energy.tractive_j <= 0.0 {
        return sum;
    }
    let law = force_law(conditions, interval);
    let force = |speed: f64| law.at(speed).max(0.0);
    let piece = |speed: f64| {
        let cell = match losses {
            Losses::Map { gear_efficiency, map } => map.cell(force(speed) / gear_efficiency, speed),
            _ => 0,
        };
        (cell, speed < law.still_air_m_s())
    };
    let beyond = |speed: f64| matches!(losses, Losses::Map { gear_efficiency, map } if map.beyond(force(speed) / gear_efficiency, speed));
    let has_cells = matches!(losses, Losses::Map { .. });
    let dense_below_m_s = if has_cells { f64::INFINITY } else { 0.0 };
    let (from, to) = energy.braking_part.unwrap_or((1.0, 1.0));
    for part in [(0.0, from), (to, 1.0)] {
        if part.1 > part.0 {
            quadrature::sum(
                interval,
                part,
                dense_below_m_s,
                piece,
                |_| false,
                |speed, seconds| {
                    sum.energy_j += losses.drawn(force(speed), speed) * seconds;
                    if beyond(speed) {
                        sum.beyond_map_s += seconds;
                    }
                },
            );
        }
    }
    sum
}
