//! What the name of a column says beside its signal: the unit behind it, in a bracket, or after `_`, a blank or a capital.

use backwatt_schema::unit::{Dimension, Unit, spellings};

use crate::header::plain_name;

/// A name, taken apart once.
pub struct ColumnName {
    /// Its words in small letters: "packV_max" is "pack", "v", "max".
    pub words: Vec<String>,
    /// Units that it may end in, the likeliest first: those of a bracket, then the longest.
    stated: Vec<(Unit, f64, String)>,
    /// The unit that it names beyond doubt.
    certain: Option<Unit>,
}

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

impl ColumnName {
    pub fn read(name: &str) -> Self {
        let words = words(name);
        let mut stated = Vec::new();
        let bracketed = bracket(name).and_then(|(body, text)| Some((body, counted(text)?)));
        if let Some((body, (text, scale))) = bracketed {
            stated.extend(units_of(text).map(|unit| (unit, scale, body.to_owned())));
        }
        for count in (1..=WORDS_MOST.min(words.len().saturating_sub(1))).rev() {
            let (start, _) = words[words.len() - count];
            let body = name[..start].trim_end_matches(is_separator);
            let last: Vec<&str> = words[words.len() - count..].iter().map(|(_, word)| *word).collect();
            let units = together(&last).into_iter().flat_map(|text| units_of(&text).collect::<Vec<_>>());
            stated.extend(units.map(|unit| (unit, 1.0, body.to_owned())));
        }
        // A lone letter at the end may be anything: "truck A".
        let last = || words.last().filter(|(_, word)| word.chars().count() > 1 && !is_word_first(word));
        let certain = match bracketed {
            Some((_, (text, _))) => Unit::parse(text),
            None => last().and_then(|(_, word)| Unit::parse(word)),
        };
        let words = words.into_iter().map(|(_, word)| plain_name(word)).collect();
        Self { words, stated, certain }
    }

    /// The unit of this dimension that the name ends in.
    pub fn unit(&self, dimension: Dimension) -> Option<Stated> {
        let (unit, scale, body) = self.stated.iter().find(|(unit, ..)| unit.dimension == dimension)?;
        Some(Stated { unit: usual(unit)?, scale: *scale, body: body.clone() })
    }

    /// Whether the name states a unit, and none of this dimension: a "speed [rpm]" is no road speed.
    pub fn contradicts(&self, dimension: Dimension) -> bool {
        let none = !self.stated.iter().any(|(unit, ..)| unit.dimension == dimension);
        none && self.certain.is_some_and(|unit| unit.dimension != dimension)
    }
}

/// Body and content of the first bracket.
fn bracket(name: &str) -> Option<(&str, &str)> {
    let (body, rest) = name.split_once(['[', '(', '{'])?;
    let text = rest.split([']', ')', '}']).next().unwrap_or(rest).trim();
    (!text.is_empty() && !body.trim().is_empty()).then_some((body.trim(), text))
}

/// "100 W" counts hundreds of watts; a unit alone counts ones.
fn counted(text: &str) -> Option<(&str, f64)> {
    let rest = text.trim_start_matches(|c: char| c.is_ascii_digit() || c == '.');
    let number = &text[..text.len() - rest.len()];
    let scale = if number.is_empty() { 1.0 } else { number.parse().ok().filter(|scale: &f64| *scale > 0.0)? };
    Some((rest.trim(), scale))
}

/// What words may spell together: "km", "h" is "km/h", as is "km", "per", "h".
fn together(words: &[&str]) -> Vec<String> {
    match words {
        [one] if is_word_first(one) => Vec::new(),
        [one] => vec![(*one).to_owned()],
        [over, per, under] if per.eq_ignore_ascii_case("per") => vec![format!("{over}/{under}")],
        _ => ["/", "", ".", " "].iter().map(|between| words.join(between)).collect(),
    }
}

/// Inches, days and numbers of things are words first.
fn is_word_first(word: &str) -> bool {
    matches!(word.to_lowercase().as_str(), "in" | "d" | "day" | "days" | "1" | "ratio")
}

/// A temperature is written shorter than its unit is: "C" is a charge as well.
fn units_of(text: &str) -> impl Iterator<Item = Unit> {
    let short = match text {
        "C" | "c" => Unit::parse("degC"),
        "F" | "f" => Unit::parse("degF"),
        _ => None,
    };
    Unit::parse(text).into_iter().chain(short)
}

/// A unit of this dimension, as it is spelled first in the table: "KMH" is "km/h".
pub fn spelled(text: &str, dimension: Dimension) -> Option<(&'static str, Unit)> {
    let unit = units_of(text).find(|unit| unit.dimension == dimension)?;
    Some((usual(&unit)?, unit))
}

fn usual(unit: &Unit) -> Option<&'static str> {
    spellings(unit.dimension).into_iter().find(|usual| Unit::parse(usual) == Some(*unit))
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
        ColumnName::read(name).unit(dimension).map(|stated| (stated.body, stated.unit, stated.scale))
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
        let contradicts = |name: &str, dimension| ColumnName::read(name).contradicts(dimension);
        assert!(contradicts("Engine speed [rpm]", Speed) && contradicts("speed_rpm", Speed));
        assert!(contradicts("SOC (kWh)", Ratio) && contradicts("load_pct", Mass));
        assert!(!contradicts("Aux Pwr(100w)", Power) && !contradicts("speed (logger 7)", Speed));
        assert!(!contradicts("driver A", Ratio) && !contradicts("speed", Speed));
    }
}
