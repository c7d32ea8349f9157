//! Rolling resistance over temperature.

/// Least and most factor on the coefficient: the fit is made for 20 to 30 °C, and beyond it runs on a leash. Common
/// practice, no source.
const LEAST: f64 = 0.5;
const MOST: f64 = 2.0;

/// Rolling resistance coefficient at a temperature of the outside air. [1]
///
/// C(T) = C_ref / (1 + K (T - T_ref)), kept between half and twice C_ref
///   C_ref  reference           [1]    coefficient at T_ref
///   K      per_k               [1/K]  0.006 to 0.010 for truck tyres
///   T_ref  reference_k         [K]    298.15 in the source
/// Sign     colder is more
/// Holds    the source: 20 to 30 °C, tyre in thermal equilibrium; further out an extrapolation
/// Source   UN Regulation 117, annex 6, paragraph 6.2 (as ISO 28580): F25 = F (1 + K (t - 25)), K 0.010 for truck
///          tyres up to load index 121, 0.006 above. Departures: turned round, and bounded
/// Check    0.0077 at 25 °C, K 0.006, 5 °C -> 0.00875
/// ```
/// let cold = backwatt_physics::kernels::rolling::coefficient(0.0077, 0.006, 298.15, 278.15);
/// assert!((cold - 0.00875).abs() < 1e-12);
/// ```
pub fn coefficient(reference: f64, per_k: f64, reference_k: f64, temperature_k: f64) -> f64 {
    let factor = 1.0 + per_k * (temperature_k - reference_k);
    // A factor of 0 or less lies far outside what the fit is for.
    let inverse = if factor > 0.0 { 1.0 / factor } else { MOST };
    reference * inverse.clamp(LEAST, MOST)
}
