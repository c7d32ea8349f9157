//! `[weather]`: the air of a whole pilot, taken where no log says otherwise.

use backwatt_physics::{Weather, Wind};
use backwatt_schema::unit::Dimension;

use crate::document::Section;
use crate::weather_table;

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
    table.leave(&weather_table::KEYS);
    table.finish();
    let wind = speed.zip(from).map(|(speed_m_s, from)| Wind { speed_m_s, from_deg: from.to_degrees() });
    Weather { pressure_pa, humidity_frac, wind }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use crate::{Pilot, parse};
    use backwatt_schema::Problem;

    /// A pilot with these lines on top and in its vehicle type. Its source needs a file to exist, and reads none.
    fn pilot(top: &str, vehicle_type: &str) -> Result<Pilot, Vec<Problem>> {
        let text = format!(
            "{top}\n[pilot]\nname = \"p\"\n[vehicle_types.truck]\nmass = \"6600 kg\"\n{vehicle_type}\n\
             [[sources]]\nfiles = \"Cargo.toml\"\nvehicle = \"T1\"\n\
             time = {{ column = \"Time\", kind = \"iso\" }}\n\
             [sources.columns]\nspeed = {{ column = \"Speed\", unit = \"km/h\" }}\n\
             heading = {{ column = \"Course\", unit = \"deg\" }}\n"
        );
        parse(&text, "pilot.toml", Path::new(env!("CARGO_MANIFEST_DIR")))
    }

    fn codes(faults: Result<Pilot, Vec<Problem>>) -> Vec<&'static str> {
        faults.map_or_else(|problems| problems.iter().map(|p| p.code).collect(), |_| Vec::new())
    }

    #[test]
    fn nothing_stated_is_nothing_known() {
        let plain = pilot("", "").unwrap_or_else(|p| panic!("{p:#?}"));
        assert_eq!(plain.replay.weather, Default::default());
        let truck = &plain.vehicle_types["truck"].sheet.nominal;
        assert!(truck.climate.is_none() && truck.rolling_temperature.is_none());
    }

    #[test]
    fn stated_weather_and_loads_arrive_in_si() {
        let weather = "[weather]\nair_pressure = \"962 hPa\"\nhumidity = \"60 %\"\nwind_speed = \"18 km/h\"\n\
                       wind_from = \"270 deg\"";
        let loads = "[vehicle_types.truck.cab_climate]\nheating_per_k = \"120 W\"\n\
                     [vehicle_types.truck.rolling_temperature]\nper_k = 0.01";
        let found = pilot(weather, loads).unwrap_or_else(|p| panic!("{p:#?}"));
        let air = found.replay.weather;
        let wind = air.wind.unwrap_or_else(|| panic!("a wind is stated"));
        assert_eq!((air.pressure_pa, air.humidity_frac), (Some(96_200.0), Some(0.6)));
        assert!((wind.speed_m_s - 5.0).abs() < 1e-12 && (wind.from_deg - 270.0).abs() < 1e-9);
        let truck = &found.vehicle_types["truck"].sheet.nominal;
        assert_eq!(truck.climate.map(|c| (c.heating_w_per_k, c.cooling_w_per_k)), Some((120.0, 0.0)));
        assert_eq!(truck.rolling_temperature.map(|r| (r.per_k, r.reference_k)), Some((0.01, 298.15)));
    }

    #[test]
    fn half_a_wind_and_no_weather_are_refused() {
        assert_eq!(codes(pilot("[weather]\nwind_speed = \"3 m/s\"", "")), ["pilot-wind-incomplete"]);
        assert_eq!(codes(pilot("[weather]\nair_pressure = \"3 kPa\"", "")), ["pilot-out-of-range"]);
        let crossed = "[vehicle_types.truck.cab_climate]\ncooling_above = \"10 degC\"";
        assert_eq!(codes(pilot("", crossed)), ["pilot-out-of-range"]);
    }
}
