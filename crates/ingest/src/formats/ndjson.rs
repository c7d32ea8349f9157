//! One JSON object a line (also an array written one object a line). Nested values go by their keys joined by dots, places in
//! arrays by their number: `gps.position.0`.

use std::io::{self, BufReader};

use serde_json::Value;

use super::lines::{Lines, Pulled};
use super::wanted::Wanted;
use super::{Fields, Opened, Records, RowText};
use crate::input::Input;
use crate::settings::Source;

/// Lines of the head that are searched for names.
const LINES: usize = 400;
/// More names in one file are data that took the place of names.
const NAMES_MOST: usize = 2000;
const DEPTH_MOST: usize = 32;
/// Places of an array that become names.
const PLACES_MOST: usize = 8;

/// True for a text whose first line is a JSON object.
pub fn recognises(head: &[u8]) -> bool {
    let text = head.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(head).trim_ascii_start();
    let text = text.strip_prefix(b"[").map_or(text, <[u8]>::trim_ascii_start);
    let first = text.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let whole = first.len() < text.len();
    first.starts_with(b"{") && (!whole || object(bare(first)).is_ok())
}

pub fn open(source: &Source, input: Input) -> io::Result<Opened> {
    let mut names = Vec::new();
    for line in whole_lines(&input) {
        if let Ok(value) = object(bare(line)) {
            collect(&value, "", 0, &mut names);
        }
    }
    let wanted = Wanted::among(source, names, input.goes_on());
    let promised = wanted.promised;
    let lines = Lines::new(BufReader::with_capacity(1 << 16, input), 0);
    Ok(Opened {
        description: "JSON, an object a line".to_owned(),
        promised,
        ..Opened::new(Box::new(Ndjson { lines, wanted }))
    })
}

fn whole_lines(input: &Input) -> impl Iterator<Item = &[u8]> {
    let head = input.head().strip_prefix(b"\xEF\xBB\xBF").unwrap_or(input.head());
    // Where the file goes on, the last line is cut.
    let end = if input.goes_on() { memchr::memrchr(b'\n', head).unwrap_or(head.len()) } else { head.len() };
    head[..end].split(|byte| *byte == b'\n').take(LINES)
}

/// A line without what makes it part of an array.
fn bare(line: &[u8]) -> &[u8] {
    let line = line.trim_ascii();
    let line = line.strip_prefix(b"[").map_or(line, <[u8]>::trim_ascii_start);
    let line = line.strip_suffix(b",").map_or(line, <[u8]>::trim_ascii_end);
    if line.starts_with(b"{") || line == b"]" {
        line.strip_suffix(b"]").map_or(line, <[u8]>::trim_ascii_end)
    } else {
        line
    }
}

fn object(line: &[u8]) -> Result<Value, String> {
    match serde_json::from_slice(line) {
        Ok(value @ Value::Object(_)) => Ok(value),
        Ok(_) => Err("not a JSON object".to_owned()),
        Err(error) => Err(format!("not JSON: {error}")),
    }
}

/// Adds the names of all plain values, in the order they are met.
fn collect(value: &Value, prefix: &str, depth: usize, names: &mut Vec<String>) {
    let name = |key: &str| if prefix.is_empty() { key.to_owned() } else { format!("{prefix}.{key}") };
    match value {
        _ if depth > DEPTH_MOST || names.len() >= NAMES_MOST => {}
        Value::Object(map) => {
            map.iter().for_each(|(key, value)| collect(value, &name(key), depth + 1, names));
        }
        Value::Array(places) => {
            for (at, value) in places.iter().take(PLACES_MOST).enumerate() {
                collect(value, &name(&at.to_string()), depth + 1, names);
            }
        }
        _ if prefix.is_empty() || names.iter().any(|known| known == prefix) => {}
        _ => names.push(prefix.to_owned()),
    }
}

struct Ndjson<R> {
    lines: Lines<R>,
    wanted: Wanted,
}

impl<R: io::BufRead> Records for Ndjson<R> {
    fn names(&self) -> &[String] {
        &self.wanted.names
    }

    fn next(&mut self, fields: &mut Fields) -> io::Result<RowText> {
        loop {
            let (line, mut raw) = match self.lines.next()? {
                Pulled::End => return Ok(RowText::End),
                Pulled::Refused(refused) => return Ok(refused),
                Pulled::Line(line, raw) => (line, raw),
            };
            if line == 1 && raw.starts_with(b"\xEF\xBB\xBF") {
                raw.drain(..3);
            }
            let text = bare(&raw);
            if text.is_empty() {
                continue;
            }
            return match object(text) {
                Ok(value) => {
                    self.fill(&value, fields);
                    Ok(RowText::Row { line, raw })
                }
                Err(message) => Ok(RowText::Refused { line, raw, reason: "not-json", message: message.into() }),
            };
        }
    }
}

impl<R> Ndjson<R> {
    fn fill(&self, value: &Value, fields: &mut Fields) {
        fields.clear();
        for (name, wanted) in self.wanted.names.iter().zip(&self.wanted.needed) {
            match wanted.then(|| find(value, name)).flatten() {
                None | Some(Value::Null) => fields.push(b""),
                Some(Value::String(text)) => fields.push(text.as_bytes()),
                // Numbers in their shortest form; an object or array shows itself, and is refused as a cell.
                Some(other) => fields.push(other.to_string().as_bytes()),
            }
        }
    }
}

/// The value of a dotted name. A key that holds a dot itself is tried first.
fn find<'v>(value: &'v Value, path: &str) -> Option<&'v Value> {
    match value {
        Value::Object(map) => map.get(path).or_else(|| {
            let dots = path.match_indices('.');
            dots.into_iter().find_map(|(at, _)| find(map.get(&path[..at])?, &path[at + 1..]))
        }),
        Value::Array(places) => {
            let (place, rest) = path.split_once('.').map_or((path, None), |(place, rest)| (place, Some(rest)));
            let value = places.get(place.parse::<usize>().ok()?)?;
            rest.map_or(Some(value), |rest| find(value, rest))
        }
        _ => None,
    }
}
