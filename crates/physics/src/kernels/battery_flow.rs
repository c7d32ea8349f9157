/// Energy out of and into a store over one interval with power linear in time. [J, J]
///
/// out = ∫ [P]+ dt,  in = ∫ [-P]+ dt, split where P crosses zero
///   P    power_w at both ends   [W]  positive leaves the store
///   dt   duration_s             [s]
/// Source   trapezoid rule, exact for linear P. Departures: none
/// Check    1 000 W to -1 000 W in 10 s -> 2 500 J out, 2 500 J in
/// ```
/// let flow = backwatt_physics::kernels::battery_flow::split(1000.0, -1000.0, 10.0);
/// assert_eq!(flow, (2500.0, 2500.0));
/// ```
pub fn split(start_w: f64, end_w: f64, duration_s: f64) -> (f64, f64) {
    if start_w * end_w >= 0.0 {
        let energy = f64::midpoint(start_w, end_w) * duration_s;
        return (energy.max(0.0), (-energy).max(0.0));
    }
    let zero = start_w / (start_w - end_w);
    let first = start_w * zero * duration_s / 2.0;
    let second = end_w * (1.0 - zero) * duration_s / 2.0;
    (first.max(0.0) + second.max(0.0), (-first).max(0.0) + (-second).max(0.0))
}

/// Time within one interval in which energy flows into the store, power linear in time. [s]
///
/// Holds, Source   as [`split`]
/// ```
/// assert_eq!(backwatt_physics::kernels::battery_flow::inflow_s(1000.0, -3000.0, 8.0), 6.0);
/// ```
pub fn inflow_s(start_w: f64, end_w: f64, duration_s: f64) -> f64 {
    match (start_w < 0.0, end_w < 0.0) {
        (true, true) => duration_s,
        (false, false) => 0.0,
        (starts_in, _) => {
            let zero = start_w / (start_w - end_w);
            duration_s * if starts_in { zero } else { 1.0 - zero }
        }
    }
}

/// The same with each end clipped before the trapezoid: more both ways, by the same amount. [J, J]
///
/// out = ([P0]+ + [P1]+)/2 dt,  in = ([-P0]+ + [-P1]+)/2 dt
/// Between samples the sign may have changed sharply rather than along a line; then this is what flowed. With
/// [`split`] it brackets the inflow that a slow log leaves open.
/// Source   trapezoid rule on the clipped power. Departures: none
/// Check    1 000 W to -1 000 W in 10 s -> 5 000 J out, 5 000 J in
/// ```
/// let flow = backwatt_physics::kernels::battery_flow::clipped(1000.0, -1000.0, 10.0);
/// assert_eq!(flow, (5000.0, 5000.0));
/// ```
pub fn clipped(start_w: f64, end_w: f64, duration_s: f64) -> (f64, f64) {
    let half = duration_s / 2.0;
    let out = (start_w.max(0.0) + end_w.max(0.0)) * half;
    let inflow = ((-start_w).max(0.0) + (-end_w).max(0.0)) * half;
    (out, inflow)
}
