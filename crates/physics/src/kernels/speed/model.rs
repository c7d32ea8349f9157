//! How noisy the speed of a log is, and how calm the driving, from the log itself.

use super::filter::Smoother;
use super::piece::Piece;

/// What the smoother assumes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Model {
    /// Standard deviation of one speed value.
    pub error_m_s: f64,
    /// Spectral density of the jerk while driving is calm. [m²/s⁵]
    pub jerk_density: f64,
}

impl Default for Model {
    /// A good wheel speed and town driving: where the iteration begins.
    fn default() -> Self {
        Self { error_m_s: 0.05, jerk_density: 0.05 }
    }
}

/// Knots looked at: enough to know both figures to a few percent.
const KNOTS_MOST: usize = 20_000;
const ROUNDS: usize = 15;
const ERROR_LEAST_M_S: f64 = 1e-3;
const ERROR_MOST_M_S: f64 = 1.0;
const DENSITY_LEAST: f64 = 1e-6;

/// Sensor error and jerk density under which the log is most likely.
///
/// Expectation-maximisation: error² is the mean of (z - v)² + var(v) over the values read; the density is the mean of
/// w δa²/dt over the steps, with w as in `smooth`. A stated error is kept and only the density found.
/// Shape    as `smooth`; pieces of any number of stretches
/// Missing  no piece: the default model, as for speeds beyond arithmetic
/// Holds    errors independent from value to value, steps of about a second or less: slower logs cannot tell noise
///          from manoeuvre, and the caller states the error instead
/// Source   Shumway and Stoffer (1982), J. Time Series Analysis 3(4), 253-264, doi:10.1111/j.1467-9892.1982.tb00349.x.
///          Departures: heavy tails; at most 20 000 knots, evenly taken
/// Check    udds with 0.1 m/s of white error: found within 15 % (tests)
pub fn estimate(
    pieces: &[Piece],
    time_s: &[f64],
    speed_m_s: &[f64],
    logged: &[bool],
    stated_error_m_s: Option<f64>,
    resolution_m_s: f64,
) -> Model {
    let least = (resolution_m_s / 12.0_f64.sqrt()).clamp(ERROR_LEAST_M_S, ERROR_MOST_M_S);
    let most = least.max(ceiling(pieces, speed_m_s, logged).unwrap_or(ERROR_MOST_M_S)).min(ERROR_MOST_M_S);
    let fixed = stated_error_m_s.map(|error| error.clamp(ERROR_LEAST_M_S, ERROR_MOST_M_S));
    let mut model = Model::default();
    model.error_m_s = fixed.unwrap_or(model.error_m_s.clamp(least, most));
    let total: usize = pieces.iter().map(|piece| piece.knots.len()).sum();
    let stride = total.div_ceil(KNOTS_MOST).max(1);
    let taken = pieces.iter().step_by(stride).filter(|piece| piece.knots.len() > 3).map(shortened);
    let mut looked: Vec<(Piece, Smoother)> = taken
        .map(|piece| {
            let mut smoother = Smoother::default();
            smoother.start(piece.knots.len());
            (piece, smoother)
        })
        .collect();
    if looked.is_empty() {
        return model;
    }
    for _ in 0..ROUNDS {
        let mut sums = Sums::default();
        for (piece, smoother) in &mut looked {
            let knots = piece.knots.clone();
            let (time, speed) = (&time_s[knots.clone()], &speed_m_s[knots.clone()]);
            smoother.pass(piece, time, speed, &logged[knots.clone()], &model);
            smoother.reweigh(time, &model);
            sums.add(piece, smoother, time, speed, &logged[knots]);
        }
        if !(sums.density.is_finite() && sums.error.is_finite()) {
            return Model::default();
        }
        model.jerk_density = (sums.density / sums.steps.max(1.0)).max(DENSITY_LEAST);
        if fixed.is_none() && sums.values > 0.0 {
            model.error_m_s = (sums.error / sums.values).sqrt().clamp(least, most);
        }
    }
    model
}

/// What independent errors cannot exceed: they alone give third differences a standard deviation of √20 errors, and
/// driving only adds to their median. A tenth is left for the sample's own scatter.
fn ceiling(pieces: &[Piece], speed_m_s: &[f64], logged: &[bool]) -> Option<f64> {
    const MEDIAN_OF_NORMAL: f64 = 0.674_489_75;
    let mut thirds: Vec<f64> = Vec::new();
    for piece in pieces {
        let read: Vec<f64> = piece.knots.clone().filter(|k| logged[*k]).map(|k| speed_m_s[k]).collect();
        thirds.extend(read.windows(4).map(|w| (w[3] - 3.0 * w[2] + 3.0 * w[1] - w[0]).abs()));
    }
    if thirds.is_empty() {
        return None;
    }
    let middle = thirds.len() / 2;
    let median = *thirds.select_nth_unstable_by(middle, f64::total_cmp).1;
    Some(1.1 * median / (MEDIAN_OF_NORMAL * 20.0_f64.sqrt()))
}

/// A drive of hours without a stop tells no more than its beginning.
fn shortened(piece: &Piece) -> Piece {
    let mut piece = piece.clone();
    if piece.knots.len() > KNOTS_MOST {
        piece.knots.end = piece.knots.start + KNOTS_MOST;
        piece.stands_at_end = false;
    }
    piece
}

#[derive(Default)]
struct Sums {
    density: f64,
    steps: f64,
    error: f64,
    values: f64,
}

impl Sums {
    fn add(&mut self, piece: &Piece, smoother: &Smoother, time: &[f64], speed: &[f64], logged: &[bool]) {
        for (k, step) in time.windows(2).enumerate() {
            self.density += smoother.weights[k] * smoother.change2[k] / (step[1] - step[0]);
            self.steps += 1.0;
        }
        let read = usize::from(piece.stands_at_start)..time.len() - usize::from(piece.stands_at_end);
        for k in read.filter(|k| logged[*k]) {
            let off = speed[k] - smoother.speed[k];
            self.error += off * off + smoother.variance[k];
            self.values += 1.0;
        }
    }
}

/// The step of a rounded speed signal: the smallest change from one value to the next, where the values are its
/// multiples. [m/s]
///
/// Shape    the values read; `None` where they never change or lie on no grid
/// Sign     above 0
/// Missing  none. Errors: none
/// Holds    differences under a micrometre per second are rounding of its unit; one value in a hundred may be off
/// Source   none needed. Check    below
/// ```
/// use backwatt_physics::kernels::speed::resolution;
/// assert_eq!(resolution(&[0.0, 0.5, 0.5, 1.5]), Some(0.5));
/// assert_eq!(resolution(&[0.0, 0.5, 0.8, 1.9]), None);
/// ```
pub fn resolution(speeds_m_s: &[f64]) -> Option<f64> {
    let changes = speeds_m_s.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|change| *change > 1e-6);
    let step = changes.min_by(f64::total_cmp)?;
    let off_grid = |speed: &&f64| {
        let steps = **speed / step;
        (steps - steps.round()).abs() > 0.02
    };
    (speeds_m_s.iter().filter(off_grid).count() * 100 <= speeds_m_s.len()).then_some(step)
}
