//! The start of one log, whatever its format, as names and texts.

use std::collections::BTreeMap;

use super::guess;
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
/// In long form a row holds one signal only.
const ROWS_LONG: usize = 20_000;
/// More signals are values that took the place of names.
const SIGNALS_MOST: usize = 500;

/// Looks at one file, or says why it is no log.
pub fn look(file: &LogFile) -> Result<Look, String> {
    let input = Input::open(file, Unpacking::default()).map_err(|error| error.to_string())?;
    let (format, input) = formats::recognised(None, input);
    let packing: String = input.packing().iter().map(|name| format!("{name}, ")).collect();
    let opened = formats::open(&Source::unmapped(), input).map_err(|error| error.to_string())?;
    let mut records = opened.records;
    let names = records.names().to_vec();
    if names.len() < 2 {
        return Err("no columns, or one only".to_owned());
    }
    let long = long_form(&names);
    let most = if long.is_some() { ROWS_LONG } else { ROWS };
    let mut fields = Fields::default();
    let mut rows: Vec<Vec<String>> = Vec::new();
    while rows.len() < most {
        match records.next(&mut fields) {
            Ok(RowText::Row { .. }) => {
                let cells =
                    fields.iter().take(names.len()).map(|f| String::from_utf8_lossy(f).trim().to_owned());
                rows.push(cells.collect());
            }
            Ok(RowText::Refused { .. }) => {}
            Ok(RowText::End) | Err(_) => break,
        }
    }
    if rows.is_empty() {
        return Err("no rows below the header".to_owned());
    }
    let (description, decimal_comma, units) =
        (packing + &opened.description, opened.decimal_comma, opened.units);
    let look =
        Look { shown: file.shown.clone(), format, description, decimal_comma, long: None, names, units, rows };
    Ok(long.and_then(|(signal, value)| widened(&look, signal, value)).unwrap_or(look))
}

/// Columns that name a signal and hold its value.
fn long_form(names: &[String]) -> Option<(usize, usize)> {
    let one_of = |words: &[&str]| names.iter().position(|name| words.contains(&plain_name(name).as_str()));
    let signal =
        one_of(&["signal", "signalname", "channel", "parameter", "variable", "metric", "name", "key", "pid"])?;
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
    let rows = look.rows.iter().map(wide).collect();
    let long = Some(Long { signal: look.names[signal].clone(), value: look.names[value].clone() });
    let wide = Look { long, names: names.clone(), units: Vec::new(), rows, ..look.clone() };
    guess::time(&wide).map(|_| wide)
}
