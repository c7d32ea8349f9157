//! Wind along the way, and the way a vehicle heads.

/// Mean radius of the earth. [m] IUGG: R1 = (2a + b)/3 of GRS80 (Moritz 2000).
const EARTH_RADIUS_M: f64 = 6_371_008.8;

/// Component of the wind against the way of travel. [m/s]
///
/// w∥ = w cos(from - heading)
///   w        wind_m_s     [m/s]  0 or more
///   from     from_deg     [deg]  the direction the wind comes from, clockwise from north
///   heading  heading_deg  [deg]  course over ground, clockwise from north
/// Sign     positive a headwind, negative a tailwind
/// Holds    level road; the part across the way is left out, so drag at yaw is understated
/// Source   the component along travel of 40 CFR 1037.528(g)(2). Departures: only that component
/// Check    10 m/s from the west, heading south-west -> 7.071 m/s
/// ```
/// let along = backwatt_physics::kernels::wind::along(10.0, 270.0, 225.0);
/// assert!((along - 50f64.sqrt()).abs() < 1e-12);
/// assert!((backwatt_physics::kernels::wind::along(10.0, 270.0, 90.0) + 10.0).abs() < 1e-12);
/// ```
pub fn along(wind_m_s: f64, from_deg: f64, heading_deg: f64) -> f64 {
    wind_m_s * (from_deg - heading_deg).to_radians().cos()
}

/// Great-circle distance and first bearing between two places. [m, deg]
///
/// hav(d/R) = hav(φ2 - φ1) + cos φ1 cos φ2 hav(λ2 - λ1);
/// bearing atan2(sin Δλ cos φ2, cos φ1 sin φ2 - sin φ1 cos φ2 cos Δλ)
///   φ, λ     latitude and longitude  [deg]
/// Sign     bearing clockwise from north, -180 to 180
/// Holds    a sphere: distance within 0.6 %, bearing within 0.2° of the ellipsoid's
/// Source   Sinnott (1984), Virtues of the haversine, Sky and Telescope 68(2), 159; bearing: spherical trigonometry
/// Check    1° along the equator -> 111 195 m, bearing 90°
/// ```
/// let (metres, bearing) = backwatt_physics::kernels::wind::course((0.0, 0.0), (0.0, 1.0));
/// assert!((metres - 111_195.08).abs() < 0.01 && (bearing - 90.0).abs() < 1e-12);
/// ```
pub fn course(from: (f64, f64), to: (f64, f64)) -> (f64, f64) {
    let (lat0, lat1) = (from.0.to_radians(), to.0.to_radians());
    let turn = (to.1 - from.1).to_radians();
    let half = |angle: f64| (angle / 2.0).sin().powi(2);
    let share = (half(lat1 - lat0) + lat0.cos() * lat1.cos() * half(turn)).clamp(0.0, 1.0);
    let east = turn.sin() * lat1.cos();
    let north = lat0.cos() * lat1.sin() - lat0.sin() * lat1.cos() * turn.cos();
    (2.0 * EARTH_RADIUS_M * share.sqrt().asin(), east.atan2(north).to_degrees())
}
