//! What the name of a column says beside its signal: the unit behind it, in a bracket, or after `_`, a blank or a capital.

use backwatt_schema::unit::{Dimension, Unit, spellings};

use crate::header::plain_name;

/// The unit of a name.
#[derive(Debug, Clone, PartialEq)]
pub struct Stated {
    pub unit: &'static str,
    /// A cell counts so many of the unit: 100 in "power (100 W)".
    pub scale: f64,
    /// The name without its unit.
    pub body: String,
}

/// More words than "km per h" are no unit.
const WORDS_MOST: usize = 3;

/// The unit of this dimension that a name ends in.
pub fn unit(name: &str, dimension: Dimension) -> Option<Stated> {
    bracketed(name, dimension).or_else(|| joined(name, dimension))
}

/// Whether a name states a unit, and none of this dimension: a "speed [rpm]" is no road speed.
pub fn contradicts(name: &str, dimension: Dimension) -> bool {
    if unit(name, dimension).is_some() {
        return false;
    }
    let stated = bracket(name).and_then(|(_, text)| counted(text)).map(|(unit, _)| unit);
    // A lone letter at the end may be anything: "truck A".
    let last = || words(name).last().filter(|(_, word)| word.chars().count() > 1).map(|(_, word)| *word);
    let spelled = stated.or_else(|| last().and_then(alias).and_then(|text| Unit::parse(&text)));
    spelled.is_some_and(|unit| unit.dimension != dimension)
}

/// The words of a name in small letters: "packV_max" is "pack", "v", "max".
pub fn plain_words(name: &str) -> Vec<String> {
    words(name).into_iter().map(|(_, word)| plain_name(word)).collect()
}

fn bracketed(name: &str, dimension: Dimension) -> Option<Stated> {
    let (body, text) = bracket(name)?;
    if let Some((unit, _)) = spelled(text, dimension) {
        return Some(Stated { unit, scale: 1.0, body: body.to_owned() });
    }
    let (_, scale) = counted(text).filter(|(unit, _)| unit.dimension == dimension)?;
    let (unit, _) = spelled(text.trim_start_matches(is_of_number).trim(), dimension)?;
    Some(Stated { unit, scale, body: body.to_owned() })
}

/// Body and content of the first bracket.
fn bracket(name: &str) -> Option<(&str, &str)> {
    let (body, rest) = name.split_once(['[', '(', '{'])?;
    let text = rest.split([']', ')', '}']).next().unwrap_or(rest).trim();
    (!text.is_empty() && !body.trim().is_empty()).then_some((body.trim(), text))
}

/// "100 W" counts hundreds of watts; a unit alone counts ones.
fn counted(text: &str) -> Option<(Unit, f64)> {
    let rest = text.trim_start_matches(is_of_number);
    let number = &text[..text.len() - rest.len()];
    let scale = if number.is_empty() { 1.0 } else { number.parse().ok().filter(|scale: &f64| *scale > 0.0)? };
    Some((Unit::parse(rest)?, scale))
}

fn is_of_number(c: char) -> bool {
    c.is_ascii_digit() || c == '.'
}

/// "speed_km_h", "Speed kmh", "speedKmh": the last words, the longest unit first.
fn joined(name: &str, dimension: Dimension) -> Option<Stated> {
    let words = words(name);
    (1..=WORDS_MOST.min(words.len().saturating_sub(1))).rev().find_map(|count| {
        let (start, _) = words[words.len() - count];
        let last: Vec<&str> = words[words.len() - count..].iter().map(|(_, word)| *word).collect();
        let body = name[..start].trim_end_matches(is_separator);
        let unit = together(&last).iter().find_map(|text| spelled(text, dimension))?.0;
        Some(Stated { unit, scale: 1.0, body: body.to_owned() })
    })
}

/// What words may spell together: "km", "h" is "km/h", as is "km", "per", "h".
fn together(words: &[&str]) -> Vec<String> {
    match words {
        [one] => alias(one).into_iter().collect(),
        [over, per, under] if per.eq_ignore_ascii_case("per") => vec![format!("{over}/{under}")],
        _ => ["/", "", ".", " "].iter().map(|between| words.join(between)).collect(),
    }
}

/// Short forms that are units in names only.
fn alias(word: &str) -> Option<String> {
    Some(match word.to_lowercase().as_str() {
        "f" => "degF".to_owned(),
        "c" => "degC".to_owned(),
        // Inches, days and numbers of things are words first.
        "in" | "d" | "day" | "days" | "1" | "ratio" => return None,
        _ => word.to_owned(),
    })
}

/// A unit of this dimension, as it is spelled first in the table: "KMH" is "km/h".
pub fn spelled(text: &str, dimension: Dimension) -> Option<(&'static str, Unit)> {
    let text = match text {
        "C" | "c" if dimension == Dimension::Temperature => "degC",
        "F" | "f" if dimension == Dimension::Temperature => "degF",
        other => other,
    };
    let unit = Unit::parse(text).filter(|unit| unit.dimension == dimension)?;
    let usual = spellings(dimension).into_iter().find(|usual| Unit::parse(usual) == Some(unit));
    Some((usual?, unit))
}

fn is_separator(c: char) -> bool {
    c.is_whitespace() || matches!(c, '_' | '-' | '.' | '/' | ',' | ':' | ';' | '|')
}

/// The words of a name, each with the place it starts at: parted by separators, by a capital after a small letter, and before a sign
/// that belongs to a unit.
fn words(name: &str) -> Vec<(usize, &str)> {
    let mut words = Vec::new();
    let mut start = None;
    let mut before = ' ';
    for (at, c) in name.char_indices() {
        let new = (before.is_lowercase() && c.is_uppercase()) || (matches!(c, '%' | '°' | '‰') && before != c);
        if let Some(from) = start.filter(|_| is_separator(c) || new) {
            words.push((from, &name[from..at]));
            start = None;
        }
        if start.is_none() && !is_separator(c) {
            start = Some(at);
        }
        before = c;
    }
    words.extend(start.map(|from| (from, &name[from..])));
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stated(name: &str, dimension: Dimension) -> Option<(String, &'static str, f64)> {
        unit(name, dimension).map(|stated| (stated.body, stated.unit, stated.scale))
    }

    #[test]
    fn units_in_names() {
        use Dimension::*;
        for (name, dimension, body, unit) in [
            ("speed_km_h", Speed, "speed", "km/h"),
            ("Speed (km/h)", Speed, "Speed", "km/h"),
            ("Vehicle Speed km/h", Speed, "Vehicle Speed", "km/h"),
            ("speedKmh", Speed, "speed", "km/h"),
            ("speedMps", Speed, "speed", "m/s"),
            ("speed_m_per_s", Speed, "speed", "m/s"),
            ("v_m_s", Speed, "v", "m/s"),
            ("soc_pct", Ratio, "soc", "%"),
            ("SOC %", Ratio, "SOC", "%"),
            ("SOC%", Ratio, "SOC", "%"),
            ("temp_degC", Temperature, "temp", "degC"),
            ("Ambient_F", Temperature, "Ambient", "degF"),
            ("Outside Temp °C", Temperature, "Outside Temp", "degC"),
            ("power_kw", Power, "power", "kW"),
            ("odo_mi", Length, "odo", "mi"),
            ("hv_voltage_V", Voltage, "hv_voltage", "V"),
            ("batteryVoltageV", Voltage, "batteryVoltage", "V"),
            ("HV Battery Current[A]", Current, "HV Battery Current", "A"),
            ("lat_deg", Angle, "lat", "deg"),
            ("SoC [%)", Ratio, "SoC", "%"),
            ("veh.spd.kph", Speed, "veh.spd", "km/h"),
        ] {
            assert_eq!(stated(name, dimension), Some((body.to_owned(), unit, 1.0)), "{name}");
        }
        assert_eq!(stated("Aux Pwr(100w)", Power), Some(("Aux Pwr".to_owned(), "W", 100.0)));
        for (name, dimension) in
            [("speed", Speed), ("km/h", Speed), ("speed_rpm", Speed), ("plugged_in", Length)]
        {
            assert_eq!(stated(name, dimension), None, "{name}");
        }
    }

    #[test]
    fn a_unit_of_something_else_speaks_against_a_signal() {
        use Dimension::*;
        assert!(contradicts("Engine speed [rpm]", Speed) && contradicts("speed_rpm", Speed));
        assert!(contradicts("SOC (kWh)", Ratio) && contradicts("load_pct", Mass));
        assert!(!contradicts("Aux Pwr(100w)", Power) && !contradicts("speed (logger 7)", Speed));
        assert!(!contradicts("driver A", Ratio) && !contradicts("speed", Speed));
    }
}
