use statrs::distribution::{ContinuousCDF, StudentsT};

/// Quantile of Student's t. `None` for no degrees of freedom or a probability outside (0, 1).
///
/// Check    0.95 with 29 degrees of freedom -> 1.699 (any table of t)
/// ```
/// assert!((backwatt_stats::student_quantile(0.95, 29.0).unwrap() - 1.699).abs() < 1e-3);
/// ```
pub fn student_quantile(probability: f64, degrees: f64) -> Option<f64> {
    if !(probability > 0.0 && probability < 1.0) {
        return None;
    }
    Some(StudentsT::new(0.0, 1.0, degrees).ok()?.inverse_cdf(probability))
}
