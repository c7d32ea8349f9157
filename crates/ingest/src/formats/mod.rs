//! What a log may be written in. Every format becomes records of text cells under fixed names, so that one row path
//! (time, vehicle, cells, refusal, spool, receipt) serves all.
//!
//! Numbers that a binary format holds are written in their shortest decimal form that reads back as the same number
//! (Rust's `Display`), so nothing is rounded on the way. Text is counted in lines from 1, preamble and header included; binary formats
//! in records from 0.
//!
//! A new format is a variant of [`Format`], a line in [`Format::name`], `recognise` and `open`, and a file that
//! implements [`Records`].

pub mod can;
mod delimited;
mod fields;
mod gpx;
mod guard;
mod lines;
mod long;
mod mdf;
mod ndjson;
mod nmea;
mod parquet;
mod parquet_pages;
mod rows;
mod wanted;

#[cfg(test)]
mod against_others;

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::io;

pub use fields::Fields;
pub use guard::panics_are_caught;
pub(crate) use rows::Rows;

use crate::input::Input;
use crate::settings::Source;

/// A log as records with a fixed set of named fields, whatever the file's format.
pub trait Records {
    /// Names of the fields, the same for the whole file.
    fn names(&self) -> &[String];

    /// The next record; its fields as text stand in `fields` (empty = no value), as many as there are names.
    ///
    /// An error ends the file: what came before it stays, and the receipt says so.
    fn next(&mut self, fields: &mut Fields) -> io::Result<RowText>;

    /// What was passed over so far, by kind: records in which the mapping asks for nothing, as it passes over columns
    /// ("not-mapped"), and what is no record at all, such as other sentences of a receiver. Counted in the receipt, neither
    /// kept nor refused.
    fn passed(&self) -> BTreeMap<&'static str, u64> {
        BTreeMap::new()
    }
}

/// What a reader met.
#[derive(Debug, PartialEq, Eq)]
pub enum RowText {
    /// A record whose fields stand in the `Fields` given, with the line it begins on. `raw` is the record as it stood in
    /// the file, for whoever reads the rejects; left empty, the fields are shown instead.
    Row {
        line: u64,
        raw: Vec<u8>,
    },
    Refused {
        line: u64,
        raw: Vec<u8>,
        reason: &'static str,
        message: Cow<'static, str>,
    },
    End,
}

/// A file that can be read record by record.
pub struct Opened {
    pub records: Box<dyn Records>,
    /// How the file is written, for its receipt.
    pub description: String,
    /// Cells may have a decimal comma. Never so where a format says itself what a number is.
    pub decimal_comma: bool,
    /// Each record holds few of the signals, at instants of its own: rows are gathered in the second pass.
    pub sparse: bool,
    /// Some names are there because the mapping asks for them; whether the file has them shows at its end.
    pub promised: bool,
    /// The unit of each field as the file states it; empty where it states none.
    pub units: Vec<String>,
}

impl Opened {
    /// Dense records whose names were all met, without units or decimal commas.
    pub fn new(records: Box<dyn Records>) -> Self {
        Self {
            records,
            description: String::new(),
            decimal_comma: false,
            sparse: false,
            promised: false,
            units: Vec::new(),
        }
    }
}

/// The formats, by the names a pilot file states them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Format {
    Delimited,
    Ndjson,
    Parquet,
    Gpx,
    Nmea,
    Candump,
    Mdf,
}

impl Format {
    pub const ALL: [Format; 7] = [
        Format::Delimited,
        Format::Ndjson,
        Format::Parquet,
        Format::Gpx,
        Format::Nmea,
        Format::Candump,
        Format::Mdf,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Format::Delimited => "delimited",
            Format::Ndjson => "ndjson",
            Format::Parquet => "parquet",
            Format::Gpx => "gpx",
            Format::Nmea => "nmea",
            Format::Candump => "candump",
            Format::Mdf => "mdf",
        }
    }

    pub fn by_name(name: &str) -> Option<Format> {
        Self::ALL.into_iter().find(|format| format.name() == name)
    }
}

/// The format that the start of a file shows; delimited text where it shows no other.
pub(crate) fn recognise(head: &[u8]) -> Format {
    if parquet::recognises(head) {
        Format::Parquet
    } else if mdf::recognises(head) {
        Format::Mdf
    } else if gpx::recognises(head) {
        Format::Gpx
    } else if ndjson::recognises(head) {
        Format::Ndjson
    } else if nmea::recognises(head) {
        Format::Nmea
    } else if can::recognises(head) {
        Format::Candump
    } else {
        Format::Delimited
    }
}

/// The format that is stated or shows, and the log with the line ends that its reader knows.
pub(crate) fn recognised(stated: Option<Format>, input: Input) -> (Format, Input) {
    match stated.unwrap_or_else(|| recognise(input.head())) {
        format @ (Format::Parquet | Format::Mdf) => (format, input),
        _ => {
            let input = input.with_line_feeds();
            (stated.unwrap_or_else(|| recognise(input.head())), input)
        }
    }
}

/// Opens a log in the format its source states, or else its start shows.
///
/// The source tells a reader which names are wanted ([`Source::wanted`]), where finding all would be a burden.
pub(crate) fn open(source: &Source, input: Input) -> io::Result<Opened> {
    let (format, input) = recognised(source.format, input);
    let opened = match format {
        Format::Delimited => delimited::open(&source.dialect, input),
        Format::Ndjson => ndjson::open(source, input),
        Format::Parquet => parquet::open(source, input),
        Format::Gpx => gpx::open(source, input),
        Format::Nmea => Ok(nmea::open(input)),
        Format::Candump => can::open(source, input),
        Format::Mdf => mdf::open(source, input),
    }?;
    match &source.long {
        Some(long) => long::spread(source, long, opened),
        None => Ok(opened),
    }
}

#[cfg(test)]
mod tests {
    use std::io::Read;

    use super::*;
    use crate::settings::Long;

    #[test]
    fn formats_show_in_their_first_bytes() {
        for (head, format) in [
            (&b"PAR1\x15\x04"[..], Format::Parquet),
            (b"\xEF\xBB\xBF<?xml version=\"1.0\"?>\n<gpx version=\"1.1\">", Format::Gpx),
            (b"<\0g\0p\0x\0 \0", Format::Gpx),
            (b"{\"time\":1}\n{\"time\":2}\n", Format::Ndjson),
            (b"\n [{\"time\":1},\n", Format::Ndjson),
            (b"{logger 7}\ntime,speed\n1,2\n", Format::Delimited),
            (b"time,speed\n1,2\n", Format::Delimited),
            (b"", Format::Delimited),
        ] {
            assert_eq!(recognise(head), format, "{}", String::from_utf8_lossy(head));
        }
        assert!(Format::ALL.into_iter().all(|format| Format::by_name(format.name()) == Some(format)));
    }

    /// Refusals of a stream that starts so and then goes on for a gigabyte without a line end.
    fn endless(start: &'static [u8], source: &Source) -> Vec<String> {
        let stream = start.chain(io::repeat(b'x').take(1 << 30));
        let mut records = match open(source, Input::new(Box::new(stream))) {
            Ok(opened) => opened.records,
            Err(error) => return vec![error.to_string()],
        };
        let mut fields = Fields::default();
        let mut met = Vec::new();
        loop {
            match records.next(&mut fields) {
                Ok(RowText::Row { .. }) => met.push("row".to_owned()),
                Ok(RowText::Refused { raw, reason, .. }) => {
                    assert!(raw.len() <= 1 << 20, "{} bytes kept", raw.len());
                    met.push(reason.to_owned());
                }
                Ok(RowText::End) => return met,
                Err(error) => {
                    met.push(error.to_string());
                    return met;
                }
            }
        }
    }

    #[test]
    fn a_gigabyte_without_a_line_end_is_one_refusal() {
        let plain = Source::unmapped();
        assert_eq!(endless(b"time,speed\n1,2\n", &plain), ["row", "line-too-long"]);
        assert_eq!(endless(b"{\"time\":1}\n{\"time\":\"", &plain), ["row", "line-too-long"]);
        let point = b"<gpx><trk><trkseg><trkpt lat=\"1\" lon=\"2\"></trkpt><trkpt lat=\"1\"><name>";
        assert_eq!(endless(point, &plain), ["row", "row-cut-short", "a text or tag is longer than 1 MiB"]);
        let long = Some(Long { signal: "signal".to_owned(), value: "value".to_owned() });
        let long = Source { long, ..Source::unmapped() };
        assert_eq!(endless(b"time,signal,value\n1,a,", &long), ["line-too-long"]);
    }
}
