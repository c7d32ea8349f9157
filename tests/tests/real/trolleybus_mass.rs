//! Trolleybus: the effective mass behind acceleration, without any height.
//!
//! Hills change slowly, acceleration fast: from one few seconds to the next the change of force over the change of
//! acceleration is the effective mass, whatever the slope. Both signals carry noise, so the slope of force on acceleration
//! is too small and the inverse of that of acceleration on force too large; they bracket it.

use crate::set::present;
use crate::trolleybus_motor::{DATA, Motor, VEHICLE, run};

/// Length of each of two neighbouring windows. [samples, s at 1 Hz]
const WINDOW: usize = 3;
/// Slower than this halt brake and wheel-speed signals are in play. [m/s]
const LEAST_M_S: f64 = 2.0;
/// Half the density of air of 17 C times the sheet's drag area. [kg/m]
const DRAG: f64 = 0.5 * 1.2 * 5.8;
/// The sheet's rotating mass. [kg]
const ROTATING_KG: f64 = 900.0;
/// Curb mass of "about 19 t" (data README), a passenger 60 to 80 kg. [kg]
const CURB_KG: (f64, f64) = (18_500.0, 19_500.0);
const PASSENGER_KG: (f64, f64) = (60.0, 80.0);
/// As the samples count them: the pilot file's scale. [kg]
const COUNTED_KG: f64 = 70.0;

#[test]
fn effective_mass_lies_within_what_curb_mass_and_passengers_allow() {
    let set = run(&[]);
    let Some(set) = present(&set, "trolleybus_mass", DATA) else { return };
    let motor = Motor::of(set);
    let payload = set.samples[VEHICLE].numbers("payload_kg");
    // Sums over pairs of changes: acceleration squared, force squared, both; and passengers.
    let (mut aa, mut ff, mut af, mut passengers, mut pairs) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for at in 0..motor.times_ns.len() - 2 * WINDOW {
        let (Some(before), Some(after)) = (window(&motor, at), window(&motor, at + WINDOW)) else { continue };
        let Some(payload) = payload[at] else { continue };
        let (a, f) = (after.0 - before.0, after.1 - before.1);
        (aa, ff, af) = (aa + a * a, ff + f * f, af + a * f);
        passengers += payload / COUNTED_KG;
        pairs += 1.0;
    }
    let (least, most) = (af / aa, ff / af);
    let middle = (least * most).sqrt();
    let mean = passengers / pairs;
    let low = CURB_KG.0 + ROTATING_KG + PASSENGER_KG.0 * mean;
    let high = CURB_KG.1 + ROTATING_KG + PASSENGER_KG.1 * mean;
    println!(
        "trolleybus: effective mass {least:.0} to {most:.0} kg, middle {middle:.0}; curb and {mean:.1} passengers: \
         {low:.0} to {high:.0} kg; r squared {:.3} of {pairs} pairs",
        least / most
    );
    assert!(pairs > 3_000.0, "{pairs} pairs");
    assert!(least / most > 0.88, "r squared {}", least / most);
    assert!((low..=high).contains(&middle), "{middle} kg is not within {low} to {high} kg");
}

/// Mean acceleration and mean motor force less air drag over one window without pressure, gap or standstill.
fn window(motor: &Motor, at: usize) -> Option<(f64, f64)> {
    let end = at + WINDOW;
    let seconds = (motor.times_ns[end] - motor.times_ns[at]) as f64 * 1e-9;
    let fast = (at..=end).all(|row| motor.speed[row].is_some_and(|speed| speed > LEAST_M_S));
    if !fast || seconds > WINDOW as f64 + 0.5 || !motor.is_released(motor.times_ns[at], motor.times_ns[end]) {
        return None;
    }
    let pushing = |row: usize| Some(motor.force[row]? - DRAG * motor.speed[row]?.powi(2));
    let forces: Option<Vec<f64>> =
        (at..end).map(|row| Some(f64::midpoint(pushing(row)?, pushing(row + 1)?))).collect();
    let acceleration = (motor.speed[end]? - motor.speed[at]?) / seconds;
    Some((acceleration, forces?.iter().sum::<f64>() / WINDOW as f64))
}
