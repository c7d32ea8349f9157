use crate::student_quantile;

/// A ratio of sums and its two-sided 90 % interval over clusters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatioInterval {
    pub ratio: f64,
    /// Half-width of the 90 % interval; `None` with fewer than two clusters: one day has no spread.
    pub half_width_90: Option<f64>,
    pub clusters: usize,
}

/// Ratio of sums Σy/Σx with a linearised variance over clusters.
///
/// R = Σy/Σx;  s² = n/(n-1) Σ (y_i - R x_i)² / (Σx)²;  half-width t(0.95, n-1) s
/// Shape    one (y, x) per cluster; clusters with x = 0 and y = 0 are left out
/// Missing  `None` when Σx is not above 0
/// Holds    clusters exchangeable; says nothing about errors all clusters share
/// Source   Cochran (1977), Sampling Techniques, 3rd ed., eq. 6.13 with unequal clusters as units. Departures: t
///          quantile in place of the normal one
/// Check    worked in the test below
pub fn ratio_of_sums(clusters: &[(f64, f64)]) -> Option<RatioInterval> {
    let used: Vec<(f64, f64)> = clusters.iter().copied().filter(|c| *c != (0.0, 0.0)).collect();
    let (sum_y, sum_x) = used.iter().fold((0.0, 0.0), |s, c| (s.0 + c.0, s.1 + c.1));
    if sum_x.is_nan() || sum_x <= 0.0 {
        return None;
    }
    let ratio = sum_y / sum_x;
    let n = used.len() as f64;
    let half_width_90 = student_quantile(0.95, n - 1.0).map(|t| {
        let squares: f64 = used.iter().map(|(y, x)| (y - ratio * x).powi(2)).sum();
        t * (n / (n - 1.0) * squares).sqrt() / sum_x
    });
    Some(RatioInterval { ratio, half_width_90, clusters: used.len() })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: (1,1), (3,2), (2,2): R = 6/5; residuals -0.2, 0.6, -0.4, squares 0.56;
    /// s = sqrt(1.5 · 0.56)/5 = 0.183303; t(0.95, 2) = 2.919986.
    #[test]
    fn worked_by_hand() {
        let found = ratio_of_sums(&[(1.0, 1.0), (3.0, 2.0), (2.0, 2.0)]).unwrap();
        assert_eq!(found.ratio, 1.2);
        assert!((found.half_width_90.unwrap() - 0.535_242).abs() < 1e-5, "{found:?}");
    }

    #[test]
    fn one_cluster_has_no_spread() {
        assert_eq!(ratio_of_sums(&[(1.0, 2.0)]).unwrap().half_width_90, None);
        assert_eq!(ratio_of_sums(&[(1.0, 0.0)]), None);
    }
}
