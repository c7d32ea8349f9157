//! Quantiles of a figure of the answer table.

use statrs::distribution::{ContinuousCDF, Normal};

/// Middle and the ends of the 50, 80 and 90 % intervals. [kWh]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantiles {
    pub p50: f64,
    pub within_50: [f64; 2],
    pub within_80: [f64; 2],
    pub within_90: [f64; 2],
}

/// The table has the ends of the 90 % interval only: the inner ones come from scaling each half by the ratio of the normal
/// quantiles. To be replaced once the table has more of them.
pub fn from_90(p05: f64, p50: f64, p95: f64) -> Quantiles {
    let within = |share: f64| {
        let scale = normal_quantile(0.5 + share / 2.0) / normal_quantile(0.95);
        [p50 - (p50 - p05) * scale, p50 + (p95 - p50) * scale]
    };
    Quantiles { p50, within_50: within(0.5), within_80: within(0.8), within_90: [p05, p95] }
}

fn normal_quantile(share: f64) -> f64 {
    Normal::standard().inverse_cdf(share)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_are_scaled_apart() {
        // Normal quantiles 0.6745, 1.2816 and 1.6449: NIST/SEMATECH e-Handbook, section 1.3.6.7.1.
        let found = from_90(100.0 - 16.449, 100.0, 100.0 + 32.897);
        assert!((found.within_50[0] - (100.0 - 6.745)).abs() < 1e-2);
        assert!((found.within_80[1] - (100.0 + 2.0 * 12.816)).abs() < 1e-2);
        assert!((found.within_90[0] - 83.551).abs() < 1e-9);
    }
}
