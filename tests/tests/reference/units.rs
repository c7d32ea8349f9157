//! Group E as far as it is unit conversion: readings of public examples brought to SI.

use backwatt_schema::unit::Unit;
use backwatt_testkit::close;

/// Printed digits.
const SPEED_M_S: f64 = 5e-6;
const SPEED_MPH: f64 = 5e-5;
const SPEED_KM_H: f64 = 5e-6;
const STEP_MM_S: f64 = 5e-6;

fn unit(spelling: &str) -> Unit {
    Unit::parse(spelling).unwrap_or_else(|| panic!("{spelling} is no unit"))
}

/// The RMC sentence of public NMEA 0183 descriptions: 022.4 knots over ground.
#[test]
fn e2_knots() {
    close("22.4 kn [m/s]", unit("kn").to_si(22.4), 11.523_56, SPEED_M_S);
}

/// SAE J1939-71 wheel-based speed, 1/256 km/h a bit: raw 0x5077.
#[test]
fn e3_kilometres_and_miles_per_hour() {
    let km_h = f64::from(0x5077) / 256.0;
    close("raw 0x5077 [km/h]", km_h, 80.464_84, SPEED_KM_H);
    close("raw 0x5077 [mph]", unit("mph").from_si(unit("km/h").to_si(km_h)), 49.9985, SPEED_MPH);
}

/// The same signal's step.
#[test]
fn e11_one_bit_of_speed() {
    close("1/256 km/h [mm/s]", unit("km/h").to_si(1.0 / 256.0) * 1000.0, 1.085_07, STEP_MM_S);
}
