//! One log file, record by record: rows that stand go to the spool of their vehicle, the rest to the rejects.

use std::collections::BTreeMap;

use crate::IngestError;
use crate::clock::VEHICLES_MOST;
use crate::formats::{self, Fields, Opened, Records, RowText};
use crate::frame::{Frame, Row};
use crate::header::Plan;
use crate::input::Input;
use crate::receipt::Receipt;
use crate::rejects::{Refusal, RejectWriter};
use crate::row::{Fault, RowReader};
use crate::settings::{LogFile, Settings, Source, TimeKind};
use crate::spool::Spool;

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
    let Opened { records, description, decimal_comma, sparse, promised, .. } =
        match open(source, file, spool, &mut receipt) {
            Ok(opened) => opened,
            Err(error) => {
                receipt.problem = Some(format!("cannot read: {error}"));
                return Ok(receipt);
            }
        };
    receipt.dialect = Some(description);
    receipt.sparse = sparse;
    let plan = match Plan::find(source, file, records.names()) {
        Ok(plan) => plan,
        Err(reason) => {
            receipt.problem = Some(reason);
            return Ok(receipt);
        }
    };
    receipt.columns_missing.clone_from(&plan.missing);
    receipt.clock_relative = matches!(source.time.kind, TimeKind::Relative(_));
    let row_reader = RowReader::new(settings, source, file, plan, decimal_comma);
    let reading = FileReading {
        file,
        row_reader,
        promised,
        parts: BTreeMap::new(),
        in_flight: 0,
        rows_in_flight: settings.window_rows() as usize / 2,
        receipt,
        rejects,
    };
    reading.run(records, spool)
}

fn open(source: &Source, file: &LogFile, spool: &Spool, receipt: &mut Receipt) -> std::io::Result<Opened> {
    match &file.member {
        None => {
            receipt.bytes = std::fs::metadata(&file.path)?.len();
            receipt.digest = backwatt_store::digest_file(&file.path).ok();
        }
        Some(member) => {
            receipt.bytes = member.packed_bytes();
            receipt.digest = Some(backwatt_store::digest_reader(member.packed(&file.path)?)?);
        }
    }
    let input = Input::open(file, source.unpacking)?.with_scratch(spool.folder());
    let packing: String = input.packing().iter().map(|name| format!("{name}, ")).collect();
    let opened = formats::open(source, input)?;
    Ok(Opened { description: packing + &opened.description, ..opened })
}

struct FileReading<'a> {
    file: &'a LogFile,
    row_reader: RowReader<'a>,
    promised: bool,
    /// By vehicle: its rows in flight.
    parts: BTreeMap<String, Frame>,
    in_flight: usize,
    rows_in_flight: usize,
    receipt: Receipt,
    rejects: &'a mut RejectWriter,
}

impl FileReading<'_> {
    fn run(mut self, mut records: Box<dyn Records>, spool: &Spool) -> Result<Receipt, IngestError> {
        let mut fields = Fields::default();
        loop {
            match records.next(&mut fields) {
                Ok(RowText::Row { line, raw }) => {
                    self.receipt.rows_in += 1;
                    self.take(&fields, line, raw)?;
                }
                Ok(RowText::Refused { line, raw, reason, message }) => {
                    self.receipt.rows_in += 1;
                    self.refuse(line, reason, message.into_owned(), &raw)?;
                }
                Ok(RowText::End) => break,
                // A read error in the middle of a file ends it there, and its receipt says so.
                Err(error) => {
                    self.receipt.problem = Some(format!("reading stopped: {error}"));
                    break;
                }
            }
            if self.in_flight >= self.rows_in_flight {
                self.spill(spool)?;
            }
        }
        if self.promised {
            self.receipt.columns_missing.extend(self.row_reader.never_filled());
        }
        self.row_reader.suspect_units(&mut self.receipt);
        for (kind, count) in records.passed().into_iter().filter(|(_, count)| *count > 0) {
            *self.receipt.rules.entry(kind).or_default() += count;
        }
        for (vehicle, frame) in &self.parts {
            spool.write(vehicle, &self.file.shown, frame)?;
        }
        for (vehicle, shift) in self.row_reader.finish_clocks(&mut self.receipt) {
            spool.shift(vehicle, &self.file.shown, shift);
        }
        Ok(self.receipt)
    }

    fn take(&mut self, fields: &Fields, line: u64, raw: Vec<u8>) -> Result<(), IngestError> {
        let read = self.row_reader.read(fields, line, &mut self.receipt, self.rejects)?;
        match read.and_then(|(vehicle, row)| self.keep(vehicle, row)) {
            Ok(()) => Ok(()),
            Err((reason, message)) => {
                let raw = if raw.is_empty() { fields.joined() } else { raw };
                self.refuse(line, reason, message, &raw)
            }
        }
    }

    fn keep(&mut self, vehicle: String, mut row: Row) -> Result<(), Fault> {
        if self.parts.len() >= VEHICLES_MOST && !self.parts.contains_key(&vehicle) {
            let message =
                format!("more than {VEHICLES_MOST} vehicles in one file: is that column the vehicle?");
            return Err(("too-many-vehicles", message));
        }
        if self.row_reader.gave_gps_alone(&row) {
            self.receipt.rows_kept += 1;
            self.receipt.rows_merged += 1;
            return Ok(());
        }
        let frame = &mut self.parts.entry(vehicle).or_default();
        row.file = frame.pool.number(&self.file.shown);
        for (text, number) in self.row_reader.texts.iter().zip(&mut row.texts) {
            *number = if text.is_empty() { 0 } else { frame.pool.number(text) };
        }
        frame.push(&row);
        self.in_flight += 1;
        self.receipt.rows_kept += 1;
        Ok(())
    }

    /// Writes out the fullest frame, so that memory is bounded by the rows in flight and not by the file.
    fn spill(&mut self, spool: &Spool) -> Result<(), IngestError> {
        let Some((vehicle, frame)) = self.parts.iter_mut().max_by_key(|(_, frame)| frame.len()) else {
            return Ok(());
        };
        spool.write(vehicle, &self.file.shown, frame)?;
        self.in_flight -= frame.len();
        frame.clear();
        Ok(())
    }

    fn refuse(
        &mut self,
        line: u64,
        reason: &'static str,
        message: String,
        raw: &[u8],
    ) -> Result<(), IngestError> {
        self.receipt.refuse_row(reason, line);
        self.rejects.push(Refusal::row(&self.file.shown, line, reason, message, raw))
    }
}
