//! Long form: a column names the signal and another holds its value, so that signals stand below each other. Each row
//! becomes a record with one signal filled.

use std::collections::{BTreeMap, HashMap};
use std::io;

use super::{Fields, Opened, Records, RowText};
use crate::header::{plain_name, position};
use crate::settings::{Long, Source};

/// Spellings of signals that are remembered; a file with more names than that has values for names.
const REMEMBERED: usize = 10_000;

/// Makes records in long form wide. Time and vehicle stay under their own names.
pub fn spread(source: &Source, long: &Long, opened: Opened) -> io::Result<Opened> {
    let inner = opened.records.names();
    let find = |name: &str| {
        position(inner, name).ok_or_else(|| {
            let message = format!("no column \"{name}\" for the long form; the file has: {}", inner.join(", "));
            io::Error::other(message.chars().take(1500).collect::<String>())
        })
    };
    let (signal, value) = (find(&long.signal)?, find(&long.value)?);
    let mut names = inner.to_vec();
    let carried = names.len();
    // The columns of the long form itself are no signals, nor is one that happens to be called like a signal.
    let spellings = || source.columns.iter().flat_map(|mapping| &mapping.names);
    let namesakes: Vec<usize> = spellings().filter_map(|name| position(inner, name)).collect();
    namesakes.into_iter().chain([signal, value]).for_each(|at| names[at].clear());
    let mut slots: HashMap<String, Vec<usize>> = HashMap::new();
    // GPS time is a column of the long form, or a signal like the others.
    let gps =
        source.time.gps.iter().flat_map(|gps| &gps.columns).filter(|name| position(inner, name).is_none());
    let signals = source.columns.iter().map(|mapping| &mapping.names[..]).chain(gps.map(std::slice::from_ref));
    for spellings in signals {
        let Some(first) = spellings.first() else { continue };
        let slot = names.iter().skip(carried).position(|name| name == first).map(|at| carried + at);
        let slot = slot.unwrap_or_else(|| {
            names.push(first.clone());
            names.len() - 1
        });
        for spelling in spellings {
            let slots = slots.entry(plain_name(spelling)).or_default();
            if !slots.contains(&slot) {
                slots.push(slot);
            }
        }
    }
    let description = format!("{}, long form", opened.description);
    let records = Spread {
        inner: opened.records,
        names,
        signal,
        value,
        carried,
        slots,
        known: HashMap::new(),
        row: Fields::default(),
        passed: 0,
    };
    Ok(Opened {
        records: Box::new(records),
        description,
        sparse: true,
        promised: true,
        units: Vec::new(),
        ..opened
    })
}

struct Spread {
    inner: Box<dyn Records>,
    names: Vec<String>,
    signal: usize,
    value: usize,
    /// Fields of the long form, which come first.
    carried: usize,
    /// By plain name: the fields a signal fills.
    slots: HashMap<String, Vec<usize>>,
    /// The same by the name as it is written in the file.
    known: HashMap<Vec<u8>, Vec<usize>>,
    row: Fields,
    passed: u64,
}

impl Records for Spread {
    fn names(&self) -> &[String] {
        &self.names
    }

    fn next(&mut self, fields: &mut Fields) -> io::Result<RowText> {
        loop {
            let (line, raw) = match self.inner.next(&mut self.row)? {
                RowText::Row { line, raw } => (line, raw),
                other => return Ok(other),
            };
            let filled = self.filled_by_row();
            if filled.is_empty() {
                self.passed += 1;
                continue;
            }
            fields.clear();
            for at in 0..self.names.len() {
                let text = match at {
                    _ if at == self.signal || at == self.value => None,
                    _ if at < self.carried => self.row.get(at),
                    _ => filled.contains(&at).then(|| self.row.get(self.value)).flatten(),
                };
                fields.push(text.unwrap_or_default());
            }
            let raw = if raw.is_empty() { self.row.joined() } else { raw };
            return Ok(RowText::Row { line, raw });
        }
    }

    fn passed(&self) -> BTreeMap<&'static str, u64> {
        let mut passed = self.inner.passed();
        *passed.entry("not-mapped").or_default() += self.passed;
        passed
    }
}

impl Spread {
    fn filled_by_row(&mut self) -> Vec<usize> {
        let name = self.row.get(self.signal).unwrap_or_default();
        if let Some(filled) = self.known.get(name) {
            return filled.clone();
        }
        let plain = plain_name(&String::from_utf8_lossy(name));
        let filled = self.slots.get(&plain).cloned().unwrap_or_default();
        if self.known.len() < REMEMBERED {
            self.known.insert(name.to_vec(), filled.clone());
        }
        filled
    }
}
