/// Normal gravity on the WGS84 ellipsoid. [m/s²]
///
/// g = ge (1 + k sin²φ) / sqrt(1 - e² sin²φ)
///   φ    latitude_deg  [deg]  -90 to 90
/// Source   Somigliana (1929); constants of WGS84, NIMA TR8350.2 (2000), table 3.4 and eq. 4-1. Departures: none
/// Check    45° -> 9.806 197 8 m/s²
/// ```
/// assert!((backwatt_physics::kernels::gravity::normal_gravity(45.0) - 9.8061978).abs() < 2e-7);
/// ```
pub fn normal_gravity(latitude_deg: f64) -> f64 {
    const EQUATOR_M_S2: f64 = 9.780_325_335_9;
    const SOMIGLIANA: f64 = 0.001_931_852_652_41;
    const ECCENTRICITY_SQUARED: f64 = 0.006_694_379_990_141;
    let sine_squared = latitude_deg.to_radians().sin().powi(2);
    EQUATOR_M_S2 * (1.0 + SOMIGLIANA * sine_squared) / (1.0 - ECCENTRICITY_SQUARED * sine_squared).sqrt()
}
