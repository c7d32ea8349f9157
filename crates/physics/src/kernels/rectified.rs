//! What a rectified quantity gains from uncertainty.

/// How much larger the mean of [-F]⁺ is than [-mean F]⁺, for a force known to a standard deviation. [N]
///
/// s φ(z) - |μ| Φ(-z),  z = |μ|/s
///   μ    force_n  [N]  mean, any sign
///   s    sd_n     [N]  0 or more
/// Shape    one value
/// Sign     0 or more: a sum of one sign only grows with uncertainty (Jensen)
/// Missing  s of 0 gives 0. Errors: none
/// Holds    the force is normal about its mean
/// Source   mean of a rectified normal, e.g. Johnson, Kotz and Balakrishnan (1994), section 10.1. Departures: none
/// Check    μ 0, s 1 -> 1/√(2π);  μ ±1, s 1 -> 0.083 315
/// ```
/// use backwatt_physics::kernels::rectified::excess;
/// assert!((excess(0.0, 1.0) - 0.398_942_280_4).abs() < 1e-9);
/// assert!((excess(1.0, 1.0) - 0.083_315_470_6).abs() < 1e-9);
/// assert_eq!(excess(-1.0, 1.0), excess(1.0, 1.0));
/// assert_eq!(excess(5.0, 0.0), 0.0);
/// ```
pub fn excess(force_n: f64, sd_n: f64) -> f64 {
    let force = force_n.abs();
    // Beyond six standard deviations nothing is left that a double could show beside the force.
    if force >= 6.0 * sd_n {
        return 0.0;
    }
    let z = force / sd_n;
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let tail = 0.5 * libm::erfc(z * std::f64::consts::FRAC_1_SQRT_2);
    (sd_n * density - force * tail).max(0.0)
}
