//! The start of one log, whatever its format, as names and texts.

use std::collections::BTreeMap;

use super::clocks;
use crate::formats::can::DbcFile;
use crate::formats::{self, Fields, Format, RowText};
use crate::header::plain_name;
use crate::input::{Input, Unpacking};
use crate::settings::{LogFile, Long, Source};
use crate::value::is_missing;

/// One file as it looks from its start.
#[derive(Debug, Clone)]
pub struct Look {
    pub shown: String,
    pub format: Format,
    /// The file that says what its frames mean, as shown, where that is one of those found beside the logs.
    pub dbc: Option<String>,
    /// How it is written.
    pub description: String,
    pub decimal_comma: bool,
    /// The columns of the long form, where the file has one; its signals stand among the names then.
    pub long: Option<Long>,
    pub names: Vec<String>,
    /// Units row, empty where there is none.
    pub units: Vec<String>,
    /// First rows, as texts.
    pub rows: Vec<Vec<String>>,
}

/// Rows looked at per file.
const ROWS: usize = 400;
/// A receiver finds its first fix minutes after the log begins: so many rows are read to see every column filled once, and from
/// there on so many are kept.
const ROWS_READ: usize = 20_000;
const ROWS_AFTER: usize = 100;
/// In long form a row holds one signal only.
const ROWS_LONG: usize = 20_000;
/// More signals are values that took the place of names.
const SIGNALS_MOST: usize = 500;

/// Looks at one file, or says why it is no log. Of a CAN log the DBC file is taken in which most of its signals have a value.
pub fn look(file: &LogFile, dbcs: &[(String, DbcFile)]) -> Result<Look, String> {
    let plain = look_by(file, &Source::unmapped());
    let frames =
        matches!(&plain, Ok(Look { format: Format::Candump, .. }) | Err(Fault::NoRows(Format::Candump)));
    let with = |(shown, dbc): &(String, DbcFile)| {
        let look = look_by(file, &Source { dbc: Some(dbc.clone()), ..Source::unmapped() }).ok()?;
        Some(Look { dbc: Some(shown.clone()), ..look })
    };
    let by_dbc = if frames { dbcs.iter().filter_map(with).max_by_key(filled) } else { None };
    match (plain, by_dbc) {
        (Ok(plain), Some(by_dbc)) if filled(&by_dbc) <= filled(&plain) => Ok(plain),
        (_, Some(by_dbc)) => Ok(by_dbc),
        (Err(Fault::NoRows(Format::Candump)), None) => {
            Err("its frames mean nothing without their DBC file: put it beside the log".to_owned())
        }
        (Err(Fault::NoRows(_)), None) => Err("no rows below the header".to_owned()),
        (Err(Fault::Other(reason)), None) => Err(reason),
        (Ok(plain), None) => Ok(plain),
    }
}

/// Columns that have some value.
fn filled(look: &Look) -> usize {
    (0..look.names.len()).filter(|at| look.rows.iter().any(|row| !is_missing(&row[*at], &[]))).count()
}

enum Fault {
    NoRows(Format),
    Other(String),
}

impl From<std::io::Error> for Fault {
    fn from(error: std::io::Error) -> Self {
        Fault::Other(error.to_string())
    }
}

fn look_by(file: &LogFile, source: &Source) -> Result<Look, Fault> {
    let input = Input::open(file, Unpacking::default())?;
    let (format, input) = formats::recognised(None, input);
    let packing: String = input.packing().iter().map(|name| format!("{name}, ")).collect();
    let opened = formats::open(source, input)?;
    let mut records = opened.records;
    let names = records.names().to_vec();
    if names.len() < 2 {
        return Err(Fault::Other("no columns, or one only".to_owned()));
    }
    let long = long_form(&names);
    let mut kept = Kept::new(names.len(), if long.is_some() { ROWS_LONG } else { ROWS });
    let mut fields = Fields::default();
    while kept.wants_more() {
        match records.next(&mut fields) {
            Ok(RowText::Row { .. }) => {
                let cells =
                    fields.iter().take(names.len()).map(|f| String::from_utf8_lossy(f).trim().to_owned());
                kept.take(cells.collect());
            }
            Ok(RowText::Refused { .. }) => {}
            Ok(RowText::End) | Err(_) => break,
        }
    }
    let rows = kept.rows;
    if rows.is_empty() {
        return Err(Fault::NoRows(format));
    }
    let (description, decimal_comma) = (packing + &opened.description, opened.decimal_comma);
    let is_bracket = |c: char| matches!(c, '[' | ']' | '(' | ')');
    let units = opened.units.iter().map(|unit| unit.trim_matches(is_bracket).trim().to_owned()).collect();
    let look = Look {
        shown: file.shown.clone(),
        format,
        dbc: None,
        description,
        decimal_comma,
        long: None,
        names,
        units,
        rows,
    };
    Ok(long.and_then(|(signal, value)| widened(&look, signal, value)).unwrap_or(look))
}

/// The first rows, and those from which on a column is filled that was blank before.
struct Kept {
    rows: Vec<Vec<String>>,
    most: usize,
    read: usize,
    /// How many of the next rows are kept.
    wanted: usize,
    filled: Vec<bool>,
}

impl Kept {
    fn new(columns: usize, first: usize) -> Self {
        Self { rows: Vec::new(), most: 2 * first, read: 0, wanted: first, filled: vec![false; columns] }
    }

    fn wants_more(&self) -> bool {
        let blank = self.read < ROWS_READ && self.filled.contains(&false);
        self.rows.len() < self.most && (self.wanted > 0 || blank)
    }

    fn take(&mut self, row: Vec<String>) {
        self.read += 1;
        for (filled, cell) in self.filled.iter_mut().zip(&row) {
            if !*filled && !is_missing(cell, &[]) {
                *filled = true;
                self.wanted = self.wanted.max(ROWS_AFTER);
            }
        }
        if self.wanted > 0 {
            self.wanted -= 1;
            self.rows.push(row);
        }
    }
}

/// Columns that name a signal and hold its value.
fn long_form(names: &[String]) -> Option<(usize, usize)> {
    let one_of = |words: &[&str]| names.iter().position(|name| words.contains(&plain_name(name).as_str()));
    let signal = one_of(&[
        "signal",
        "signalname",
        "channel",
        "parameter",
        "variable",
        "metric",
        "name",
        "key",
        "pid",
        "tag",
        "sensor",
        "measurement",
    ])?;
    let value = one_of(&["value", "val", "reading", "signalvalue", "wert"])?;
    (names.len() <= 8).then_some((signal, value))
}

/// The rows with a column for each signal; `None` where what should be names are not.
fn widened(look: &Look, signal: usize, value: usize) -> Option<Look> {
    let mut signals: BTreeMap<&str, usize> = BTreeMap::new();
    for row in look.rows.iter().filter(|row| !is_missing(&row[signal], &[])) {
        let next = signals.len();
        signals.entry(&row[signal]).or_insert(next);
    }
    if signals.is_empty() || signals.len() > SIGNALS_MOST || signals.len() * 2 > look.rows.len() {
        return None;
    }
    let width = look.names.len();
    let mut names = look.names.clone();
    names.resize(width + signals.len(), String::new());
    for (name, at) in &signals {
        names[width + at] = (*name).to_owned();
    }
    let wide = |row: &Vec<String>| {
        let mut cells = row.clone();
        cells.resize(names.len(), String::new());
        if let Some(at) = signals.get(row[signal].as_str()) {
            cells[width + at] = std::mem::take(&mut cells[value]);
        }
        cells
    };
    let units = stated_units(look, signal, &signals);
    let rows = look.rows.iter().map(wide).collect();
    let long = Some(Long { signal: look.names[signal].clone(), value: look.names[value].clone() });
    let wide = Look { long, names: names.clone(), units, rows, ..look.clone() };
    clocks::time(&wide).map(|_| wide)
}

/// The unit of each signal, where a column of the long form states it beside the value.
fn stated_units(look: &Look, signal: usize, signals: &BTreeMap<&str, usize>) -> Vec<String> {
    let is_unit = |name: &String| matches!(plain_name(name).as_str(), "unit" | "units" | "uom" | "einheit");
    let Some(at) = look.names.iter().position(is_unit) else { return Vec::new() };
    let width = look.names.len();
    let mut units = vec![String::new(); width + signals.len()];
    for row in &look.rows {
        if let Some(place) = signals.get(row[signal].as_str()).filter(|place| units[width + **place].is_empty())
        {
            units[width + place].clone_from(&row[at]);
        }
    }
    units
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_column_that_fills_late_is_seen() {
        let mut kept = Kept::new(2, 200);
        for at in 0..5000 {
            if !kept.wants_more() {
                break;
            }
            let fix = if at < 900 { "NaN".to_owned() } else { at.to_string() };
            kept.take(vec![at.to_string(), fix]);
        }
        // Two hundred from the start, and a hundred from the first fix on.
        let first: Vec<&str> = kept.rows.iter().map(|row| row[0].as_str()).collect();
        assert_eq!((first.len(), first[199], first[200], first[299]), (300, "199", "900", "999"));
    }
}
