//! Power a cab takes to be kept warm or cool.

/// Heating below one outside temperature and cooling above another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Climate {
    /// Heating begins below, in proportion. [K], [W/K]
    pub heating_below_k: f64,
    pub heating_w_per_k: f64,
    /// Cooling begins above, in proportion. [K], [W/K]
    pub cooling_above_k: f64,
    pub cooling_w_per_k: f64,
    pub power_max_w: f64,
}

/// Electric power for the climate of the cab. [W]
///
/// P = min(h [T_h - T]+ + c [T - T_c]+, P_max)
///   T         temperature_k  [K]    outside air
///   T_h, T_c  balance points [K]
///   h, c                     [W/K]
/// Sign     0 or more
/// Holds    steady state: a cold cab takes more at first
/// Source   the balance-point (degree-day) model, ASHRAE Handbook of Fundamentals (2009), chapter 19, for the shape;
///          the figures are the sheet's. Departures: one limit for both sides
/// Check    120 W/K below 17 °C, at -3 °C -> 2 400 W
/// ```
/// use backwatt_physics::kernels::climate::{Climate, power};
/// let cab = Climate {
///     heating_below_k: 290.15, heating_w_per_k: 120.0,
///     cooling_above_k: 296.15, cooling_w_per_k: 90.0, power_max_w: 5000.0,
/// };
/// assert!((power(&cab, 270.15) - 2400.0).abs() < 1e-9);
/// assert_eq!(power(&cab, 293.15), 0.0);
/// assert_eq!(power(&cab, 200.0), 5000.0);
/// ```
pub fn power(climate: &Climate, temperature_k: f64) -> f64 {
    let heating = climate.heating_w_per_k * (climate.heating_below_k - temperature_k).max(0.0);
    let cooling = climate.cooling_w_per_k * (temperature_k - climate.cooling_above_k).max(0.0);
    (heating + cooling).min(climate.power_max_w)
}
