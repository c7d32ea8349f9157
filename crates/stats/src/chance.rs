use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use statrs::distribution::{Beta, ContinuousCDF, Normal};

use crate::student_quantile;

/// A probability and its two-sided 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    pub value: f64,
    pub low: f64,
    pub high: f64,
}

/// Fewer values say nothing of their spread.
pub const LEAST_VALUES: usize = 3;

/// What one more value of a sample may be: the values themselves, each spread out so far that the whole has the width
/// of a prediction.
///
/// Each of n values becomes a normal of variance h² = s² ((1 + 1/n) c² - (1 - 1/n)), so that the mixture has the
/// prediction variance s² (1 + 1/n) c²; c = t(0.95, n-1) / z(0.95) widens few values as Student's t does.
/// Source   smoothed bootstrap, Silverman and Young (1987), Biometrika 74, 469-479; prediction variance, any textbook.
///          Departures: the bandwidth is set by the variance of a prediction, not by a density's error
/// Missing  `None` of fewer than three values, or of values that are no numbers
#[derive(Debug, Clone)]
pub struct NextValue<'v> {
    values: &'v [f64],
    width: f64,
    /// Variance of a value's normal for each unit of the sample's variance.
    factor: f64,
}

impl<'v> NextValue<'v> {
    pub fn new(values: &'v [f64]) -> Option<Self> {
        let factor = factor(values.len())?;
        let width = width(values, factor)?;
        Some(Self { values, width, factor })
    }

    /// Probability that it lies below a limit that is itself known but for a normal error all values share.
    ///
    /// The interval is of the probability: values drawn anew with replacement, the shared error drawn with them.
    /// Check    far below every value -> 0; far above -> 1; at the middle of a symmetric sample -> 1/2
    /// ```
    /// use backwatt_stats::NextValue;
    /// let next = NextValue::new(&[1.0, 2.0, 3.0, 4.0, 5.0]).unwrap();
    /// assert!((next.below(3.0, 0.0).value - 0.5).abs() < 1e-9);
    /// assert!(next.below(-50.0, 0.0).value < 1e-9 && next.below(60.0, 0.0).value > 1.0 - 1e-9);
    /// ```
    pub fn below(&self, limit: f64, shared_sd: f64) -> Chance {
        const DRAWS: usize = 100;
        let value = self.probability(limit, shared_sd);
        // The same draws every time: the same input gives the same answer.
        let mut rng = ChaCha8Rng::seed_from_u64(self.values.len() as u64);
        let mut drawn = vec![0.0; self.values.len()];
        let mut found: Vec<f64> = (0..DRAWS)
            .map(|draw| {
                drawn.iter_mut().for_each(|value| *value = self.values[rng.random_range(0..self.values.len())]);
                let width = width(&drawn, self.factor).unwrap_or(0.0).max(0.5 * self.width);
                let shift = shared_sd * normal_quantile((draw as f64 + 0.5) / DRAWS as f64);
                mixture(&drawn, width, limit + shift)
            })
            .collect();
        found.sort_by(f64::total_cmp);
        let (low, high) = (found[DRAWS / 20], found[DRAWS - 1 - DRAWS / 20]);
        Chance { value, low: low.min(value), high: high.max(value) }
    }

    /// The value that the next one stays below with a probability.
    pub fn quantile(&self, probability: f64) -> f64 {
        let (least, most) = ends(self.values);
        let (mut low, mut high) = (least - 20.0 * self.width - 1e-9, most + 20.0 * self.width + 1e-9);
        for _ in 0..80 {
            let middle = f64::midpoint(low, high);
            if mixture(self.values, self.width, middle) < probability { low = middle } else { high = middle }
        }
        f64::midpoint(low, high)
    }

    fn probability(&self, limit: f64, shared_sd: f64) -> f64 {
        mixture(self.values, (self.width.powi(2) + shared_sd.powi(2)).sqrt(), limit)
    }
}

/// 90 % interval of the share that k of n stand for.
///
/// Beta(k + 1/2, n - k + 1/2); its ends are 0 and 1 where k is 0 and n
/// Source   Jeffreys interval, Brown, Cai and DasGupta (2001), Statistical Science 16, 101-133
/// Check    0 of 10 -> 0 to about 0.171; `None` of none
/// ```
/// let found = backwatt_stats::share_of(0, 10).unwrap();
/// assert!(found.low == 0.0 && (found.high - 0.171).abs() < 2e-3, "{found:?}");
/// ```
pub fn share_of(k: usize, n: usize) -> Option<Chance> {
    if n == 0 || k > n {
        return None;
    }
    let beta = Beta::new(k as f64 + 0.5, (n - k) as f64 + 0.5).ok()?;
    let low = if k == 0 { 0.0 } else { beta.inverse_cdf(0.05) };
    let high = if k == n { 1.0 } else { beta.inverse_cdf(0.95) };
    Some(Chance { value: k as f64 / n as f64, low, high })
}

fn factor(count: usize) -> Option<f64> {
    if count < LEAST_VALUES {
        return None;
    }
    let n = count as f64;
    let wider = student_quantile(0.95, n - 1.0)? / normal_quantile(0.95);
    Some(((1.0 + 1.0 / n) * wider * wider - (1.0 - 1.0 / n)).max(0.0))
}

fn width(values: &[f64], factor: f64) -> Option<f64> {
    let n = values.len() as f64;
    if !values.iter().all(|value| value.is_finite()) {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0);
    Some((variance * factor).sqrt())
}

fn mixture(values: &[f64], width: f64, limit: f64) -> f64 {
    let below = |value: &f64| {
        let away = limit - value;
        if width > 0.0 {
            0.5 * libm::erfc(-away / width * std::f64::consts::FRAC_1_SQRT_2)
        } else {
            f64::from(u8::from(away >= 0.0))
        }
    };
    values.iter().map(below).sum::<f64>() / values.len() as f64
}

fn ends(values: &[f64]) -> (f64, f64) {
    values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(*v), high.max(*v)))
}

fn normal_quantile(probability: f64) -> f64 {
    Normal::standard().inverse_cdf(probability)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pure Student prediction: mean 0, s 1, n 5: below t(0.95, 4) sqrt(1 + 1/5) = 2.335 with 95 %. The mixture of a
    /// sample with that mean and spread comes close.
    #[test]
    fn a_sample_of_few_is_as_wide_as_a_prediction() {
        let values = [-1.2649, -0.6325, 0.0, 0.6325, 1.2649];
        let next = NextValue::new(&values).unwrap();
        let reached = next.quantile(0.95);
        assert!((reached - 2.335).abs() < 0.12, "{reached}");
        let chance = next.below(2.335, 0.0);
        assert!(
            (chance.value - 0.95).abs() < 0.01 && chance.low < chance.value && chance.high > 0.95,
            "{chance:?}"
        );
    }

    /// The truth is known: normal days. The probability said and the share that came true agree in every bin, and the
    /// Brier score is near that of one who knows the truth. Printed for the method page with `--nocapture`.
    #[test]
    fn probabilities_come_true() {
        for (n, most) in [(6, 0.05), (20, 0.04)] {
            let table = reliability(n, 20_000);
            println!("{n} days: {table:#.3?}");
            for bin in &table.bins {
                let noise = 3.0 * (bin.said * (1.0 - bin.said) / bin.count.max(1) as f64).sqrt();
                assert!((bin.said - bin.came_true).abs() < most + noise, "{n}: {bin:?}");
            }
            assert!(table.brier < table.brier_of_truth + 0.02, "{table:?}");
            assert!(table.brier < 0.8 * table.brier_of_mean, "{table:?}");
        }
    }

    #[derive(Debug)]
    struct Bin {
        said: f64,
        came_true: f64,
        count: usize,
    }

    #[derive(Debug)]
    struct Reliability {
        bins: Vec<Bin>,
        brier: f64,
        brier_of_truth: f64,
        brier_of_mean: f64,
    }

    /// Samples of `n` normal days each, asked for a limit anywhere within two spreads, against one more day.
    fn reliability(n: usize, samples: usize) -> Reliability {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let mut asked = Vec::new();
        for _ in 0..samples {
            let mut day = || normal_quantile(rng.random_range(1e-9..1.0 - 1e-9));
            let values: Vec<f64> = (0..n).map(|_| day()).collect();
            let next = day();
            let limit = rng.random_range(-2.0..2.0);
            let said = NextValue::new(&values).unwrap().probability(limit, 0.0);
            asked.push((said, Normal::standard().cdf(limit), f64::from(u8::from(next < limit))));
        }
        let count = asked.len() as f64;
        let brier = |of: &dyn Fn(&(f64, f64, f64)) -> f64| {
            asked.iter().map(|one| (of(one) - one.2).powi(2)).sum::<f64>() / count
        };
        let mean = asked.iter().map(|one| one.2).sum::<f64>() / count;
        let bin = |at: usize| {
            let (from, to) = (at as f64 / 10.0, (at + 1) as f64 / 10.0);
            let within: Vec<_> = asked.iter().filter(|one| one.0 >= from && (one.0 < to || at == 9)).collect();
            let mean = |of: &dyn Fn(&(f64, f64, f64)) -> f64| {
                within.iter().map(|one| of(one)).sum::<f64>() / within.len().max(1) as f64
            };
            Bin { said: mean(&|one| one.0), came_true: mean(&|one| one.2), count: within.len() }
        };
        Reliability {
            bins: (0..10).map(bin).collect(),
            brier: brier(&|one| one.0),
            brier_of_truth: brier(&|one| one.1),
            brier_of_mean: brier(&|_| mean),
        }
    }

    #[test]
    fn few_or_equal_values_are_answered() {
        assert!(NextValue::new(&[1.0, 2.0]).is_none());
        assert!(NextValue::new(&[1.0, f64::NAN, 2.0]).is_none());
        let same = [2.0; 5];
        let next = NextValue::new(&same).unwrap();
        assert_eq!((next.below(3.0, 0.0).value, next.below(1.0, 0.0).value), (1.0, 0.0));
        assert!((next.below(2.0, 0.5).value - 0.5).abs() < 1e-9);
        assert!((next.quantile(0.9) - 2.0).abs() < 1e-6);
    }
}
