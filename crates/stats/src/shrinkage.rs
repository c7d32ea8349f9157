/// Values drawn towards their mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Shrunken {
    pub mean: f64,
    /// Share of its distance from the mean that a value keeps, 0 to 1.
    pub factor: f64,
    pub values: Vec<f64>,
}

/// Values of equal variance drawn towards their grand mean, by as much as they spread no more than chance would.
///
/// factor = 1 - (k - 3) variance / Σ (y - mean)², not below 0
/// Shape    four values or more
/// Missing  `None` with fewer, or with a variance that is not above 0
/// Source   Efron and Morris (1975), Data analysis using Stein's estimator, J. Am. Stat. Assoc. 70, 311. Departures: none
/// Check    18 batters of 45 at-bats -> factor 0.2117, 0.400 becomes 0.294 and 0.156 becomes 0.242 (test below)
pub fn shrink(values: &[f64], variance: f64) -> Option<Shrunken> {
    const MEAN_AND_TWO: usize = 3;
    if values.len() <= MEAN_AND_TWO || variance.is_nan() || variance <= 0.0 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let chance = (values.len() - MEAN_AND_TWO) as f64 * variance;
    let factor = if squares > chance { 1.0 - chance / squares } else { 0.0 };
    Some(Shrunken { mean, factor, values: values.iter().map(|value| mean + factor * (value - mean)).collect() })
}

/// A change of one among many, regression to the mean allowed for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeforeAfter {
    /// After less before, as found.
    pub raw: f64,
    /// What would have been found if nothing had changed: who stood out by chance falls back.
    pub expected: f64,
    /// Raw less expected.
    pub change: f64,
    pub standard_error: f64,
}

/// After against before, where the one looked at may have been picked for its before.
///
/// B = τ²/(τ² + s_b²); expected = (1 - B)(mean - before); change = after - before - expected, variance s_a² + B s_b²
///   before, after  each a value and its standard error s_b, s_a
///   mean, spread   of all at the time of before: mean and standard deviation τ of their true values
/// Holds    true values normal around the mean; after independent of before given the true value
/// Source   Barnett, van der Pols and Dobson (2005), Regression to the mean, Int. J. Epidemiol. 34, 215; as a posterior:
///          Efron and Morris (1975). Departures: none
/// Check    before 3 ± 1 of a mean of 1 with spread 1 -> B ½, expected back by 1 (test below)
pub fn before_after(before: (f64, f64), after: (f64, f64), mean: f64, spread: f64) -> BeforeAfter {
    let chance = before.1.powi(2);
    let total = spread.powi(2) + chance;
    let kept = if total > 0.0 { spread.powi(2) / total } else { 1.0 };
    let (raw, expected) = (after.0 - before.0, (1.0 - kept) * (mean - before.0));
    let standard_error = (after.1.powi(2) + kept * chance).sqrt();
    BeforeAfter { raw, expected, change: raw - expected, standard_error }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    /// The batting averages of Efron and Morris (1975), table 1, with the binomial variance at the grand mean.
    #[test]
    fn eighteen_batters() {
        let hits = [18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7];
        let averages: Vec<f64> = hits.iter().map(|hits| f64::from(*hits) / 45.0).collect();
        let mean = averages.iter().sum::<f64>() / 18.0;
        let found = shrink(&averages, mean * (1.0 - mean) / 45.0).unwrap();
        assert!((found.mean - 0.265_43).abs() < 5e-6 && (found.factor - 0.2117).abs() < 5e-5, "{found:?}");
        assert!((found.values[0] - 0.294).abs() < 5e-4 && (found.values[17] - 0.242).abs() < 5e-4);
    }

    #[test]
    fn what_spreads_no_more_than_chance_is_all_one() {
        assert_eq!(shrink(&[1.0, 2.0, 3.0, 2.0], 5.0).unwrap().factor, 0.0);
        assert_eq!(shrink(&[1.0, 2.0, 3.0], 1.0), None);
    }

    #[test]
    fn who_stood_out_falls_back() {
        let found = before_after((3.0, 1.0), (2.0, 0.5), 1.0, 1.0);
        assert_eq!((found.raw, found.expected, found.change), (-1.0, -1.0, 0.0));
        assert!((found.standard_error - (0.25_f64 + 0.5).sqrt()).abs() < 1e-12);
        // One seen without error has nothing to fall back from.
        assert_eq!(before_after((3.0, 0.0), (2.0, 0.5), 1.0, 1.0).expected, 0.0);
    }

    /// Nothing changes, and the worst tenth is picked: the raw change is far from none, the one allowed for is none.
    #[test]
    fn the_worst_picked_seem_to_improve() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let mut people: Vec<(f64, f64)> = (0..4000)
            .map(|_| {
                let truth = normal();
                (truth + normal(), truth + normal())
            })
            .collect();
        people.sort_by(|a, b| b.0.total_cmp(&a.0));
        let worst = &people[..400];
        let found: Vec<BeforeAfter> =
            worst.iter().map(|(before, after)| before_after((*before, 1.0), (*after, 1.0), 0.0, 1.0)).collect();
        let mean = |of: fn(&BeforeAfter) -> f64| found.iter().map(of).sum::<f64>() / 400.0;
        assert!(
            mean(|f| f.raw) < -1.0 && mean(|f| f.change).abs() < 0.15,
            "{} {}",
            mean(|f| f.raw),
            mean(|f| f.change)
        );
        let inside = found.iter().filter(|f| f.change.abs() < 1.645 * f.standard_error).count();
        assert!((340..=380).contains(&inside), "{inside} of 400 inside their 90 % intervals");
    }
}
