use nalgebra::DVector;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal, StudentT};

use super::design::Places;
use super::reml::{At, Fit, spread};

/// Sets of variances tried: more where a set is cheap.
const TRIED: usize = 1500;
const TRIED_LEAST: usize = 300;
/// Unknowns above which sets of variances are dear.
const CHEAP: usize = 150;
/// Degrees of freedom of the trial distribution: heavy tails, for a likelihood with heavy tails.
const TRIAL_DEGREES: f64 = 3.0;
/// Its width over the one that the information suggests.
const TRIAL_WIDTH: f64 = 1.3;
/// Of the prior of a standard deviation, over the spread of the response: wide enough to say next to nothing.
const PRIOR_WIDTH: f64 = 2.0;

impl Fit<'_> {
    /// Draws of one grouping's levels from the joint posterior, each a list of all levels.
    ///
    /// Variances: restricted likelihood times a half-normal prior on each standard deviation, by importance resampling;
    /// levels given the variances: normal
    /// Shape    `count` draws; the same seed gives the same draws
    /// Missing  empty where not one set of variances can be solved
    /// Holds    also where a variance is estimated as nothing, which no plug-in interval survives
    /// Source   Gelman (2006), Prior distributions for variance parameters in hierarchical models, Bayesian Analysis 1, 515;
    ///          resampling: Rubin (1988); Kitagawa (1996) for taking it systematically. Departures: none
    /// Check    coverage over made-up sets in crates/stats/tests/mixed.rs
    pub fn draws(&self, group: usize, seed: u64, count: usize) -> Vec<Vec<f64>> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let trials = self.trials(&mut rng);
        let most = trials.iter().map(|trial| trial.log_weight).fold(f64::NEG_INFINITY, f64::max);
        let weights: Vec<f64> = trials.iter().map(|trial| (trial.log_weight - most).exp()).collect();
        let total: f64 = weights.iter().sum();
        let start = self.places.start[group];
        let span = start..start + self.design.groups[group].levels;
        let mut draws = Vec::with_capacity(count);
        // Systematic resampling: one uniform draw, then even steps along the summed weights.
        let offset: f64 = rng.random();
        let mut below = 0.0;
        for (trial, weight) in trials.iter().zip(&weights) {
            below += weight / total * count as f64;
            let takes = (below - offset).ceil().max(0.0) as usize;
            if takes <= draws.len() {
                continue;
            }
            let Some(at) = At::new(self.design, &self.places, &trial.variances) else { continue };
            while draws.len() < takes.min(count) {
                let standard = standard_normals(&self.places, &mut rng);
                let drawn = &at.solution + at.system.deviate(&standard);
                draws.push(span.clone().map(|i| drawn[i] * at.system.scale[i]).collect());
            }
        }
        draws
    }

    fn trials(&self, rng: &mut ChaCha8Rng) -> Vec<Trial> {
        let variances = self.variances();
        let centre: Vec<f64> = variances.iter().map(|variance| variance.sqrt()).collect();
        // How far a standard deviation moves when its variance moves by its own error: good at the bound as well.
        let width: Vec<f64> = variances
            .iter()
            .enumerate()
            .map(|(i, variance)| {
                let error = self.uncertainty[(i, i)].sqrt();
                TRIAL_WIDTH * ((variance + error).sqrt() - variance.sqrt())
            })
            .collect();
        let Some(prior) = spread(self.design).map(|spread| PRIOR_WIDTH * spread.sqrt()) else {
            return Vec::new();
        };
        let Ok(student) = StudentT::new(TRIAL_DEGREES) else { return Vec::new() };
        let dear = (self.places.total as f64 / CHEAP as f64).max(1.0).powi(2);
        let tried = ((TRIED as f64 / dear) as usize).max(TRIED_LEAST);
        (0..tried)
            .filter_map(|_| {
                let deviations: Vec<f64> = centre
                    .iter()
                    .zip(&width)
                    .map(|(centre, width)| (centre + width * student.sample(rng)).abs())
                    .collect();
                let log_trial: f64 =
                    (0..centre.len()).map(|i| log_folded(deviations[i], centre[i], width[i])).sum();
                let log_prior: f64 = deviations.iter().map(|s| -0.5 * (s / prior).powi(2)).sum();
                let variances: Vec<f64> = deviations.iter().map(|deviation| deviation * deviation).collect();
                let found = At::new(self.design, &self.places, &variances)?;
                Some(Trial { variances, log_weight: log_prior - found.minus_two_log / 2.0 - log_trial })
            })
            .collect()
    }
}

struct Trial {
    variances: Vec<f64>,
    log_weight: f64,
}

/// Density of |t|, but for a constant.
fn log_folded(value: f64, centre: f64, width: f64) -> f64 {
    let density = |x: f64| (1.0 + (x / width).powi(2) / TRIAL_DEGREES).powf(-(TRIAL_DEGREES + 1.0) / 2.0);
    (density(value - centre) + density(value + centre)).ln() - width.ln()
}

fn standard_normals(places: &Places, rng: &mut ChaCha8Rng) -> DVector<f64> {
    DVector::from_fn(places.total, |_, _| StandardNormal.sample(rng))
}
