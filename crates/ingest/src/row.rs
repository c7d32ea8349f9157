//! One record to one row: its time, its vehicle, its cells. The same for every format.

use std::borrow::Cow;
use std::collections::BTreeMap;

use crate::IngestError;
use crate::formats::Fields;
use crate::frame::{Row, mask};
use crate::header::{Carried, Plan};
use crate::receipt::Receipt;
use crate::rejects::{Refusal, RejectWriter, start_of};
use crate::rules::units::RangeTally;
use crate::settings::{LogFile, Settings, Source, TimeKind};
use crate::signal::TEXTS;
use crate::time::{Readings, TimeFault, readings};
use crate::value::{is_missing, parse_number};

/// Why a row was refused: reason and message.
pub type Fault = (&'static str, String);

/// Reason of a row whose time the clock showed never.
const SKIPPED: &str = "time-skipped";
/// More vehicles in one file are a wrong column, and each costs a file of its own.
pub const VEHICLES_MOST: usize = 5000;

/// What a file's records mean, and the state carried from row to row.
pub struct RowReader<'a> {
    settings: &'a Settings,
    source: &'a Source,
    file: &'a LogFile,
    plan: Plan,
    decimal_comma: bool,
    carried: Vec<Carried>,
    /// By column: some cell had a value, good or bad.
    met: Vec<bool>,
    /// By column: how much of it lies out of range.
    ranges: Vec<RangeTally>,
    /// The latest instant so far.
    last_time: Option<i64>,
    /// By vehicle: the instant of its row before.
    before: BTreeMap<String, i64>,
    /// Texts of the row read last.
    pub texts: [String; TEXTS],
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
            settings,
            source,
            file,
            plan,
            decimal_comma,
            carried,
            met,
            ranges,
            last_time: None,
            before: BTreeMap::new(),
            texts: <[String; TEXTS]>::default(),
        }
    }

    /// The vehicle and the row, or why the row is refused. A refused cell goes to the rejects and costs itself alone.
    pub fn read(
        &mut self,
        fields: &Fields,
        line: u64,
        receipt: &mut Receipt,
        rejects: &mut RejectWriter,
    ) -> Result<Result<(String, Row), Fault>, IngestError> {
        let found = self.time(fields).and_then(|readings| Ok((readings, self.vehicle(fields)?)));
        let (readings, vehicle) = match found {
            Ok(found) => found,
            Err(fault) => {
                receipt.rows_skipped_hour += u64::from(fault.0 == SKIPPED);
                return Ok(Err(fault));
            }
        };
        let time_ns = self.settle_hour(readings, &vehicle, receipt);
        let mut row = Row { time_ns, line, ..Row::default() };
        if self.last_time.is_some_and(|last| time_ns < last) {
            receipt.rows_out_of_order += 1;
            receipt.meet("out-of-order", line);
            row.mask |= mask::OUT_OF_ORDER;
        }
        self.last_time = Some(self.last_time.map_or(time_ns, |last| last.max(time_ns)));
        if receipt.clock_relative {
            row.mask |= mask::RELATIVE;
        }
        self.cells(fields, &mut row, receipt, rejects)?;
        Ok(Ok((vehicle, row)))
    }

    /// Signals of the mapping that no record had a value of.
    pub fn never_filled(&self) -> impl Iterator<Item = &'static str> {
        let columns = self.plan.columns.iter().zip(&self.met);
        columns.filter(|(_, met)| !**met).map(|(column, _)| column.signal().name)
    }

    /// Tells the receipt of columns that lie out of range so often that their unit is in doubt.
    pub fn suspect_units(&self, receipt: &mut Receipt) {
        for (column, range) in self.plan.columns.iter().zip(&self.ranges) {
            if let Some(suspicion) = column.unit_suspicion(range) {
                receipt.suspect(&format!("{}, {}", suspicion.text, suspicion.hint));
            }
        }
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

    /// The instant of a row, told by the row before of its vehicle where the hour happened twice.
    fn settle_hour(&mut self, readings: Readings, vehicle: &str, receipt: &mut Receipt) -> i64 {
        let before = self.before.get(vehicle).copied();
        let time_ns = readings.after(before);
        receipt.rows_repeated_hour += u64::from(readings.later_ns.is_some());
        receipt.rows_repeated_hour_later += u64::from(readings.later_ns == Some(time_ns));
        if let Some(before) = self.before.get_mut(vehicle) {
            *before = time_ns;
        } else if self.before.len() < VEHICLES_MOST {
            self.before.insert(vehicle.to_owned(), time_ns);
        }
        time_ns
    }

    fn time(&self, fields: &Fields) -> Result<Readings, Fault> {
        let texts: Vec<_> = self.plan.time.iter().map(|at| cell(fields, *at)).collect();
        let parts: Vec<&str> = texts.iter().map(|text| text.trim()).collect();
        let text = parts.join(" ");
        if is_missing(text.trim(), &self.source.missing) {
            return Err(("time-missing", "the row has no time".into()));
        }
        let plus = self.plan.time_plus.map(|at| cell(fields, at));
        let kind = &self.source.time.kind;
        let shown = || start_of(text.as_bytes(), 60);
        let readings =
            readings(&text, plus.as_deref(), kind, self.decimal_comma).map_err(|fault| match fault {
                TimeFault::Unreadable => {
                    ("time-unreadable", format!("\"{}\" is not a time as stated", shown()))
                }
                TimeFault::Skipped => {
                    (SKIPPED, format!("\"{}\" was skipped when summer time began in this zone", shown()))
                }
            })?;
        let (earliest, latest) = match kind {
            // A relative clock starts at its file; ten years of one file is a fault.
            TimeKind::Relative(_) => (-86_400_000_000_000, 315_360_000_000_000_000),
            _ => (self.settings.time_earliest_ns, self.settings.time_latest_ns),
        };
        if !(earliest..=latest).contains(&readings.earlier_ns) {
            return Err(("time-out-of-range", format!("\"{}\" is outside the accepted years", shown())));
        }
        Ok(readings)
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

fn cell(fields: &Fields, at: usize) -> Cow<'_, str> {
    String::from_utf8_lossy(fields.get(at).unwrap_or_default())
}
