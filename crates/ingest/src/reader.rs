//! One log file, row by row: rows that stand go to the spool of their vehicle, the rest to the rejects.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek, SeekFrom};

use encoding_rs_io::DecodeReaderBytesBuilder;

use crate::IngestError;
use crate::dialect::{Dialect, find_dialect, find_encoding};
use crate::fields::Fields;
use crate::frame::{Frame, Row, mask};
use crate::header::{Carried, Plan};
use crate::lines::{Line, next_line};
use crate::receipt::Receipt;
use crate::rejects::{Refusal, RejectWriter, start_of};
use crate::rows::{RowText, Rows};
use crate::settings::{LogFile, Settings, Source, TimeKind};
use crate::spool::Spool;
use crate::time::{TimeFault, parse_time};
use crate::value::is_missing;

/// Bytes looked at to find encoding and dialect.
const HEAD_BYTES: u64 = 1 << 16;
/// More vehicles in one file are a wrong column, and each costs a file of its own.
const VEHICLES_MOST: usize = 5000;

/// The start of a file as text, with the encoding it seems to be in.
pub fn read_head(
    path: &std::path::Path,
    stated: &crate::dialect::Stated,
) -> std::io::Result<(String, Dialect)> {
    let mut head = Vec::new();
    File::open(path)?.take(HEAD_BYTES).read_to_end(&mut head)?;
    let encoding = stated.encoding.unwrap_or_else(|| find_encoding(&head));
    let (text, used, _) = encoding.decode(&head);
    let dialect = find_dialect(&text, used, stated);
    Ok((text.into_owned(), dialect))
}

/// Reads a file into the spool. An unreadable file is an entry in its receipt, not the end of the run.
pub fn read_file(
    settings: &Settings,
    source: &Source,
    file: &LogFile,
    spool: &Spool,
    rejects: &mut RejectWriter,
) -> Result<Receipt, IngestError> {
    let mut receipt =
        Receipt { source_file: file.shown.clone(), source: source.name.clone(), ..Receipt::default() };
    match open(source, file, &mut receipt) {
        Ok((reader, dialect)) => {
            let reading = FileReading { settings, source, file, dialect, receipt, rejects };
            reading.run(reader, spool)
        }
        Err(error) => {
            receipt.problem = Some(format!("cannot read: {error}"));
            Ok(receipt)
        }
    }
}

type TextReader = BufReader<Box<dyn Read>>;

fn open(source: &Source, file: &LogFile, receipt: &mut Receipt) -> std::io::Result<(TextReader, Dialect)> {
    let (_, dialect) = read_head(&file.path, &source.dialect)?;
    let mut handle = File::open(&file.path)?;
    receipt.bytes = handle.metadata()?.len();
    receipt.digest = backwatt_store::digest_file(&file.path).ok();
    receipt.dialect = Some(dialect.describe());
    handle.seek(SeekFrom::Start(0))?;
    let decoded: Box<dyn Read> = if dialect.encoding == encoding_rs::UTF_8 {
        Box::new(WithoutMark::new(handle))
    } else {
        Box::new(DecodeReaderBytesBuilder::new().encoding(Some(dialect.encoding)).build(handle))
    };
    Ok((BufReader::with_capacity(1 << 16, decoded), dialect))
}

/// Drops a UTF-8 byte-order mark; other bytes pass as they are, so that a broken character costs one cell.
struct WithoutMark<R> {
    inner: R,
    start: Vec<u8>,
    checked: bool,
}

impl<R: Read> WithoutMark<R> {
    fn new(inner: R) -> Self {
        Self { inner, start: Vec::new(), checked: false }
    }
}

impl<R: Read> Read for WithoutMark<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        if !self.checked {
            self.checked = true;
            self.inner.by_ref().take(3).read_to_end(&mut self.start)?;
            if self.start == [0xEF, 0xBB, 0xBF] {
                self.start.clear();
            }
        }
        if self.start.is_empty() {
            return self.inner.read(buffer);
        }
        let taken = self.start.len().min(buffer.len());
        buffer[..taken].copy_from_slice(&self.start[..taken]);
        self.start.drain(..taken);
        Ok(taken)
    }
}

struct FileReading<'a> {
    settings: &'a Settings,
    source: &'a Source,
    file: &'a LogFile,
    dialect: Dialect,
    receipt: Receipt,
    rejects: &'a mut RejectWriter,
}

impl FileReading<'_> {
    fn run(mut self, mut reader: TextReader, spool: &Spool) -> Result<Receipt, IngestError> {
        let mut line_number = 0;
        let mut buffer = Vec::new();
        while line_number + 1 < self.dialect.header_line {
            line_number += 1;
            if self.line(&mut reader, &mut buffer)? == Line::End {
                break;
            }
        }
        line_number += 1;
        self.line(&mut reader, &mut buffer)?;
        let header_text = buffer.clone();
        let mut fields = Fields::default();
        fields.split(&header_text, self.dialect.delimiter);
        let names: Vec<String> = fields.iter().map(|f| String::from_utf8_lossy(f).trim().to_owned()).collect();
        let plan = match Plan::find(self.source, self.file, &names) {
            Ok(plan) => plan,
            Err(reason) => {
                self.receipt.problem = Some(reason);
                return Ok(self.receipt);
            }
        };
        self.receipt.columns_missing = plan.missing.clone();
        self.receipt.clock_relative = matches!(self.source.time.kind, TimeKind::Relative(_));
        if self.dialect.units_line {
            line_number += 1;
            self.line(&mut reader, &mut buffer)?;
        }
        self.rows(reader, &plan, &header_text, line_number, spool)
    }

    /// A read error in the middle of a file ends it there, and its receipt says so.
    fn line(&mut self, reader: &mut impl BufRead, buffer: &mut Vec<u8>) -> Result<Line, IngestError> {
        match next_line(reader, buffer) {
            Ok(line) => Ok(line),
            Err(error) => {
                self.receipt.problem = Some(format!("reading stopped: {error}"));
                Ok(Line::End)
            }
        }
    }

    fn rows(
        mut self,
        reader: TextReader,
        plan: &Plan,
        header: &[u8],
        line_number: u64,
        spool: &Spool,
    ) -> Result<Receipt, IngestError> {
        let mut parts: BTreeMap<String, (Frame, usize)> = BTreeMap::new();
        let mut row_reader = RowReader::new(plan.width());
        let mut fields = Fields::default();
        let mut in_flight = 0;
        let mut rows = Rows::new(reader, line_number, self.dialect.delimiter);
        loop {
            let (first_line, buffer) = match rows.next(&mut fields) {
                Ok(RowText::Row { line, raw }) => (line, raw),
                Ok(RowText::Refused { line, raw, reason, message }) => {
                    self.receipt.rows_in += 1;
                    self.refuse_row(line, reason, message.to_owned(), &raw)?;
                    continue;
                }
                Ok(RowText::End) => break,
                // A read error in the middle of a file ends it there, and its receipt says so.
                Err(error) => {
                    self.receipt.problem = Some(format!("reading stopped: {error}"));
                    break;
                }
            };
            self.receipt.rows_in += 1;
            if buffer == header {
                self.refuse_row(first_line, "repeated-header", "the header line again".into(), &buffer)?;
                continue;
            }
            if let Some((vehicle, mut row)) = self.row(plan, &fields, first_line, &buffer, &mut row_reader)? {
                if parts.len() >= VEHICLES_MOST && !parts.contains_key(&vehicle) {
                    self.receipt.rows_kept -= 1;
                    let message =
                        format!("more than {VEHICLES_MOST} vehicles in one file: is that column the vehicle?");
                    self.refuse_row(first_line, "too-many-vehicles", message, &buffer)?;
                    continue;
                }
                let frame = &mut parts.entry(vehicle).or_default().0;
                row.file = frame.pool.number(&self.file.shown);
                for (text, number) in row_reader.texts.iter().zip(&mut row.texts) {
                    *number = if text.is_empty() { 0 } else { frame.pool.number(text) };
                }
                frame.push(&row);
                in_flight += 1;
                if in_flight >= crate::spool::PART_ROWS {
                    in_flight -= self.spill(&mut parts, spool)?;
                }
            }
        }
        for (vehicle, (frame, part)) in &parts {
            if !frame.is_empty() {
                spool.write(vehicle, &self.file.shown, *part, frame)?;
            }
        }
        Ok(self.receipt)
    }

    /// Writes out the fullest frame, so that memory is bounded by the rows in flight and not by the file.
    fn spill(&self, parts: &mut BTreeMap<String, (Frame, usize)>, spool: &Spool) -> Result<usize, IngestError> {
        let Some((vehicle, (frame, part))) = parts.iter_mut().max_by_key(|(_, (frame, _))| frame.len()) else {
            return Ok(0);
        };
        spool.write(vehicle, &self.file.shown, *part, frame)?;
        *part += 1;
        let rows = frame.len();
        frame.clear();
        Ok(rows)
    }
}

/// State carried from row to row of one file.
struct RowReader {
    carried: Vec<Carried>,
    texts: [String; crate::signal::TEXTS],
    last_time: Option<i64>,
}

impl RowReader {
    fn new(width: usize) -> Self {
        Self { carried: vec![Carried::default(); width], texts: Default::default(), last_time: None }
    }
}

impl FileReading<'_> {
    fn row(
        &mut self,
        plan: &Plan,
        fields: &Fields,
        line: u64,
        raw: &[u8],
        state: &mut RowReader,
    ) -> Result<Option<(String, Row)>, IngestError> {
        let spare = fields.len() == plan.names + 1 && fields.get(plan.names).is_some_and(<[u8]>::is_empty);
        if fields.len() != plan.names && !spare {
            let message = format!("{} fields where the header has {}", fields.len(), plan.names);
            self.refuse_row(line, "ragged-row", message, raw)?;
            return Ok(None);
        }
        let time_ns = match self.time(plan, fields) {
            Ok(time_ns) => time_ns,
            Err((reason, message)) => {
                self.refuse_row(line, reason, message, raw)?;
                return Ok(None);
            }
        };
        let vehicle = match (&self.file.vehicle, plan.vehicle) {
            (Some(vehicle), _) => vehicle.clone(),
            (None, Some(at)) => match std::str::from_utf8(fields.get(at).unwrap_or_default()) {
                Ok(text) if is_missing(text.trim(), &self.source.missing) => String::new(),
                Ok(text) => text.trim().to_owned(),
                Err(_) => {
                    let message = "the vehicle's name is not text in the file's encoding".to_owned();
                    self.refuse_row(line, "not-text", message, raw)?;
                    return Ok(None);
                }
            },
            (None, None) => String::new(),
        };
        if vehicle.is_empty() {
            self.refuse_row(line, "vehicle-missing", "the row names no vehicle".into(), raw)?;
            return Ok(None);
        }
        if state.last_time.is_some_and(|last| time_ns < last) {
            self.receipt.rows_out_of_order += 1;
        }
        state.last_time = Some(state.last_time.map_or(time_ns, |last| last.max(time_ns)));
        let mut row = Row { time_ns, line, ..Row::default() };
        if self.receipt.clock_relative {
            row.mask |= mask::RELATIVE;
        }
        self.cells(plan, fields, line, &mut row, state)?;
        self.receipt.rows_kept += 1;
        Ok(Some((vehicle, row)))
    }

    fn time(&self, plan: &Plan, fields: &Fields) -> Result<i64, (&'static str, String)> {
        let texts: Vec<_> = plan.time.iter().map(|at| cell(fields, *at)).collect();
        let parts: Vec<&str> = texts.iter().map(|text| text.trim()).collect();
        let text = parts.join(" ");
        if is_missing(text.trim(), &self.source.missing) {
            return Err(("time-missing", "the row has no time".into()));
        }
        let plus = plan.time_plus.map(|at| cell(fields, at));
        let kind = &self.source.time.kind;
        let time_ns =
            parse_time(&text, plus.as_deref(), kind, self.dialect.decimal_comma).map_err(|fault| {
                let shown = start_of(text.as_bytes(), 60);
                match fault {
                    TimeFault::Unreadable => {
                        ("time-unreadable", format!("\"{shown}\" is not a time as stated"))
                    }
                    TimeFault::Skipped => {
                        ("time-skipped", format!("\"{shown}\" was skipped when summer time began in this zone"))
                    }
                }
            })?;
        let relative = matches!(kind, TimeKind::Relative(_));
        let (earliest, latest) = if relative {
            // A relative clock starts at its file; ten years of one file is a fault.
            (-86_400_000_000_000, 315_360_000_000_000_000)
        } else {
            (self.settings.time_earliest_ns, self.settings.time_latest_ns)
        };
        if !(earliest..=latest).contains(&time_ns) {
            let shown = start_of(text.as_bytes(), 60);
            return Err(("time-out-of-range", format!("\"{shown}\" is outside the accepted years")));
        }
        Ok(time_ns)
    }

    fn cells(
        &mut self,
        plan: &Plan,
        fields: &Fields,
        line: u64,
        row: &mut Row,
        state: &mut RowReader,
    ) -> Result<(), IngestError> {
        state.texts = Default::default();
        for (at, column) in plan.columns.iter().enumerate() {
            let text = cell(fields, column.at);
            let text = text.trim();
            if is_missing(text, &self.source.missing) {
                column.blank(row, &state.carried[at], &mut state.texts, &mut self.receipt);
                continue;
            }
            let is_text = std::str::from_utf8(fields.get(column.at).unwrap_or_default()).is_ok();
            let read = if is_text {
                column.read(text, self.dialect.decimal_comma, row, &mut state.texts)
            } else {
                Err(("not-text", "not text in the file's encoding".to_owned()))
            };
            match read {
                Ok(carried) => state.carried[at] = carried,
                Err((reason, message)) => {
                    row.mask |= mask::CELL_REFUSED;
                    if reason == "speed-range" {
                        row.mask |= mask::SPEED_RANGE;
                    }
                    self.receipt.refuse_cell(reason);
                    self.rejects.push(Refusal {
                        file: self.file.shown.clone(),
                        line,
                        reason,
                        cell: Some((column.name.clone(), start_of(text.as_bytes(), 200))),
                        message,
                        raw: None,
                    })?;
                }
            }
        }
        Ok(())
    }

    fn refuse_row(
        &mut self,
        line: u64,
        reason: &'static str,
        message: String,
        raw: &[u8],
    ) -> Result<(), IngestError> {
        self.receipt.refuse_row(reason);
        self.rejects.push(Refusal::row(&self.file.shown, line, reason, message, raw))
    }
}

fn cell<'f>(fields: &'f Fields, at: usize) -> std::borrow::Cow<'f, str> {
    String::from_utf8_lossy(fields.get(at).unwrap_or_default())
}
