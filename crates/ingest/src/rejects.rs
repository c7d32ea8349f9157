//! What was refused, written as it is met so that a file of nothing but faults does not fill the memory.

use std::path::PathBuf;

use backwatt_schema::{BatchBuilder, tables::REJECTS};
use backwatt_store::{Provenance, TableWriter};

use crate::IngestError;

const FLUSH_ROWS: usize = 20_000;

/// One refusal.
#[derive(Debug, Clone)]
pub struct Refusal {
    pub file: String,
    pub line: u64,
    pub reason: &'static str,
    /// Column and value where one cell was refused and the row kept.
    pub cell: Option<(String, String)>,
    pub message: String,
    pub raw: Option<String>,
}

impl Refusal {
    pub fn row(file: &str, line: u64, reason: &'static str, message: String, raw: &[u8]) -> Self {
        Self { file: file.to_owned(), line, reason, cell: None, message, raw: Some(start_of(raw, 2000)) }
    }
}

/// The start of a text of unknown length, readable whatever its bytes.
pub fn start_of(bytes: &[u8], limit: usize) -> String {
    String::from_utf8_lossy(&bytes[..bytes.len().min(limit)]).into_owned()
}

/// Writes refusals to one file of the rejects table; no refusal, no file.
pub struct RejectWriter {
    /// `None`: refusals are dropped.
    path: Option<PathBuf>,
    provenance: Provenance,
    waiting: Vec<Refusal>,
    writer: Option<TableWriter>,
}

impl RejectWriter {
    pub fn new(path: PathBuf, provenance: &Provenance) -> Self {
        Self { path: Some(path), provenance: provenance.clone(), waiting: Vec::new(), writer: None }
    }

    /// Writes nothing, for logs that are looked at only.
    pub fn dropping() -> Self {
        Self { path: None, provenance: Provenance::default(), waiting: Vec::new(), writer: None }
    }

    pub fn push(&mut self, refusal: Refusal) -> Result<(), IngestError> {
        self.waiting.push(refusal);
        if self.waiting.len() >= FLUSH_ROWS { self.flush() } else { Ok(()) }
    }

    pub fn finish(mut self) -> Result<(), IngestError> {
        if !self.waiting.is_empty() {
            self.flush()?;
        }
        match self.writer {
            Some(writer) => Ok(writer.finish().map(drop)?),
            None => Ok(()),
        }
    }

    fn flush(&mut self) -> Result<(), IngestError> {
        let rows = std::mem::take(&mut self.waiting);
        let Some(path) = &self.path else { return Ok(()) };
        let cell = |pick: fn(&(String, String)) -> &String| {
            rows.iter().map(move |r| r.cell.as_ref().map(|c| pick(c).as_str())).collect::<Vec<_>>()
        };
        let batch = BatchBuilder::new(&REJECTS)
            .text("source_file", rows.iter().map(|r| Some(r.file.as_str())))
            .count("source_line", rows.iter().map(|r| r.line))
            .text("scope", rows.iter().map(|r| Some(if r.cell.is_some() { "cell" } else { "row" })))
            .text("reason", rows.iter().map(|r| Some(r.reason)))
            .text("column", cell(|c| &c.0))
            .text("value", cell(|c| &c.1))
            .text("message", rows.iter().map(|r| Some(r.message.as_str())))
            .text("raw", rows.iter().map(|r| r.raw.as_deref()))
            .finish()?;
        if self.writer.is_none() {
            self.writer = Some(TableWriter::create(path, &REJECTS, &self.provenance)?);
        }
        if let Some(writer) = &mut self.writer {
            writer.write(&batch)?;
        }
        Ok(())
    }
}
