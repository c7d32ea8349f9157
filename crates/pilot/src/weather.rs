//! `[weather]`: the air of a whole pilot, taken where no log says otherwise.

use backwatt_physics::{Weather, Wind};
use backwatt_schema::unit::Dimension;

use crate::document::Section;

pub fn read(root: &Section<'_, '_>) -> Weather {
    let table = root.section("weather");
    let Some(table) = table else {
        if !root.has("weather") {
            let why = "the standard atmosphere at the logged altitude and temperature, dry and still";
            root.default("weather", "unknown", why);
        }
        return Weather::default();
    };
    let bounded = |key: &str, dimension: Dimension, least: f64, most: f64, hint: &str| {
        let value = table.quantity(key, dimension)?.value;
        if !(least..=most).contains(&value) {
            let message = format!("\"{}\" is no weather on a road", table.key_path(key));
            table.fault("pilot-out-of-range", key, message, hint.to_owned());
        }
        Some(value)
    };
    let pressure_hint = "the pressure at the place, not reduced to sea level: \"962 hPa\"";
    let pressure_pa = bounded("air_pressure", Dimension::Pressure, 4e4, 1.1e5, pressure_hint);
    let humidity_frac = bounded("humidity", Dimension::Ratio, 0.0, 1.0, "\"60 %\"");
    let speed = bounded("wind_speed", Dimension::Speed, 0.0, 60.0, "near the vehicle: \"3 m/s\"");
    let from = bounded("wind_from", Dimension::Angle, -7.0, 7.0, "where it comes from: \"270 deg\" is west");
    for (key, other) in [("wind_speed", from), ("wind_from", speed)] {
        if other.is_some() && !table.has(key) {
            let message = "wind needs both its speed and where it comes from".to_owned();
            let hint = "wind_speed = \"3 m/s\" and wind_from = \"270 deg\", or neither".to_owned();
            table.fault("pilot-wind-incomplete", key, message, hint);
        }
    }
    table.finish();
    let wind = speed.zip(from).map(|(speed_m_s, from)| Wind { speed_m_s, from_deg: from.to_degrees() });
    Weather { pressure_pa, humidity_frac, wind }
}
