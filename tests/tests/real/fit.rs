//! How well one quantity follows another.

/// Modelled and measured in one unit, and how much the pair counts: seconds, for powers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    pub weight: f64,
    pub modelled: f64,
    pub measured: f64,
}

/// Agreement over many pairs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    pub weight: f64,
    pub measured: f64,
    /// Modelled less measured, mean.
    pub bias: f64,
    /// Root of the mean square of modelled less measured.
    pub rmse: f64,
    /// Square of the correlation: blind to bias and scale, which the other two hold.
    pub r_squared: f64,
}

impl Fit {
    pub fn of(pairs: &[Pair]) -> Self {
        let weight: f64 = pairs.iter().map(|p| p.weight).sum();
        let mean = |of: &dyn Fn(&Pair) -> f64| pairs.iter().map(|p| p.weight * of(p)).sum::<f64>() / weight;
        let (modelled, measured) = (mean(&|p| p.modelled), mean(&|p| p.measured));
        let together = mean(&|p| (p.modelled - modelled) * (p.measured - measured));
        let spread = mean(&|p| (p.modelled - modelled).powi(2)) * mean(&|p| (p.measured - measured).powi(2));
        Self {
            weight,
            measured,
            bias: modelled - measured,
            rmse: mean(&|p| (p.modelled - p.measured).powi(2)).sqrt(),
            r_squared: together * together / spread,
        }
    }
}

/// Pairs put together over whole steps of a clock.
pub fn means(times_ns: &[i64], pairs: &[Pair], step_s: f64) -> Vec<Pair> {
    let mut out: Vec<(i64, Pair)> = Vec::new();
    for (time, pair) in times_ns.iter().zip(pairs) {
        let step = (*time as f64 * 1e-9 / step_s).floor() as i64;
        match out.last_mut() {
            Some((last, sum)) if *last == step => {
                let weight = sum.weight + pair.weight;
                let mean = |a: f64, b: f64| (a * sum.weight + b * pair.weight) / weight;
                *sum = Pair {
                    weight,
                    modelled: mean(sum.modelled, pair.modelled),
                    measured: mean(sum.measured, pair.measured),
                };
            }
            _ => out.push((step, *pair)),
        }
    }
    out.into_iter().map(|(_, pair)| pair).collect()
}

pub fn median(values: impl IntoIterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.into_iter().collect();
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    if values.len() % 2 == 1 { values[middle] } else { f64::midpoint(values[middle - 1], values[middle]) }
}

#[test]
fn a_fit_by_hand() {
    let pair = |modelled, measured| Pair { weight: 2.0, modelled, measured };
    // Twice the size and one too much: a perfect correlation, bias and error as counted on fingers.
    let fit = Fit::of(&[pair(1.0, 0.0), pair(3.0, 1.0), pair(5.0, 2.0)]);
    backwatt_testkit::close("r squared", fit.r_squared, 1.0, 1e-12);
    backwatt_testkit::close("bias", fit.bias, 2.0, 1e-12);
    backwatt_testkit::close("rmse", fit.rmse, (14.0_f64 / 3.0).sqrt(), 1e-12);
    let joined =
        means(&[0, 2_000_000_000, 4_000_000_000], &[pair(1.0, 0.0), pair(3.0, 1.0), pair(5.0, 2.0)], 4.0);
    assert_eq!(joined[0], Pair { weight: 4.0, modelled: 2.0, measured: 0.5 });
    assert_eq!(joined.len(), 2);
}
