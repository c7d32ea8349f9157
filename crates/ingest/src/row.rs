//! One record to one row: its time, its vehicle, its cells. The same for every format.

use std::borrow::Cow;
use std::collections::HashMap;

use crate::IngestError;
use crate::clock::{FileClock, SKIPPED, VEHICLES_MOST};
use crate::formats::Fields;
use crate::frame::{Row, mask};
use crate::header::{Carried, GPS_TIME, Plan};
use crate::receipt::Receipt;
use crate::rejects::{Refusal, RejectWriter, start_of};
use crate::rules::units::RangeTally;
use crate::settings::{LogFile, Settings, Source};
use crate::shift::Shift;
use crate::signal::TEXTS;
use crate::value::{is_missing, parse_number};

/// Why a row was refused: reason and message.
pub type Fault = (&'static str, String);

/// What a file's records mean, and the state carried from row to row.
pub struct RowReader<'a> {
    source: &'a Source,
    file: &'a LogFile,
    plan: Plan,
    clock: FileClock<'a>,
    decimal_comma: bool,
    carried: Vec<Carried>,
    /// By column: some cell had a value, good or bad.
    met: Vec<bool>,
    /// By column: how much of it lies out of range.
    ranges: Vec<RangeTally>,
    /// By vehicle: the latest instant so far.
    latest_ns: HashMap<String, i64>,
    /// Texts of the row read last.
    pub texts: [String; TEXTS],
    /// The row read last had a GPS time.
    has_gps: bool,
}

impl<'a> RowReader<'a> {
    pub fn new(
        settings: &'a Settings,
        source: &'a Source,
        file: &'a LogFile,
        plan: Plan,
        decimal_comma: bool,
    ) -> Self {
        let carried = vec![Carried::default(); plan.width()];
        let met = vec![false; plan.width()];
        let ranges = vec![RangeTally::default(); plan.width()];
        Self {
            clock: FileClock::new(settings, source, file, decimal_comma),
            source,
            file,
            plan,
            decimal_comma,
            carried,
            met,
            ranges,
            latest_ns: HashMap::new(),
            texts: <[String; TEXTS]>::default(),
            has_gps: false,
        }
    }

    /// Whether the row read last had a GPS time and nothing else, as in the long form: it has given all it had.
    pub fn gave_gps_alone(&self, row: &Row) -> bool {
        self.has_gps && row.is_bare() && self.texts.iter().all(String::is_empty)
    }

    /// The vehicle and the row, or why the row is refused. A refused cell goes to the rejects and costs itself alone.
    pub fn read(
        &mut self,
        fields: &Fields,
        line: u64,
        receipt: &mut Receipt,
        rejects: &mut RejectWriter,
    ) -> Result<Result<(String, Row), Fault>, IngestError> {
        let found =
            self.clock.read(&self.plan, fields).and_then(|readings| Ok((readings, self.vehicle(fields)?)));
        let (readings, vehicle) = match found {
            Ok(found) => found,
            Err(fault) => {
                receipt.rows_skipped_hour += u64::from(fault.0 == SKIPPED);
                return Ok(Err(fault));
            }
        };
        let time_ns = self.clock.settle(readings, &vehicle, receipt);
        self.has_gps = self.clock.hear_gps(&self.plan, fields, (&vehicle, time_ns, line), receipt, rejects)?;
        let mut row = Row { time_ns, line, ..Row::default() };
        if self.is_behind(&vehicle, time_ns) {
            receipt.rows_out_of_order += 1;
            receipt.meet("out-of-order", line);
            row.mask |= mask::OUT_OF_ORDER;
        }
        if receipt.clock_relative {
            row.mask |= mask::RELATIVE;
        }
        self.cells(fields, &mut row, receipt, rejects)?;
        Ok(Ok((vehicle, row)))
    }

    /// Whether a later instant of the same vehicle stood before: a file may hold one vehicle after another.
    fn is_behind(&mut self, vehicle: &str, time_ns: i64) -> bool {
        if let Some(latest) = self.latest_ns.get_mut(vehicle) {
            let is_behind = time_ns < *latest;
            *latest = time_ns.max(*latest);
            return is_behind;
        }
        // Of more vehicles than these no row is kept.
        if self.latest_ns.len() < VEHICLES_MOST {
            self.latest_ns.insert(vehicle.to_owned(), time_ns);
        }
        false
    }

    /// Signals of the mapping that no record had a value of.
    pub fn never_filled(&self) -> impl Iterator<Item = &'static str> {
        let columns = self.plan.columns.iter().zip(&self.met);
        let silent = columns.filter(|(_, met)| !**met).map(|(column, _)| column.signal().name);
        silent.chain((self.plan.gps.is_some() && !self.clock.heard_gps()).then_some(GPS_TIME))
    }

    /// Tells the receipt of columns that lie out of range so often that their unit is in doubt.
    pub fn suspect_units(&self, receipt: &mut Receipt) {
        for (column, range) in self.plan.columns.iter().zip(&self.ranges) {
            if let Some(suspicion) = column.unit_suspicion(range) {
                receipt.suspect(&format!("{}, {}", suspicion.text, suspicion.hint));
            }
        }
    }

    /// Tells the receipt of the clocks, and gives back which vehicles' rows stand how much later on the timeline.
    pub fn finish_clocks(&self, receipt: &mut Receipt) -> Vec<(&str, Shift)> {
        self.clock.finish(receipt)
    }

    fn vehicle(&self, fields: &Fields) -> Result<String, Fault> {
        let missing = || ("vehicle-missing", "the row names no vehicle".to_owned());
        if let Some(vehicle) = self.file.vehicle.as_ref().filter(|vehicle| !vehicle.is_empty()) {
            return Ok(vehicle.clone());
        }
        let at = self.plan.vehicle.ok_or_else(missing)?;
        match std::str::from_utf8(fields.get(at).unwrap_or_default()).map(str::trim) {
            Ok(text) if is_missing(text, &self.source.missing) => Err(missing()),
            Ok(text) => Ok(text.to_owned()),
            Err(_) => Err(("not-text", "the vehicle's name is not text in the file's encoding".to_owned())),
        }
    }

    fn cells(
        &mut self,
        fields: &Fields,
        row: &mut Row,
        receipt: &mut Receipt,
        rejects: &mut RejectWriter,
    ) -> Result<(), IngestError> {
        self.texts = <[String; TEXTS]>::default();
        let columns = self.plan.columns.iter().zip(&mut self.carried).zip(&mut self.met).zip(&mut self.ranges);
        for (((column, carried), met), range) in columns {
            let text = cell(fields, column.at);
            let text = text.trim();
            if is_missing(text, &self.source.missing) {
                column.blank(row, carried, &mut self.texts, receipt);
                continue;
            }
            *met = true;
            let is_text = std::str::from_utf8(fields.get(column.at).unwrap_or_default()).is_ok();
            let read = if is_text {
                column.read(text, self.decimal_comma, row, &mut self.texts)
            } else {
                Err(("not-text", "not text in the file's encoding".to_owned()))
            };
            match read {
                Ok(value) => {
                    *carried = value;
                    range.accepted += 1;
                }
                Err((reason, message)) => {
                    if let ("speed-range" | "out-of-range", Some(written)) =
                        (reason, parse_number(text, self.decimal_comma))
                    {
                        range.refuse(written);
                    }
                    row.mask |= mask::CELL_REFUSED;
                    if reason == "speed-range" {
                        row.mask |= mask::SPEED_RANGE;
                    }
                    receipt.refuse_cell(reason, row.line);
                    rejects.push(Refusal {
                        file: self.file.shown.clone(),
                        line: row.line,
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
}

pub fn cell(fields: &Fields, at: usize) -> Cow<'_, str> {
    String::from_utf8_lossy(fields.get(at).unwrap_or_default())
}
