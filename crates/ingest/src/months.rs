//! The samples of one vehicle on disk: a file a month, filled window by window.

use std::path::PathBuf;

use backwatt_schema::tables::SAMPLES;
use backwatt_store::{Layout, Provenance, TableWriter};
use jiff::Timestamp;

use crate::IngestError;
use crate::frame::Frame;

type Month = (i16, i8);

pub struct MonthWriter<'a> {
    vehicle: &'a str,
    folder: PathBuf,
    provenance: &'a Provenance,
    open: Option<(Month, TableWriter)>,
    written: Vec<String>,
}

impl<'a> MonthWriter<'a> {
    pub fn new(layout: &Layout, provenance: &'a Provenance, vehicle: &'a str) -> Self {
        Self { vehicle, folder: layout.samples_folder(vehicle), provenance, open: None, written: Vec::new() }
    }

    /// Adds rows of a frame sorted by time, later than those before.
    pub fn write(&mut self, frame: &Frame, rows: std::ops::Range<usize>) -> Result<(), IngestError> {
        let mut start = rows.start;
        while start < rows.end {
            let month = month_of(frame.time_ns[start]);
            let length = frame.time_ns[start..rows.end].partition_point(|t| month_of(*t) <= month);
            let batch = frame.to_batch(self.vehicle, start..start + length)?;
            self.month(month)?.write(&batch)?;
            start += length;
        }
        Ok(())
    }

    /// Puts the last month in its place and removes months of an earlier run that this one no longer has.
    pub fn finish(mut self) -> Result<(), IngestError> {
        self.close()?;
        remove_others(&self.folder, &self.written)
    }

    fn month(&mut self, month: Month) -> Result<&mut TableWriter, IngestError> {
        if self.open.as_ref().is_some_and(|(open, _)| *open != month) {
            self.close()?;
        }
        let writer = match self.open.take() {
            Some((_, writer)) => writer,
            None => {
                let name = format!("{:04}-{:02}.parquet", month.0, month.1);
                let writer = TableWriter::create(&self.folder.join(&name), &SAMPLES, self.provenance)?;
                self.written.push(name);
                writer
            }
        };
        Ok(&mut self.open.insert((month, writer)).1)
    }

    fn close(&mut self) -> Result<(), IngestError> {
        match self.open.take() {
            Some((_, writer)) => Ok(writer.finish().map(drop)?),
            None => Ok(()),
        }
    }
}

fn month_of(time_ns: i64) -> (i16, i8) {
    let stamp = Timestamp::from_nanosecond(i128::from(time_ns)).unwrap_or(Timestamp::UNIX_EPOCH);
    let date = jiff::tz::Offset::UTC.to_datetime(stamp).date();
    (date.year(), date.month())
}

/// Months of an earlier run that this one no longer has.
fn remove_others(folder: &std::path::Path, keep: &[String]) -> Result<(), IngestError> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Ok(()) };
    for entry in entries.flatten() {
        let path = entry.path();
        let ours = path.extension().is_some_and(|e| e == "parquet");
        if ours && !keep.iter().any(|name| entry.file_name() == name.as_str()) {
            std::fs::remove_file(&path).map_err(|source| IngestError::Io { doing: "remove", path, source })?;
        }
    }
    Ok(())
}
