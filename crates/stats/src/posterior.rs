use nalgebra::{DMatrix, DVector};

/// A normal distribution over a few unknowns.
#[derive(Debug, Clone, PartialEq)]
pub struct Gaussian {
    pub mean: Vec<f64>,
    /// Row by row.
    pub covariance: Vec<Vec<f64>>,
}

impl Gaussian {
    /// Independent unknowns.
    pub fn independent(means: &[f64], standard_deviations: &[f64]) -> Self {
        let size = means.len();
        let entry = |i: usize, j: usize| if i == j { standard_deviations[i].powi(2) } else { 0.0 };
        let covariance = (0..size).map(|i| (0..size).map(|j| entry(i, j)).collect()).collect();
        Self { mean: means.to_vec(), covariance }
    }

    pub fn standard_deviation(&self, at: usize) -> f64 {
        self.covariance[at][at].max(0.0).sqrt()
    }

    /// Mean and standard deviation of a linear combination.
    pub fn combination(&self, weights: &[f64]) -> (f64, f64) {
        let mean = weights.iter().zip(&self.mean).map(|(w, m)| w * m).sum();
        let variance: f64 = weights
            .iter()
            .zip(&self.covariance)
            .map(|(w, row)| w * row.iter().zip(weights).map(|(c, v)| c * v).sum::<f64>())
            .sum();
        (mean, variance.max(0.0).sqrt())
    }
}

/// One linear observation: `value = weights · unknowns + noise`.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    pub weights: Vec<f64>,
    pub value: f64,
    pub noise_sd: f64,
}

/// Posterior of linear observations with normal noise under a normal prior.
///
/// Σ⁻¹ = Σ0⁻¹ + Σ w wᵀ/s²;  μ = Σ (Σ0⁻¹ μ0 + Σ w y/s²)
/// Shape    every observation as long as the prior
/// Missing  `None` when the prior is singular
/// Source   Gelman et al. (2013), Bayesian Data Analysis, 3rd ed., section 14.8. Departures: none
/// Check    prior N(0,1), one observation 1 with noise 1 -> mean ½, variance ½
/// ```
/// use backwatt_stats::{Gaussian, Observation, posterior};
/// let prior = Gaussian::independent(&[0.0], &[1.0]);
/// let seen = [Observation { weights: vec![1.0], value: 1.0, noise_sd: 1.0 }];
/// let after = posterior(&prior, &seen).unwrap();
/// assert!((after.mean[0] - 0.5).abs() < 1e-12 && (after.covariance[0][0] - 0.5).abs() < 1e-12);
/// ```
pub fn posterior(prior: &Gaussian, observations: &[Observation]) -> Option<Gaussian> {
    let size = prior.mean.len();
    let covariance = DMatrix::from_fn(size, size, |i, j| prior.covariance[i][j]);
    let mut precision = covariance.cholesky()?.inverse();
    let mut pull = &precision * DVector::from_column_slice(&prior.mean);
    for seen in observations {
        let weights = DVector::from_column_slice(&seen.weights);
        let trust = seen.noise_sd.powi(-2);
        precision += &weights * weights.transpose() * trust;
        pull += weights * (seen.value * trust);
    }
    let covariance = precision.cholesky()?.inverse();
    let mean = &covariance * pull;
    Some(Gaussian {
        mean: mean.iter().copied().collect(),
        covariance: (0..size).map(|i| (0..size).map(|j| covariance[(i, j)]).collect()).collect(),
    })
}
