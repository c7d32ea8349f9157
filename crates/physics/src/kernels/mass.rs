//! Mass from the force that moved it.

/// One stretch of driving: mean of the force that is left for the mass, and what a kilogram asked for. [N], [m/s²]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Drive force less air drag less inertia of the rotating parts.
    pub force_n: f64,
    /// a + g sin θ + g C_rr cos θ
    pub specific_m_s2: f64,
}

/// A mass with its standard error, and how well its stretches differ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    pub mass_kg: f64,
    pub error_kg: f64,
    /// Force left at no specific force: what rolling resistance and losses are away from the sheet. [N]
    pub offset_n: f64,
}

/// Stretches needed, and the least standard deviation of their specific force. [m/s²] Common practice, no source.
const LEAST_STRETCHES: usize = 12;
const LEAST_EXCITATION_M_S2: f64 = 0.2;
/// Residuals beyond this many scales weigh less. Huber (1981), Robust Statistics, section 7: 95 % efficient.
const HUBER: f64 = 1.345;
/// Median absolute deviation to standard deviation of a normal, as 40 CFR 1037.528(g)(1).
const MAD_TO_SIGMA: f64 = 1.4826;

/// Mass as the slope of force over specific force. [kg]
///
/// F_i = m x_i + c + e_i, by least squares reweighted with Huber's weights
///   F    force_n        [N]
///   x    specific_m_s2  [m/s²]
///   c    offset_n       [N]  takes what is wrong with rolling resistance and constant losses, so that m need not
/// The standard error allows for errors that hang together over the stretches (Newey and West).
/// Shape    stretches in the order of time
/// Missing  `None`: fewer than 12 stretches, or their specific force varies by less than 0.2 m/s²
/// Holds    force and speed measured apart from each other; noise of speed small against its change over a stretch,
///          else the slope is drawn towards 0
/// Source   force balance as in Vahidi, Stefanopoulou and Peng (2005), Vehicle System Dynamics 43(1), 31, eq. 1;
///          weights: Huber (1981), section 7.8; error: Newey and West (1987), Econometrica 55(3), 703, with the lag
///          4 (n/100)^(2/9). Departures: stretches at once in place of recursion
/// Check    F = 7 000 x + 150, without noise -> 7 000 kg
/// ```
/// use backwatt_physics::kernels::mass::{Stretch, fit};
/// let made: Vec<Stretch> = (0..30).map(|i| f64::from(i % 7) * 0.2 - 0.3)
///     .map(|x| Stretch { force_n: 7000.0 * x + 150.0, specific_m_s2: x }).collect();
/// let found = fit(&made).unwrap();
/// assert!((found.mass_kg - 7000.0).abs() < 1e-6 && (found.offset_n - 150.0).abs() < 1e-6);
/// assert_eq!(fit(&made[..5]), None);
/// ```
pub fn fit(stretches: &[Stretch]) -> Option<Fit> {
    let count = stretches.len() as f64;
    let mean = stretches.iter().map(|s| s.specific_m_s2).sum::<f64>() / count;
    let spread = stretches.iter().map(|s| (s.specific_m_s2 - mean).powi(2)).sum::<f64>() / count;
    if stretches.len() < LEAST_STRETCHES || spread.is_nan() || spread.sqrt() < LEAST_EXCITATION_M_S2 {
        return None;
    }
    let mut weights = vec![1.0; stretches.len()];
    let mut line = Line::through(stretches, &weights)?;
    for _ in 0..30 {
        let residuals: Vec<f64> = stretches.iter().map(|s| line.residual(s)).collect();
        let scale = MAD_TO_SIGMA * median(residuals.iter().map(|r| r.abs()).collect());
        if scale <= 0.0 {
            break;
        }
        for (weight, residual) in weights.iter_mut().zip(&residuals) {
            *weight = (HUBER * scale / residual.abs()).min(1.0);
        }
        let next = Line::through(stretches, &weights)?;
        let moved = (next.slope - line.slope).abs();
        line = next;
        if moved <= 1e-9 * line.slope.abs() {
            break;
        }
    }
    let error_kg = line.error(stretches, &weights);
    let sound = line.slope > 0.0 && line.slope.is_finite() && error_kg.is_finite();
    sound.then_some(Fit { mass_kg: line.slope, error_kg, offset_n: line.offset })
}

struct Line {
    slope: f64,
    offset: f64,
    centre: f64,
    /// Weighted sum of squares of x about its centre.
    square: f64,
}

impl Line {
    fn through(stretches: &[Stretch], weights: &[f64]) -> Option<Self> {
        let sum = |pick: &dyn Fn(&Stretch) -> f64| -> f64 {
            stretches.iter().zip(weights).map(|(stretch, weight)| weight * pick(stretch)).sum()
        };
        let all = sum(&|_| 1.0);
        let (centre, middle) = (sum(&|s| s.specific_m_s2) / all, sum(&|s| s.force_n) / all);
        let square = sum(&|s| (s.specific_m_s2 - centre).powi(2));
        let slope = sum(&|s| (s.specific_m_s2 - centre) * (s.force_n - middle)) / square;
        (square > 0.0).then_some(Self { slope, offset: middle - slope * centre, centre, square })
    }

    fn residual(&self, stretch: &Stretch) -> f64 {
        stretch.force_n - self.slope * stretch.specific_m_s2 - self.offset
    }

    fn error(&self, stretches: &[Stretch], weights: &[f64]) -> f64 {
        let scores: Vec<f64> = stretches
            .iter()
            .zip(weights)
            .map(|(s, weight)| weight * (s.specific_m_s2 - self.centre) * self.residual(s))
            .collect();
        let lags = (4.0 * (scores.len() as f64 / 100.0).powf(2.0 / 9.0)) as usize;
        let product = |lag: usize| -> f64 { scores.iter().zip(&scores[lag..]).map(|(a, b)| a * b).sum() };
        let long_run: f64 = (1..=lags.min(scores.len() - 1))
            .map(|lag| 2.0 * (1.0 - lag as f64 / (lags as f64 + 1.0)) * product(lag))
            .sum();
        // Two figures were fitted.
        let left = scores.len() as f64 / (scores.len() as f64 - 2.0);
        (left * (product(0) + long_run).max(0.0)).sqrt() / self.square
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(force: impl Fn(usize, f64) -> f64) -> Vec<Stretch> {
        let specific = |i: usize| 0.4 + 0.6 * (i as f64 * 2.1).sin();
        (0..80).map(|i| Stretch { force_n: force(i, specific(i)), specific_m_s2: specific(i) }).collect()
    }

    #[test]
    fn a_tenth_of_nonsense_moves_little() {
        let clean = fit(&made(|i, x| 6600.0 * x + 100.0 * (i as f64 * 7.7).sin())).unwrap();
        let spoilt = made(|i, x| 6600.0 * x + if i % 10 == 0 { 30e3 } else { 100.0 * (i as f64 * 7.7).sin() });
        let robust = fit(&spoilt).unwrap();
        assert!((clean.mass_kg - 6600.0).abs() < 3.0 * clean.error_kg.max(10.0), "{clean:?}");
        assert!((robust.mass_kg - 6600.0).abs() < 0.02 * 6600.0, "{robust:?}");
    }

    #[test]
    fn errors_that_hang_together_count_for_more() {
        let apart = fit(&made(|i, x| 6600.0 * x + if i % 2 == 0 { 300.0 } else { -300.0 })).unwrap();
        let slow = |i: usize| if (i / 8).is_multiple_of(2) { 300.0 } else { -300.0 };
        let lumped: Vec<Stretch> = (0..80)
            .map(|i| (i, 0.4 + 0.6 * ((i / 4) as f64 * 2.1).sin()))
            .map(|(i, x)| Stretch { force_n: 6600.0 * x + slow(i), specific_m_s2: x })
            .collect();
        assert!(fit(&lumped).unwrap().error_kg > 1.3 * apart.error_kg);
    }

    #[test]
    fn steady_driving_tells_nothing() {
        let steady: Vec<Stretch> = (0..80).map(|_| Stretch { force_n: 900.0, specific_m_s2: 0.08 }).collect();
        assert_eq!(fit(&steady), None);
    }
}
