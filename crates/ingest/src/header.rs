//! A file's header against the mapping: which field fills which signal.

use crate::frame::{Row, mask};
use crate::receipt::Receipt;
use crate::rules::units::{RangeTally, Suspicion};
use crate::settings::{CellUnit, LogFile, Mapping, Source, TimeKind};
use crate::signal::{FLAGS, Holds, NUMBERS, SIGNALS, SPEED, Signal, TEXTS};
use crate::value::{parse_cell, parse_flag};

/// GPS time among the signals that a file lacks.
pub const GPS_TIME: &str = "gps_time";

/// What the fields of one file's rows mean.
#[derive(Debug)]
pub struct Plan {
    pub time: Vec<usize>,
    pub time_plus: Option<usize>,
    /// GPS time, where it is mapped and the file has it.
    pub gps: Option<Vec<usize>>,
    pub vehicle: Option<usize>,
    pub columns: Vec<Column>,
    /// Signals of the mapping that this file lacks.
    pub missing: Vec<&'static str>,
}

/// One mapped field.
#[derive(Debug)]
pub struct Column {
    pub at: usize,
    pub name: String,
    signal: usize,
    mapping: Mapping,
}

/// The last value of a column, for columns that are filled forward.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Carried {
    number: Option<f64>,
    text: Option<String>,
}

impl Plan {
    /// Finds the mapped columns; a file without a time column, or without any mapped signal, cannot be read.
    pub fn find(source: &Source, file: &LogFile, names: &[String]) -> Result<Plan, String> {
        let find = |name: &String| position(names, name);
        let absent = |name: &str| format!("no column \"{name}\"; the file has: {}", shown(names));
        let mut time = Vec::new();
        for name in &source.time.columns {
            time.push(find(name).ok_or_else(|| absent(name))?);
        }
        let time_plus = match &source.time.kind {
            TimeKind::DayNumber { plus: Some((name, _)), .. } => Some(find(name).ok_or_else(|| absent(name))?),
            _ => None,
        };
        let vehicle = match (&file.vehicle, &source.vehicle_column) {
            (None, Some(name)) => Some(find(name).ok_or_else(|| absent(name))?),
            _ => None,
        };
        let mut columns = Vec::new();
        let mut missing = Vec::new();
        for mapping in &source.columns {
            match mapping.names.iter().find_map(find) {
                Some(at) => columns.push(Column {
                    at,
                    name: names[at].clone(),
                    signal: mapping.signal,
                    mapping: mapping.clone(),
                }),
                None => missing.push(SIGNALS[mapping.signal].name),
            }
        }
        let gps = source.time.gps.as_ref().map(|gps| gps.columns.iter().map(find).collect::<Option<Vec<_>>>());
        if gps == Some(None) {
            missing.push(GPS_TIME);
        }
        if columns.is_empty() {
            return Err(format!("none of the mapped columns is in the file, which has: {}", shown(names)));
        }
        Ok(Plan { time, time_plus, gps: gps.flatten(), vehicle, columns, missing })
    }

    /// Mapped columns.
    pub fn width(&self) -> usize {
        self.columns.len()
    }
}

/// The exact name first, then one that differs only in case, blanks, punctuation or its unit bracket.
pub fn position(names: &[String], wanted: &str) -> Option<usize> {
    names.iter().position(|name| name == wanted.trim()).or_else(|| {
        let plain = plain_name(wanted);
        if plain.is_empty() { None } else { names.iter().position(|name| plain_name(name) == plain) }
    })
}

/// "max. SoC [%)" and "Max SOC" are one name.
pub fn plain_name(name: &str) -> String {
    let without_unit = name.split(['[', '(']).next().unwrap_or(name);
    let body = if without_unit.trim().is_empty() { name } else { without_unit };
    body.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

fn shown(names: &[String]) -> String {
    let mut text: String = names.iter().take(30).map(|n| format!("\"{n}\"")).collect::<Vec<_>>().join(", ");
    if names.len() > 30 {
        text.push_str(", …");
    }
    text.chars().take(1500).collect()
}

impl Column {
    pub fn signal(&self) -> &'static Signal {
        &SIGNALS[self.signal]
    }

    /// Whether so much of the column lies out of range that its unit is in doubt.
    pub fn unit_suspicion(&self, range: &RangeTally) -> Option<Suspicion> {
        match self.signal().holds {
            Holds::Number { least, most, .. } => range.suspicion(&self.mapping, (least, most)),
            Holds::Flag | Holds::Text => None,
        }
    }

    /// Reads a cell that has a value into the row.
    pub fn read(
        &self,
        text: &str,
        decimal_comma: bool,
        row: &mut Row,
        texts: &mut [String; TEXTS],
    ) -> Result<Carried, (&'static str, String)> {
        match self.signal().holds {
            Holds::Number { least, most, .. } => {
                let value = self.number(text, decimal_comma, least, most)?;
                self.put_number(row, value);
                Ok(Carried { number: Some(value), text: None })
            }
            Holds::Flag => {
                let flag = parse_flag(text).ok_or(("not-a-flag", "not a yes or no".to_owned()))?;
                row.flags[self.signal - NUMBERS] = Some(flag);
                Ok(Carried { number: Some(f64::from(u8::from(flag))), text: None })
            }
            Holds::Text => {
                let text: String = text.chars().filter(|c| !c.is_control()).take(200).collect();
                texts[self.signal - NUMBERS - FLAGS].clone_from(&text);
                Ok(Carried { number: None, text: Some(text) })
            }
        }
    }

    /// A cell without a value: filled forward where the mapping says so, else left unknown.
    pub fn blank(&self, row: &mut Row, carried: &Carried, texts: &mut [String; TEXTS], receipt: &mut Receipt) {
        if !self.mapping.fill_forward || *carried == Carried::default() {
            return;
        }
        row.mask |= mask::FILLED;
        receipt.cells_filled += 1;
        match (self.signal().holds, carried.number, &carried.text) {
            (Holds::Number { .. }, Some(value), _) => self.put_number(row, value),
            (Holds::Flag, Some(value), _) => row.flags[self.signal - NUMBERS] = Some(value > 0.5),
            (Holds::Text, _, Some(text)) => texts[self.signal - NUMBERS - FLAGS].clone_from(text),
            _ => {}
        }
    }

    fn number(
        &self,
        text: &str,
        decimal_comma: bool,
        least: f64,
        most: f64,
    ) -> Result<f64, (&'static str, String)> {
        let Mapping { unit, scale, .. } = self.mapping;
        let degrees = self.signal().column.ends_with("_deg");
        let value = parse_cell(text, unit, scale, decimal_comma, degrees)
            .ok_or(("not-a-number", "not a number as stated".to_owned()))?;
        let own = match unit {
            CellUnit::Plain(unit) if !degrees => unit.from_si(value),
            _ => value,
        };
        let below = self.mapping.least.is_some_and(|bound| own < bound);
        let above = self.mapping.most.is_some_and(|bound| own > bound);
        if below || above || !(least..=most).contains(&value) {
            let reason = if self.signal == SPEED { "speed-range" } else { "out-of-range" };
            let name = self.signal().name;
            return Err((reason, format!("{name} {text} is outside the accepted range")));
        }
        Ok(value)
    }

    /// Several columns mapped to one signal add up.
    fn put_number(&self, row: &mut Row, value: f64) {
        let slot = &mut row.numbers[self.signal];
        *slot = if slot.is_nan() { value } else { *slot + value };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_match_without_their_brackets() {
        let names: Vec<String> =
            ["Time [s]", "max. SoC [%)", "Regenerative Braking Signal ", "SoC [%]"].map(str::to_owned).into();
        assert_eq!(position(&names, "SoC [%]"), Some(3));
        assert_eq!(position(&names, "Max SOC"), Some(1));
        assert_eq!(position(&names, "regenerative braking signal"), Some(2));
        assert_eq!(position(&names, "speed"), None);
    }
}
