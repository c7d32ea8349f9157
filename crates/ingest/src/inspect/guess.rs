//! What a column seems to be, why, and how sure that is.

use backwatt_schema::unit::{Dimension, Unit};

use super::Look;
use super::column_name::{self, ColumnName};
use super::names::{OVERHEAD, ROUTE, WORDS, Words};
use crate::header::plain_name;
use crate::signal::{Holds, SIGNALS, position};
use crate::value::{is_missing, is_number, number_and_unit, parse_degrees, parse_number};

/// A column taken for a signal.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnGuess {
    pub signal: &'static str,
    /// Spellings of the column over the files.
    pub names: Vec<String>,
    pub unit: String,
    /// A cell counts so many of the unit.
    pub scale: f64,
    /// 0 to 1.
    pub confidence: f64,
    pub reason: String,
    /// All its values are zero where that means "not measured".
    pub never_leaves_zero: bool,
}

/// The best column for each signal.
pub fn columns(look: &Look) -> Vec<ColumnGuess> {
    let names: Vec<ColumnName> = look.names.iter().map(|name| ColumnName::read(name)).collect();
    let all = WORDS.iter().chain([&ROUTE, &OVERHEAD]);
    all.filter_map(|words| best(look, &names, words)).collect()
}

fn best(look: &Look, names: &[ColumnName], words: &'static Words) -> Option<ColumnGuess> {
    let scored = look.names.iter().enumerate().filter_map(|(at, name)| {
        let confidence = likeness(name, &names[at], look.units.get(at).map(String::as_str), words)?;
        let filled = look.rows.iter().filter(|row| !is_missing(&row[at], &[])).count();
        let filled_share = filled as f64 / look.rows.len() as f64;
        Some((at, confidence * (0.5 + 0.5 * filled_share.min(1.0))))
    });
    // The first of equals: the order of the log.
    let (at, confidence) = scored.fold(None, |best: Option<(usize, f64)>, found| match best {
        Some(known) if known.1 >= found.1 => Some(known),
        _ => Some(found),
    })?;
    let holds = SIGNALS[position(words.signal)?].holds;
    let numeric = matches!(holds, Holds::Number { .. });
    let values = if words.unit == "deg" { degrees(look, at) } else { numbers(look, at) };
    let has_values = look.rows.iter().any(|row| !is_missing(&row[at], &[]));
    let degrees_minutes = words.unit == "deg" && has_minutes(look, at);
    if numeric && values.is_empty() && has_values && !degrees_minutes {
        return None;
    }
    let (unit, scale, unit_reason, unit_trust) =
        unit(look, (at, &names[at]), words, holds, degrees_minutes, &values);
    Some(ColumnGuess {
        signal: words.signal,
        names: vec![look.names[at].clone()],
        never_leaves_zero: words.signal == "grade" && values.iter().all(|v| *v == 0.0),
        unit,
        scale,
        confidence: (confidence * unit_trust * 100.0).round() / 100.0,
        reason: format!("named \"{}\"{unit_reason}", look.names[at]),
    })
}

/// How much a name, with the unit that the row of units states, is like a signal's.
fn likeness(name: &str, parts: &ColumnName, unit: Option<&str>, words: &Words) -> Option<f64> {
    let dimension = dimension(words);
    let other = |dimension| {
        unit.is_some_and(|text| Unit::parse(text).is_some() && column_name::spelled(text, dimension).is_none())
    };
    if dimension.is_some_and(|dimension| parts.contradicts(dimension) || other(dimension)) {
        return None;
    }
    let stated = dimension.and_then(|dimension| parts.unit(dimension));
    let has_unit = stated.is_some() || unit.is_some_and(|unit| !unit.is_empty());
    let bodies = [Some(name), stated.as_ref().map(|stated| stated.body.as_str())];
    let mut best: Option<f64> = None;
    for body in bodies.into_iter().flatten() {
        let found = likeness_of_body(body, &parts.words, has_unit, words);
        best = best.into_iter().chain(found).reduce(f64::max);
    }
    best
}

fn likeness_of_body(body: &str, single: &[String], has_unit: bool, words: &Words) -> Option<f64> {
    // No wind blows in a Geschwindigkeit.
    let plain = plain_name(body).replace("geschwindigkeit", "geschw");
    let one_of = |list: &[&str], plain: &str| list.contains(&plain);
    if one_of(words.exact, &plain) {
        return Some(0.95);
    }
    // A nested name may say all in its last part: "gps.lat".
    if body.rsplit_once('.').is_some_and(|(_, last)| one_of(words.exact, &plain_name(last))) {
        return Some(0.9);
    }
    let is_unit = || Unit::parse(&plain).is_some_and(|unit| Some(unit.dimension) == dimension(words));
    if one_of(words.weak, &plain) && (has_unit || is_unit()) {
        return Some(0.5);
    }
    let holds = |part: &&str| {
        if part.len() <= SHORT { single.iter().any(|word| word == part) } else { plain.contains(*part) }
    };
    if words.not.iter().any(|part| plain.contains(part)) {
        return None;
    }
    words.parts.iter().any(holds).then_some(0.7)
}

/// Shorter parts stand by chance in other words: "soc" in "socket".
const SHORT: usize = 4;

fn dimension(words: &Words) -> Option<Dimension> {
    match SIGNALS[position(words.signal)?].holds {
        Holds::Number { dimension, .. } => Some(dimension),
        Holds::Flag | Holds::Text => None,
    }
}

/// Whether a place is written in degrees and minutes: "34 11.288", "34\u{b0}11.288'N".
fn has_minutes(look: &Look, at: usize) -> bool {
    let is_part = |part: &&str| part.starts_with(|c: char| c.is_ascii_digit());
    let parts =
        |cell: &str| cell.split(|c: char| !(c.is_ascii_digit() || ".,".contains(c))).filter(is_part).count();
    let cells =
        || look.rows.iter().map(|row| row[at].trim()).filter(|cell| !is_number(cell, look.decimal_comma));
    cells().any(|cell| parts(cell) == 2)
}

/// Directions, with the letter of a hemisphere or without.
fn degrees(look: &Look, at: usize) -> Vec<f64> {
    let degrees = |row: &Vec<String>| parse_degrees(&row[at], look.decimal_comma);
    look.rows.iter().filter_map(degrees).filter(|(_, parts)| *parts == 1).map(|(value, _)| value).collect()
}

fn numbers(look: &Look, at: usize) -> Vec<f64> {
    let number = |cell: &str| {
        let with_unit = || number_and_unit(cell, look.decimal_comma).map(|(number, _)| number);
        parse_number(cell, look.decimal_comma).or_else(with_unit)
    };
    look.rows.iter().filter_map(|row| number(row[at].trim())).collect()
}

/// Unit and scale, why, and how sure that is.
fn unit(
    look: &Look,
    (at, name): (usize, &ColumnName),
    words: &Words,
    holds: Holds,
    degrees_minutes: bool,
    values: &[f64],
) -> (String, f64, String, f64) {
    let Holds::Number { dimension, .. } = holds else { return (String::new(), 1.0, String::new(), 1.0) };
    if degrees_minutes {
        return ("deg min".to_owned(), 1.0, "; degrees and minutes apart".to_owned(), 0.95);
    }
    if let Some(stated) = name.unit(dimension) {
        let counts = if stated.scale == 1.0 { String::new() } else { format!("{} ", stated.scale) };
        let why = format!("; unit {counts}{} in its name", stated.unit);
        return (stated.unit.to_owned(), stated.scale, why, 1.0);
    }
    if let Some((text, _)) = look.units.get(at).and_then(|text| column_name::spelled(text, dimension)) {
        return (text.to_owned(), 1.0, format!("; unit {text} in the units row"), 1.0);
    }
    let behind = look.rows.iter().find_map(|row| number_and_unit(row[at].trim(), look.decimal_comma));
    if let Some((text, _)) = behind.and_then(|(_, text)| column_name::spelled(text, dimension)) {
        return (text.to_owned(), 1.0, format!("; unit {text} behind its values"), 1.0);
    }
    let span = values.iter().fold((f64::MAX, f64::MIN), |s, v| (s.0.min(*v), s.1.max(*v)));
    // No direction is beyond two turns; receivers count ten-millionths of a degree.
    if words.unit == "deg" && span.0.abs().max(span.1.abs()) > 720.0 {
        let why = "; whole numbers: ten-millionths of a degree, unless 2^31 of them are half a turn: check it";
        return ("deg".to_owned(), 1e-7, why.to_owned(), 0.4);
    }
    let (guess, why) = by_values(words, span);
    (guess.to_owned(), 1.0, format!("; unit not stated, {why}: check it"), 0.5)
}

fn by_values(words: &Words, (least, most): (f64, f64)) -> (&'static str, &'static str) {
    match words.signal {
        "latitude" | "longitude" if most.abs() <= 3.2 && least.abs() <= 3.2 && most != 0.0 => {
            ("rad", "within +-pi")
        }
        "heading" | "wind_from" if most <= 6.3 && least >= -3.2 && most > 0.0 => ("rad", "within one turn"),
        "humidity" if most <= 1.0 => ("1", "values up to 1"),
        "air_pressure" if most > 2000.0 => ("Pa", "values above 2000"),
        "air_pressure" if most < 200.0 => ("kPa", "values below 200"),
        "ambient_temperature" if most > 200.0 => ("K", "values above 200"),
        // The hottest air on record had 56.7 degC (WMO archive of weather extremes, 1913).
        "ambient_temperature" if least > 50.0 => ("degF", "all values above 50"),
        "state_of_charge" if most > 1000.0 => ("1e-4 %", "values above 1000"),
        "brake_pedal" | "accelerator_pedal" if most <= 1.0 => ("1", "values up to 1"),
        // A truck that draws power needs kilowatts: a thousand of them is no truck, a thousand watts no driving.
        "pack_power" if least.abs().max(most.abs()) < 1000.0 => ("kW", "values below 1000"),
        "state_of_charge" if most <= 1.0 => ("1", "values up to 1"),
        "speed" if look_like_m_s(most) => ("m/s", "values below 30"),
        _ => (words.unit, "the usual one"),
    }
}

fn look_like_m_s(most: f64) -> bool {
    most > 0.0 && most < 30.0
}

/// Names of a column that says which vehicle a row is of.
const VEHICLE: [&str; 22] = [
    "vehid",
    "vehicleid",
    "vehicle",
    "vehiclename",
    "vehicleno",
    "vehiclenumber",
    "vehicleregistration",
    "truckid",
    "truck",
    "truckname",
    "truckno",
    "trucknumber",
    "unitid",
    "unitno",
    "unitnumber",
    "vin",
    "assetid",
    "asset",
    "licenseplate",
    "fahrzeug",
    "fahrzeugid",
    "kennzeichen",
];

pub fn vehicle(look: &Look) -> Option<String> {
    look.names.iter().find(|name| VEHICLE.contains(&plain_name(name).as_str())).cloned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_of_weather_by_their_values() {
        let words = |signal| WORDS.iter().find(|words| words.signal == signal).expect("a signal of the list");
        let unit = |signal, span| by_values(words(signal), span).0;
        assert_eq!(
            [(880.0, 1013.0), (88.0, 101.5), (88e3, 101e3)].map(|s| unit("air_pressure", s)),
            ["hPa", "kPa", "Pa"]
        );
        assert_eq!([(30.0, 95.0), (0.3, 0.95)].map(|span| unit("humidity", span)), ["%", "1"]);
        assert_eq!(
            [(-8.0, 34.0), (70.7, 80.6), (263.0, 301.0)].map(|span| unit("ambient_temperature", span)),
            ["degC", "degF", "K"]
        );
        assert_eq!([(3.0, 359.0), (0.1, 6.2)].map(|span| unit("heading", span)), ["deg", "rad"]);
    }

    #[test]
    fn a_wind_is_no_vehicle_speed() {
        let speed = WORDS.iter().find(|words| words.signal == "speed").expect("speed");
        let like = |name: &str, unit| likeness(name, &ColumnName::read(name), unit, speed);
        assert_eq!(like("Wind speed [m/s]", None), None);
        assert_eq!(like("Geschwindigkeit [km/h]", None), Some(0.95));
        assert_eq!(like("Motor speed", None), None);
        assert_eq!(like("speed", Some("rpm")), None, "the row of units speaks against it");
    }

    fn look(names: &[&str], cells: &[&str]) -> Look {
        Look {
            shown: "log.csv".to_owned(),
            format: crate::formats::Format::Delimited,
            dbc: None,
            description: String::new(),
            decimal_comma: false,
            long: None,
            names: names.iter().map(|name| (*name).to_owned()).collect(),
            units: Vec::new(),
            rows: vec![cells.iter().map(|cell| (*cell).to_owned()).collect()],
        }
    }

    fn drafted(names: &[&str], cells: &[&str]) -> Vec<(&'static str, String, String)> {
        let found = columns(&look(names, cells)).into_iter();
        found.map(|column| (column.signal, column.names[0].clone(), column.unit)).collect()
    }

    #[test]
    fn names_with_their_unit_are_known() {
        let names = [
            "speed_km_h",
            "soc_pct",
            "power_kw",
            "odo_mi",
            "hv_voltage_V",
            "hv_current_A",
            "temp_degC",
            "alt_ft",
        ];
        let found = drafted(&names, &["30", "80", "20", "100", "360", "55", "20", "900"]);
        let wanted = [
            ("speed", "speed_km_h", "km/h"),
            ("odometer", "odo_mi", "mi"),
            ("altitude", "alt_ft", "ft"),
            ("state_of_charge", "soc_pct", "%"),
            ("pack_voltage", "hv_voltage_V", "V"),
            ("pack_current", "hv_current_A", "A"),
            ("pack_power", "power_kw", "kW"),
            ("ambient_temperature", "temp_degC", "degC"),
        ];
        assert_eq!(found, wanted.map(|(signal, name, unit)| (signal, name.to_owned(), unit.to_owned())));
    }

    #[test]
    fn a_name_that_may_be_another_power_is_less_sure() {
        let of = |name| {
            columns(&look(&["speed", name], &["30", "20"])).into_iter().find(|c| c.signal == "pack_power")
        };
        assert!(of("Battery Power kW").is_some_and(|column| column.confidence > 0.9));
        assert!(of("power_kw").is_some_and(|column| column.confidence <= 0.5));
        assert_eq!(of("power"), None, "without a unit it may be anything");
        assert_eq!(of("socket_pct"), None);
    }

    #[test]
    fn a_unit_may_stand_behind_the_values() {
        let found = drafted(&["speed", "soc"], &["36 mph", "87%"]);
        assert_eq!(found[0], ("speed", "speed".to_owned(), "mph".to_owned()));
        assert_eq!(found[1], ("state_of_charge", "soc".to_owned(), "%".to_owned()));
    }

    #[test]
    fn whole_numbers_of_a_receiver_are_scaled() {
        let found = columns(&look(&["speed", "lat"], &["30", "473765000"]));
        assert_eq!((found[1].unit.as_str(), found[1].scale), ("deg", 1e-7));
    }

    #[test]
    fn degrees_and_minutes_by_their_signs() {
        for cell in ["34 11.28809", "34\u{b0}11.28809'N", "N 34 11.28809"] {
            let found = drafted(&["speed", "lat"], &["30", cell]);
            assert_eq!(found[1], ("latitude", "lat".to_owned(), "deg min".to_owned()), "{cell}");
        }
        assert_eq!(drafted(&["speed", "lat"], &["30", "34.1881"])[1].2, "deg");
    }
}
