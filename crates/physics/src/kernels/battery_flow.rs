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
