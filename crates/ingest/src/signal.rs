//! The signals a log column can be mapped to, and what each accepts.

use backwatt_schema::unit::Dimension;

/// What a signal holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Holds {
    /// A number of this dimension, accepted within these SI bounds.
    Number {
        dimension: Dimension,
        least: f64,
        most: f64,
    },
    Flag,
    Text,
}

/// One signal: its name in the pilot file and the column of `samples` it fills.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Signal {
    pub name: &'static str,
    pub column: &'static str,
    pub holds: Holds,
}

const fn number(
    name: &'static str,
    column: &'static str,
    dimension: Dimension,
    least: f64,
    most: f64,
) -> Signal {
    Signal { name, column, holds: Holds::Number { dimension, least, most } }
}

const fn flag(name: &'static str, column: &'static str) -> Signal {
    Signal { name, column, holds: Holds::Flag }
}

const fn text(name: &'static str, column: &'static str) -> Signal {
    Signal { name, column, holds: Holds::Text }
}

/// Number signals first, then flags, then texts: a frame stores them in these three runs.
///
/// The bounds refuse what no road vehicle does (speed: 90 m/s; height: the Dead Sea shore to the highest roads;
/// pack: 1500 V is the low-voltage directive's end; air: 40 kPa lies above the highest road; a weight of 0 is a sensor
/// without a value); they are common practice, no source.
pub static SIGNALS: [Signal; 34] = [
    number("speed", "speed_m_s", Dimension::Speed, -15.0, 90.0),
    number("odometer", "odometer_m", Dimension::Length, 0.0, 1e10),
    number("latitude", "lat_deg", Dimension::Angle, -90.0, 90.0),
    number("longitude", "lon_deg", Dimension::Angle, -180.0, 180.0),
    number("altitude", "altitude_m", Dimension::Length, -450.0, 6500.0),
    number("grade", "grade_frac", Dimension::Ratio, -0.5, 0.5),
    number("state_of_charge", "soc_frac", Dimension::Ratio, 0.0, 1.0),
    number("pack_voltage", "pack_voltage_v", Dimension::Voltage, 0.0, 1500.0),
    number("pack_current", "pack_current_a", Dimension::Current, -3000.0, 3000.0),
    number("pack_power", "pack_power_w", Dimension::Power, -2e6, 2e6),
    number("aux_power", "aux_power_w", Dimension::Power, 0.0, 1e5),
    number("cab_climate_power", "cab_climate_power_w", Dimension::Power, 0.0, 1e5),
    number("ambient_temperature", "temperature_ambient_k", Dimension::Temperature, 203.15, 343.15),
    number("battery_temperature", "temperature_battery_k", Dimension::Temperature, 203.15, 373.15),
    number("wheel_force", "wheel_force_n", Dimension::Force, -1e6, 1e6),
    number("brake_pressure", "brake_pressure_pa", Dimension::Pressure, -1e5, 3e7),
    number("brake_pedal", "brake_pedal_frac", Dimension::Ratio, 0.0, 1.0),
    number("accelerator_pedal", "accelerator_pedal_frac", Dimension::Ratio, 0.0, 1.0),
    number("engine_speed", "engine_speed_rad_s", Dimension::Rotation, 0.0, 1500.0),
    number("payload", "payload_kg", Dimension::Mass, 0.0, 1e5),
    number("gross_weight", "mass_gross_kg", Dimension::Mass, 500.0, 2e5),
    number("air_pressure", "air_pressure_pa", Dimension::Pressure, 4e4, 1.1e5),
    number("humidity", "humidity_frac", Dimension::Ratio, 0.0, 1.0),
    number("wind_speed", "wind_speed_m_s", Dimension::Speed, 0.0, 60.0),
    number("wind_from", "wind_from_deg", Dimension::Angle, -360.0, 360.0),
    number("heading", "heading_deg", Dimension::Angle, -360.0, 360.0),
    number("battery_thermal_power", "battery_thermal_power_w", Dimension::Power, 0.0, 1e5),
    number("refrigeration_power", "refrigeration_power_w", Dimension::Power, 0.0, 1e5),
    number("gps_speed", "speed_gps_m_s", Dimension::Speed, 0.0, 90.0),
    flag("plugged_in", "plugged_in"),
    flag("overhead_line", "overhead_line"),
    text("regen_level", "regen_level"),
    text("driver", "driver_id"),
    text("route", "route_id"),
];

/// How many of [`SIGNALS`] are numbers; they come first.
pub const NUMBERS: usize = 29;
/// How many are flags; they come next.
pub const FLAGS: usize = 2;
/// How many are texts; they come last.
pub const TEXTS: usize = 3;

pub const SPEED: usize = 0;
pub const ODOMETER: usize = 1;
pub const LATITUDE: usize = 2;
pub const LONGITUDE: usize = 3;
pub const ALTITUDE: usize = 4;
pub const SOC: usize = 6;
pub const VOLTAGE: usize = 7;
pub const CURRENT: usize = 8;
pub const POWER: usize = 9;
pub const AMBIENT: usize = 12;
pub const BATTERY_TEMPERATURE: usize = 13;
pub const ENGINE: usize = 18;
pub const PAYLOAD: usize = 19;
pub const GROSS_WEIGHT: usize = 20;
pub const AIR_PRESSURE: usize = 21;
pub const HUMIDITY: usize = 22;
pub const WIND_SPEED: usize = 23;
pub const WIND_FROM: usize = 24;
pub const GPS_SPEED: usize = 28;
/// Among the flags.
pub const PLUGGED_IN: usize = 0;
/// Among the texts.
pub const DRIVER: usize = 1;
pub const ROUTE: usize = 2;
/// What a weather service may have said: it holds for an hour, frozen bus or not.
pub const WEATHER: std::ops::Range<usize> = 21..25;

/// Position in [`SIGNALS`] of the signal of this name.
pub fn position(name: &str) -> Option<usize> {
    SIGNALS.iter().position(|signal| signal.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use backwatt_schema::tables::SAMPLES;

    #[test]
    fn runs_and_positions_are_as_said() {
        for (at, signal) in SIGNALS.iter().enumerate() {
            match signal.holds {
                Holds::Number { .. } => assert!(at < NUMBERS),
                Holds::Flag => assert!((NUMBERS..NUMBERS + FLAGS).contains(&at)),
                Holds::Text => assert!(at >= NUMBERS + FLAGS),
            }
            assert!(SAMPLES.column(signal.column).is_some(), "{}", signal.name);
        }
        for (at, name) in [
            (SPEED, "speed"),
            (ODOMETER, "odometer"),
            (LATITUDE, "latitude"),
            (LONGITUDE, "longitude"),
            (ALTITUDE, "altitude"),
            (SOC, "state_of_charge"),
            (VOLTAGE, "pack_voltage"),
            (CURRENT, "pack_current"),
            (POWER, "pack_power"),
            (AMBIENT, "ambient_temperature"),
            (BATTERY_TEMPERATURE, "battery_temperature"),
            (GPS_SPEED, "gps_speed"),
            (NUMBERS + PLUGGED_IN, "plugged_in"),
            (AIR_PRESSURE, "air_pressure"),
            (HUMIDITY, "humidity"),
            (WIND_SPEED, "wind_speed"),
            (WIND_FROM, "wind_from"),
            (NUMBERS + FLAGS + DRIVER, "driver"),
            (NUMBERS + FLAGS + ROUTE, "route"),
            (ENGINE, "engine_speed"),
            (PAYLOAD, "payload"),
            (GROSS_WEIGHT, "gross_weight"),
            (WEATHER.start, "air_pressure"),
            (WEATHER.end, "heading"),
        ] {
            assert_eq!(SIGNALS[at].name, name);
        }
    }
}
