//! What a column seems to be, why, and how sure that is.

use backwatt_schema::unit::{Dimension, Unit};
use jiff::Timestamp;
use jiff::fmt::strtime;

use super::Look;
use super::names::{OVERHEAD, ROUTE, WORDS, Words};
use crate::header::plain_name;
use crate::signal::{Holds, SIGNALS, position};
use crate::value::{is_missing, parse_number};

/// A column taken for a signal.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnGuess {
    pub signal: &'static str,
    /// Spellings of the column over the files.
    pub names: Vec<String>,
    pub unit: String,
    /// 0 to 1.
    pub confidence: f64,
    pub reason: String,
    /// All its values are zero where that means "not measured".
    pub never_leaves_zero: bool,
}

/// The columns taken for the time.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeGuess {
    pub columns: Vec<String>,
    pub kind: &'static str,
    /// Unit or format, as the kind needs.
    pub detail: Option<String>,
}

const FORMATS: [&str; 9] = [
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%d %H:%M:%S%.f",
    "%Y/%m/%d %H:%M:%S",
    "%d.%m.%Y %H:%M:%S",
    "%m/%d/%Y %H:%M:%S",
    "%d/%m/%Y %H:%M:%S",
    "%d-%m-%Y %H:%M:%S",
    "%Y-%m-%dT%H:%M:%S",
    "%m/%d/%Y %I:%M:%S %p",
];

/// The best column for each signal.
pub fn columns(look: &Look) -> Vec<ColumnGuess> {
    let all = WORDS.iter().chain([&ROUTE, &OVERHEAD]);
    all.filter_map(|words| best(look, words)).collect()
}

fn best(look: &Look, words: &'static Words) -> Option<ColumnGuess> {
    let scored = look.names.iter().enumerate().filter_map(|(at, name)| {
        let confidence = likeness(name, words)?;
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
    let values = numbers(look, at);
    let has_values = look.rows.iter().any(|row| !is_missing(&row[at], &[]));
    let degrees_minutes = words.unit == "deg" && look.rows.iter().any(|row| row[at].trim().contains(' '));
    if numeric && values.is_empty() && has_values && !degrees_minutes {
        return None;
    }
    let (unit, unit_reason, unit_trust) = unit(look, at, words, holds, degrees_minutes, &values);
    Some(ColumnGuess {
        signal: words.signal,
        names: vec![look.names[at].clone()],
        never_leaves_zero: words.signal == "grade" && values.iter().all(|v| *v == 0.0),
        unit,
        confidence: (confidence * unit_trust * 100.0).round() / 100.0,
        reason: format!("named \"{}\"{unit_reason}", look.names[at]),
    })
}

fn likeness(name: &str, words: &Words) -> Option<f64> {
    let plain = plain_name(name);
    if words.exact.contains(&plain.as_str()) {
        return Some(0.95);
    }
    // A nested name may say all in its last part: "gps.lat".
    if name.rsplit_once('.').is_some_and(|(_, last)| words.exact.contains(&plain_name(last).as_str())) {
        return Some(0.9);
    }
    if words.not.iter().any(|part| plain.contains(part)) {
        return None;
    }
    words.parts.iter().any(|part| plain.contains(part)).then_some(0.7)
}

fn numbers(look: &Look, at: usize) -> Vec<f64> {
    look.rows.iter().filter_map(|row| parse_number(row[at].trim(), look.decimal_comma)).collect()
}

fn unit(
    look: &Look,
    at: usize,
    words: &Words,
    holds: Holds,
    degrees_minutes: bool,
    values: &[f64],
) -> (String, String, f64) {
    let Holds::Number { dimension, .. } = holds else { return (String::new(), String::new(), 1.0) };
    if degrees_minutes {
        return ("deg min".to_owned(), "; degrees and minutes apart".to_owned(), 0.95);
    }
    let fits = |text: &str| Unit::parse(text).is_some_and(|unit| unit.dimension == dimension);
    let bracket = look.names[at].split_once(['[', '(']).map(|(_, rest)| rest.trim_end_matches([']', ')', ' ']));
    if let Some(text) = bracket.filter(|text| fits(text)) {
        return (text.to_owned(), format!("; unit {text} in its name"), 1.0);
    }
    if let Some(text) = look.units.get(at).filter(|text| fits(text)) {
        return (text.clone(), format!("; unit {text} in the units row"), 1.0);
    }
    let suffix = look.names[at].rsplit(['_', ' ']).next().unwrap_or("").to_lowercase();
    let spelled = match suffix.as_str() {
        "pct" => "%",
        "f" if dimension == Dimension::Temperature => "degF",
        "c" if dimension == Dimension::Temperature => "degC",
        other => other,
    };
    if fits(spelled) {
        return (spelled.to_owned(), format!("; unit {spelled} in its name"), 0.95);
    }
    let span = values.iter().fold((f64::MAX, f64::MIN), |s, v| (s.0.min(*v), s.1.max(*v)));
    let (guess, why) = by_values(words, span);
    (guess.to_owned(), format!("; unit not stated, {why}: check it"), 0.5)
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
        "state_of_charge" if most <= 1.0 => ("1", "values up to 1"),
        "speed" if look_like_m_s(most) => ("m/s", "values below 30"),
        _ => (words.unit, "the usual one"),
    }
}

fn look_like_m_s(most: f64) -> bool {
    most > 0.0 && most < 30.0
}

pub fn vehicle(look: &Look) -> Option<String> {
    let known = ["vehid", "vehicleid", "vehicle", "truckid", "truck", "unitid"];
    look.names.iter().find(|name| known.contains(&plain_name(name).as_str())).cloned()
}

/// The best clock of a file: a count since 1970, then RFC 3339, local times, and last a clock of its own.
pub fn time(look: &Look) -> Option<TimeGuess> {
    let candidates: Vec<usize> = (0..look.names.len())
        .filter(|at| {
            let plain = plain_name(&look.names[*at]);
            plain.contains("time")
                || plain.contains("epoch")
                || matches!(plain.as_str(), "date" | "datum" | "uhrzeit")
        })
        .collect();
    let found: Vec<TimeGuess> = candidates
        .iter()
        .filter_map(|at| one_column(look, *at))
        .chain(two_columns(look, &candidates))
        .collect();
    let order = ["epoch", "iso", "local", "relative"];
    order.iter().find_map(|kind| found.iter().find(|guess| guess.kind == *kind).cloned())
}

/// The time of a satellite receiver beside the clock that was chosen, by its name and what stands in it.
pub fn gps_time(look: &Look, clock: &TimeGuess) -> Option<TimeGuess> {
    if clock.kind == "relative" {
        return None;
    }
    let named = |plain: &str, words: &[&str]| words.iter().any(|word| plain.contains(word));
    let found = look.names.iter().enumerate().filter(|(_, name)| !clock.columns.contains(name));
    let guesses = found.filter_map(|(at, name)| {
        let plain = plain_name(name);
        let receiver = named(&plain, &["gps", "gnss", "utc"]);
        // A large number may be anything else that a receiver has.
        let time = named(&plain, &["time", "utc", "epoch", "date", "clock"]);
        one_column(look, at).filter(|guess| receiver && (time || guess.kind != "epoch"))
    });
    guesses.into_iter().find(|guess| guess.kind != "relative")
}

fn one_column(look: &Look, at: usize) -> Option<TimeGuess> {
    let text = look.rows.iter().map(|row| row[at].trim()).find(|text| !is_missing(text, &[]))?;
    let columns = vec![look.names[at].clone()];
    if let Some(number) = parse_number(text, look.decimal_comma) {
        let unit = match number {
            n if n > 1e17 => "ns",
            n if n > 1e14 => "us",
            n if n > 1e11 => "ms",
            n if n > 1e9 => "s",
            _ => {
                let shown = look.names[at].to_lowercase();
                let unit = if shown.contains("ms") { "ms" } else { "s" };
                return Some(TimeGuess { columns, kind: "relative", detail: Some(unit.to_owned()) });
            }
        };
        return Some(TimeGuess { columns, kind: "epoch", detail: Some(unit.to_owned()) });
    }
    if text.parse::<Timestamp>().is_ok() {
        return Some(TimeGuess { columns, kind: "iso", detail: None });
    }
    let texts: Vec<String> = look.rows.iter().map(|row| row[at].trim().to_owned()).collect();
    format_of(&texts).map(|format| TimeGuess { columns, kind: "local", detail: Some(format) })
}

fn two_columns(look: &Look, candidates: &[usize]) -> Option<TimeGuess> {
    let named = |words: &[&str]| {
        candidates.iter().copied().find(|at| words.contains(&plain_name(&look.names[*at]).as_str()))
    };
    let (date, time) = (named(&["date", "datum"])?, named(&["time", "uhrzeit"])?);
    let texts: Vec<String> =
        look.rows.iter().map(|row| format!("{} {}", row[date].trim(), row[time].trim())).collect();
    let format = format_of(&texts)?;
    let columns = vec![look.names[date].clone(), look.names[time].clone()];
    Some(TimeGuess { columns, kind: "local", detail: Some(format) })
}

/// The format that reads the most of the texts, if it reads nearly all.
fn format_of(texts: &[String]) -> Option<String> {
    let reads = |format: &str| texts.iter().filter(|text| reads_as(format, text)).count();
    let best = FORMATS.iter().max_by_key(|format| reads(format))?;
    (reads(best) * 10 >= texts.len() * 9 && !texts.is_empty()).then(|| (*best).to_owned())
}

fn reads_as(format: &str, text: &str) -> bool {
    strtime::parse(format, text).is_ok_and(|broken| broken.to_datetime().is_ok())
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
    fn gps_time_is_a_second_clock() {
        let look = |names: &[&str], cells: &[&str]| Look {
            shown: "log.csv".to_owned(),
            format: crate::formats::Format::Delimited,
            description: String::new(),
            decimal_comma: false,
            long: None,
            names: names.iter().map(|name| (*name).to_owned()).collect(),
            units: Vec::new(),
            rows: vec![cells.iter().map(|cell| (*cell).to_owned()).collect()],
        };
        let found = |names: &[&str], cells: &[&str]| {
            let look = look(names, cells);
            let gps = gps_time(&look, &time(&look).expect("a time"))?;
            Some((gps.columns[0].clone(), gps.kind))
        };
        let gps = |name: &str, cell: &str| found(&["time", name], &["1767225600", cell]);
        assert_eq!(gps("gps_utc", "2026-01-01T00:00:03Z"), Some(("gps_utc".to_owned(), "iso")));
        assert_eq!(gps("GNSS time [ms]", "1767225603000"), Some(("GNSS time [ms]".to_owned(), "epoch")));
        assert_eq!(gps("gps_date", "2026-01-01 00:00:03"), Some(("gps_date".to_owned(), "local")));
        assert_eq!(gps("gps_serial", "1767225603000"), None, "no clock");
        assert_eq!(gps("gps_speed", "12.5"), None);
        assert_eq!(gps("server", "2026-01-01T00:00:03Z"), None);
        assert_eq!(
            found(&["time", "gps_utc"], &["12.5", "2026-01-01T00:00:03Z"]),
            None,
            "GPS time is the time itself"
        );
    }

    #[test]
    fn a_wind_is_no_vehicle_speed() {
        let speed = WORDS.iter().find(|words| words.signal == "speed").expect("speed");
        assert_eq!(likeness("Wind speed [m/s]", speed), None);
    }
}
