/// Force at the tyres that an undriven axle's spin loss takes. [N]
///
/// F = (c0 + c1 n + c2 n²)/v,  n = v n_m
///   c0, c1, c2   fit_w  [W, W s, W s²]  spin loss power over axle speed n in rev/s
///   n_m          revolutions_per_metre  [1/m]
///   v            speed_m_s  [m/s]  above 0
/// Sign     positive slows the vehicle; a fit with c0 below 0 turns negative near standstill
/// Holds    speeds of the fit, above 0: there is no force at standstill, where the quotient has no value
/// Source   40 CFR 1037.528(h)(5). Departures: none
/// Check    the regulation's axle at 28.86 m/s -> 129.7 N
/// ```
/// use backwatt_physics::kernels::axle_spin::force;
/// let fit = [-206.841, 239.8279, 21.27505];
/// assert!((force(fit, 0.315657, 28.86) - 129.7).abs() < 0.1);
/// ```
pub fn force(fit_w: [f64; 3], revolutions_per_metre: f64, speed_m_s: f64) -> f64 {
    let turns = speed_m_s * revolutions_per_metre;
    (fit_w[0] + fit_w[1] * turns + fit_w[2] * turns * turns) / speed_m_s
}
