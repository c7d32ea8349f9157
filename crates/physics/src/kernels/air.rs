//! Air: density, pressure, and speed against the wind.

/// Specific gas constant of dry air. [J/(kg K)] ISO 2533:1975, table 1 (287.052 87), as the check values use.
pub const DRY_AIR_J_KG_K: f64 = 287.052_87;
/// Specific gas constant of water vapour. [J/(kg K)] From memory; R/M = 8.314 46/0.018 015 gives 461.5.
pub const WATER_VAPOUR_J_KG_K: f64 = 461.5;
/// Pressure at sea level. [Pa] ISO 2533:1975.
pub const SEA_LEVEL_PA: f64 = 101_325.0;
/// Temperature at sea level. [K] ISO 2533:1975.
pub const SEA_LEVEL_K: f64 = 288.15;

/// Both as ISO 2533:1975.
const LAPSE_K_M: f64 = 0.006_5;
const EARTH_RADIUS_M: f64 = 6_356_766.0;

/// Temperature and pressure of the standard atmosphere. [K, Pa]
///
/// H = R z / (R + z);  T = T0 - L H;  p = p0 (T / T0)^(g / (Rd L))
///   z    altitude_m  [m]  geometric height, -2 000 to 11 000
/// Holds    the troposphere
/// Source   ISO 2533:1975, Standard Atmosphere; US Standard Atmosphere 1976, eq. 33a. Departures: none
/// Check    1 000 m -> 89 876.28 Pa
/// ```
/// let (_, pressure_pa) = backwatt_physics::kernels::air::standard_atmosphere(1000.0);
/// assert!((pressure_pa - 89_876.28).abs() < 0.1);
/// ```
pub fn standard_atmosphere(altitude_m: f64) -> (f64, f64) {
    let geopotential = EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m);
    let temperature = SEA_LEVEL_K - LAPSE_K_M * geopotential;
    let exponent = crate::STANDARD_GRAVITY_M_S2 / (DRY_AIR_J_KG_K * LAPSE_K_M);
    (temperature, SEA_LEVEL_PA * (temperature / SEA_LEVEL_K).powf(exponent))
}

/// Density of air. [kg/m³]
///
/// ρ = (p - e)/(Rd T) + e/(Rv T)
///   p    pressure_pa      [Pa]
///   T    temperature_k    [K]
///   e    vapour_pa        [Pa]  partial pressure of water vapour, 0 for dry air
/// Source   ideal-gas mixture. Departures: none
/// Check    101 325 Pa, 293.15 K, dry -> 1.204 106 kg/m³
/// ```
/// let density = backwatt_physics::kernels::air::density(101_325.0, 293.15, 0.0);
/// assert!((density - 1.204106).abs() < 2e-6);
/// ```
pub fn density(pressure_pa: f64, temperature_k: f64, vapour_pa: f64) -> f64 {
    (pressure_pa - vapour_pa) / (DRY_AIR_J_KG_K * temperature_k)
        + vapour_pa / (WATER_VAPOUR_J_KG_K * temperature_k)
}

/// Saturation pressure of water vapour over water. [Pa]
///
/// e = 611.2 exp(17.62 t / (243.12 + t)),  t in °C
///   t    temperature_k less 273.15  [°C]  -45 to 60
/// Sign     0 or more
/// Holds    over water; below freezing the air over ice is drier, at densities that differ by less than 0.1 %
/// Source   Magnus form, WMO-No. 8 (2008), annex 4.B. Departures: none
/// Check    0 °C -> 611.2 Pa; 30 °C -> 4 233.7 Pa (by hand)
/// ```
/// use backwatt_physics::kernels::air::saturation_pressure;
/// assert_eq!(saturation_pressure(273.15), 611.2);
/// assert!((saturation_pressure(303.15) - 4233.7).abs() < 0.2);
/// ```
pub fn saturation_pressure(temperature_k: f64) -> f64 {
    let celsius = temperature_k - 273.15;
    611.2 * (17.62 * celsius / (243.12 + celsius)).exp()
}

/// Density of moist air from what a weather service gives. [kg/m³]
///
/// ρ = (p - e)/(Rd T) + e/(Rv T),  e = φ e_s(T)
///   φ    humidity_frac  [1]  relative humidity, 0 to 1
///   e_s  saturation pressure over water (Magnus)
/// Holds    e below p: any weather of the troposphere
/// Source   [`density`] and [`saturation_pressure`]
/// Check    101 325 Pa, 30 °C, 60 % -> 1.153 35 kg/m³
/// ```
/// let density = backwatt_physics::kernels::air::moist_density(101_325.0, 303.15, 0.6);
/// assert!((density - 1.15335).abs() < 2e-4);
/// ```
pub fn moist_density(pressure_pa: f64, temperature_k: f64, humidity_frac: f64) -> f64 {
    let vapour_pa = humidity_frac * saturation_pressure(temperature_k);
    density(pressure_pa, temperature_k, vapour_pa.min(pressure_pa).max(0.0))
}

/// Air speed of a vehicle in an oblique wind. [same unit as given]
///
/// v_a² = w² + v² + 2 v w cos φ
///   φ    angle_rad  angle of the wind to the direction of travel, 0 a headwind
/// Source   40 CFR 1037.528(g)(2). Departures: none
/// Check    w 7.1 mph, v 64.9 mph, 47° -> 69.93 mph
/// ```
/// let air_speed = backwatt_physics::kernels::air::air_speed(64.9, 7.1, 47f64.to_radians());
/// assert!((air_speed - 69.93).abs() < 0.01);
/// ```
pub fn air_speed(speed: f64, wind: f64, angle_rad: f64) -> f64 {
    (wind * wind + speed * speed + 2.0 * speed * wind * angle_rad.cos()).sqrt()
}

/// Yaw of the air flow against the direction of travel. [rad]
///
/// ψ = atan(w sin φ / (v + w cos φ))
///   v, w  speed, wind  one unit for both
///   φ     angle_rad    angle of the wind to the direction of travel, 0 a headwind
/// Sign     of φ; 0 in calm air
/// Source   40 CFR 1037.528(g)(3). Departures: none
/// Check    w 7.1 mph, v 64.9 mph, 47° -> 4.26°
/// ```
/// let yaw = backwatt_physics::kernels::air::yaw(64.9, 7.1, 47f64.to_radians());
/// assert!((yaw.to_degrees() - 4.26).abs() < 0.01);
/// ```
pub fn yaw(speed: f64, wind: f64, angle_rad: f64) -> f64 {
    (wind * angle_rad.sin()).atan2(speed + wind * angle_rad.cos())
}
