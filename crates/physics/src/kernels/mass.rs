//! Mass from the force that moved it.

/// One stretch of driving: mean of the force that is left for the mass, and what a kilogram asked for. [N], [m/s²]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Drive force less air drag less inertia of the rotating parts.
    pub force_n: f64,
    /// a + g sin θ + g C_rr cos θ
    pub specific_m_s2: f64,
    /// Stretches of one number, side by side, lie at one place.
    pub place: usize,
}

/// A mass with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    pub mass_kg: f64,
    pub error_kg: f64,
    /// The mass if all scatter were scatter of speed and height, not of force: never below `mass_kg`.
    pub inverse_kg: f64,
}

/// Stretches needed beyond one for each place, and the least standard deviation of their specific force within
/// places. [m/s²] Common practice, no source.
const LEAST_STRETCHES: usize = 12;
const LEAST_EXCITATION_M_S2: f64 = 0.15;
/// Residuals beyond this many scales weigh less. Huber (1981), Robust Statistics, section 7: 95 % efficient.
const HUBER: f64 = 1.345;
/// Median absolute deviation to standard deviation of a normal, as 40 CFR 1037.528(g)(1).
const MAD_TO_SIGMA: f64 = 1.4826;

/// Mass as the slope of force over specific force, each place with a force of its own. [kg]
///
/// F_i = m x_i + c_p(i) + e_i, by least squares reweighted with Huber's weights
///   F    force_n        [N]
///   x    specific_m_s2  [m/s²]
///   c_p  one for each place: takes a grade that is not known, and what is wrong with rolling resistance, so that m
///        need not. Acceleration changes within seconds, a grade over a hundred metres.
/// The standard error allows for errors that hang together over the stretches (Newey and West); the inverse slope
/// ΣF²/ΣxF bounds m from above where x itself is noisy.
/// Shape    stretches in the order of time
/// Missing  `None`: fewer than 12 stretches beyond one a place, or their specific force varies by less than 0.15 m/s²
/// Holds    force and speed measured apart from each other
/// Source   force balance, with grade and mass told apart by their rates of change: Vahidi, Stefanopoulou and Peng
///          (2005), Vehicle System Dynamics 43(1), 31; weights: Huber (1981), section 7.8; error: Newey and West
///          (1987), Econometrica 55(3), 703, with the lag 4 (n/100)^(2/9); bound: Frisch (1934), Statistical
///          Confluence Analysis, from memory. Departures: stretches at once in place of recursion
/// Check    F = 7 000 x, and 150 N or 900 N by place, without noise -> 7 000 kg
/// ```
/// use backwatt_physics::kernels::mass::{Stretch, fit};
/// let made: Vec<Stretch> = (0..40).map(|i| (i / 5, f64::from(i as u32 % 7) * 0.2 - 0.3)).map(|(place, x)| {
///     Stretch { force_n: 7000.0 * x + if place % 2 == 0 { 150.0 } else { 900.0 }, specific_m_s2: x, place }
/// }).collect();
/// let found = fit(&made).unwrap();
/// assert!((found.mass_kg - 7000.0).abs() < 1e-6 && (found.inverse_kg - 7000.0).abs() < 1e-6);
/// assert_eq!(fit(&made[..5]), None);
/// ```
pub fn fit(stretches: &[Stretch]) -> Option<Fit> {
    let places = stretches.chunk_by(same_place).count();
    let free = stretches.len().saturating_sub(places + 1);
    let mut weights = vec![1.0; stretches.len()];
    let mut points = within_places(stretches, &weights);
    let spread = points.iter().map(|(x, _)| x * x).sum::<f64>() / free.max(1) as f64;
    if free < LEAST_STRETCHES || spread.is_nan() || spread.sqrt() < LEAST_EXCITATION_M_S2 {
        return None;
    }
    let mut mass = slope(&points, &weights);
    for _ in 0..30 {
        let sizes: Vec<f64> = points.iter().map(|(x, y)| (y - mass * x).abs()).collect();
        let scale = MAD_TO_SIGMA * median(sizes.clone());
        if scale <= 0.0 {
            break;
        }
        for (weight, size) in weights.iter_mut().zip(&sizes) {
            *weight = (HUBER * scale / size).min(1.0);
        }
        points = within_places(stretches, &weights);
        let before = std::mem::replace(&mut mass, slope(&points, &weights));
        if (mass - before).abs() <= 1e-9 * mass.abs() {
            break;
        }
    }
    let error_kg = error(&points, &weights, mass, free);
    let turned: Vec<(f64, f64)> = points.iter().map(|(x, y)| (*y, *x)).collect();
    let inverse_kg = 1.0 / slope(&turned, &weights);
    let sound = mass > 0.0 && [mass, error_kg, inverse_kg].iter().all(|figure| figure.is_finite());
    sound.then_some(Fit { mass_kg: mass, error_kg, inverse_kg })
}

fn same_place(a: &Stretch, b: &Stretch) -> bool {
    a.place == b.place
}

/// Specific force and force of each stretch, less the weighted means of its place.
fn within_places(stretches: &[Stretch], weights: &[f64]) -> Vec<(f64, f64)> {
    let mut points = Vec::with_capacity(stretches.len());
    for here in stretches.chunk_by(same_place) {
        let weights = &weights[points.len()..points.len() + here.len()];
        let all: f64 = weights.iter().sum();
        let mean = |pick: fn(&Stretch) -> f64| -> f64 {
            here.iter().zip(weights).map(|(stretch, weight)| weight * pick(stretch)).sum::<f64>() / all
        };
        let (specific, force) = (mean(|s| s.specific_m_s2), mean(|s| s.force_n));
        points.extend(here.iter().map(|s| (s.specific_m_s2 - specific, s.force_n - force)));
    }
    points
}

fn slope(points: &[(f64, f64)], weights: &[f64]) -> f64 {
    let sum = |pick: fn(&(f64, f64)) -> f64| -> f64 {
        points.iter().zip(weights).map(|(point, weight)| weight * pick(point)).sum()
    };
    sum(|(x, y)| x * y) / sum(|(x, _)| x * x)
}

fn error(points: &[(f64, f64)], weights: &[f64], mass: f64, free: usize) -> f64 {
    let weighted = || points.iter().zip(weights);
    let scores: Vec<f64> = weighted().map(|((x, y), weight)| weight * x * (y - mass * x)).collect();
    let square: f64 = weighted().map(|((x, _), weight)| weight * x * x).sum();
    let lags = (4.0 * (scores.len() as f64 / 100.0).powf(2.0 / 9.0)) as usize;
    let product = |lag: usize| -> f64 { scores.iter().zip(&scores[lag..]).map(|(a, b)| a * b).sum() };
    let fades = |lag: usize| 2.0 * (1.0 - lag as f64 / (lags as f64 + 1.0));
    let long_run: f64 = (1..=lags.min(scores.len() - 1)).map(|lag| fades(lag) * product(lag)).sum();
    let fitted = scores.len() as f64 / free as f64;
    (fitted * (product(0) + long_run).max(0.0)).sqrt() / square
}

fn median(mut values: Vec<f64>) -> f64 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 96 stretches at 12 places, each place with a grade nobody knows.
    fn made(noise: impl Fn(usize) -> f64) -> Vec<Stretch> {
        let one = |i: usize| {
            let (place, specific) = (i / 8, 0.4 + 0.6 * (i as f64 * 2.1).sin());
            let grade_n = 6600.0 * 9.8 * 0.05 * (place as f64 * 1.3).sin();
            Stretch { force_n: 6600.0 * specific + grade_n + noise(i), specific_m_s2: specific, place }
        };
        (0..96).map(one).collect()
    }

    #[test]
    fn unknown_grades_move_nothing() {
        assert!((fit(&made(|_| 0.0)).unwrap().mass_kg - 6600.0).abs() < 1e-6);
    }

    #[test]
    fn a_tenth_of_nonsense_moves_little() {
        let shaken = |i: usize| 100.0 * (i as f64 * 7.7).sin();
        let clean = fit(&made(shaken)).unwrap();
        let robust = fit(&made(|i| if i % 10 == 0 { 30e3 } else { shaken(i) })).unwrap();
        assert!((clean.mass_kg - 6600.0).abs() < 3.0 * clean.error_kg, "{clean:?}");
        assert!((robust.mass_kg - 6600.0).abs() < 0.02 * 6600.0, "{robust:?}");
    }

    #[test]
    fn errors_that_hang_together_count_for_more() {
        let lumped = |noise: fn(usize) -> f64| {
            let one = |i: usize| {
                let specific = if (i / 4).is_multiple_of(2) { 0.8 } else { -0.4 };
                Stretch { force_n: 6600.0 * specific + noise(i), specific_m_s2: specific, place: i / 32 }
            };
            fit(&(0..96).map(one).collect::<Vec<_>>()).unwrap().error_kg
        };
        let together = lumped(|i| if (i / 4 * 7) % 5 < 2 { 300.0 } else { -300.0 });
        let apart = lumped(|i| if (i * 7) % 5 < 2 { 300.0 } else { -300.0 });
        assert!(together > 1.3 * apart, "{together} {apart}");
    }

    #[test]
    fn noise_of_speed_is_bounded_from_above() {
        let mut noisy = made(|_| 0.0);
        for (i, stretch) in noisy.iter_mut().enumerate() {
            stretch.specific_m_s2 += 0.25 * (i as f64 * 5.3).sin();
        }
        let found = fit(&noisy).unwrap();
        let reach = 3.0 * found.error_kg;
        assert!(found.mass_kg + reach < 6600.0, "drawn towards 0: {found:?}");
        assert!(found.inverse_kg + reach > 6600.0, "{found:?}");
    }

    #[test]
    fn steady_driving_tells_nothing() {
        let steady = |i: usize| Stretch { force_n: 900.0, specific_m_s2: 0.08, place: i / 4 };
        assert_eq!(fit(&(0..80).map(steady).collect::<Vec<_>>()), None);
    }
}
