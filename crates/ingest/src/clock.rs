//! The clocks of a file's rows: the instant of each, and GPS time beside it.

use std::collections::BTreeMap;

use crate::IngestError;
use crate::formats::Fields;
use crate::gps_clock::Witness;
use crate::header::Plan;
use crate::receipt::Receipt;
use crate::rejects::{Refusal, RejectWriter, start_of};
use crate::row::{Fault, cell};
use crate::settings::{GpsClock, LogFile, Settings, Source, TimeKind};
use crate::shift::Shift;
use crate::time::{Readings, TimeFault, readings};
use crate::value::is_missing;

/// Reason of a row whose time the clock showed never.
pub const SKIPPED: &str = "time-skipped";
/// More vehicles in one file are a wrong column, and each costs a file of its own.
pub const VEHICLES_MOST: usize = 5000;

pub struct FileClock<'a> {
    settings: &'a Settings,
    source: &'a Source,
    file: &'a LogFile,
    decimal_comma: bool,
    vehicles: BTreeMap<String, Seen>,
}

/// What was seen of a vehicle's clock.
struct Seen {
    /// The instant of the row before.
    before_ns: i64,
    rows: u64,
    gps: Witness,
}

impl<'a> FileClock<'a> {
    pub fn new(settings: &'a Settings, source: &'a Source, file: &'a LogFile, decimal_comma: bool) -> Self {
        Self { settings, source, file, decimal_comma, vehicles: BTreeMap::new() }
    }

    /// What a row's time may mean.
    pub fn read(&self, plan: &Plan, fields: &Fields) -> Result<Readings, Fault> {
        let text = joined(fields, &plan.time);
        if is_missing(text.trim(), &self.source.missing) {
            return Err(("time-missing", "the row has no time".into()));
        }
        let plus = plan.time_plus.map(|at| cell(fields, at));
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
        let accepted = match kind {
            // A relative clock starts at its file; ten years of one file is a fault.
            TimeKind::Relative(_) => -86_400_000_000_000..=315_360_000_000_000_000,
            _ => self.settings.time_earliest_ns..=self.settings.time_latest_ns,
        };
        if !accepted.contains(&readings.earlier_ns) {
            return Err(("time-out-of-range", format!("\"{}\" is outside the accepted years", shown())));
        }
        Ok(readings)
    }

    /// The instant of a row, told by the row before of its vehicle where the hour happened twice.
    pub fn settle(&mut self, readings: Readings, vehicle: &str, receipt: &mut Receipt) -> i64 {
        let time_ns = readings.after(self.vehicles.get(vehicle).map(|seen| seen.before_ns));
        receipt.rows_repeated_hour += u64::from(readings.later_ns.is_some());
        receipt.rows_repeated_hour_later += u64::from(readings.later_ns == Some(time_ns));
        if let Some(seen) = self.vehicles.get_mut(vehicle) {
            seen.before_ns = time_ns;
            seen.rows += 1;
        } else if self.vehicles.len() < VEHICLES_MOST {
            let seen = Seen { before_ns: time_ns, rows: 1, gps: Witness::default() };
            self.vehicles.insert(vehicle.to_owned(), seen);
        }
        time_ns
    }

    /// Hears the GPS time of a row, and says if it has one. A cell that is no such time is refused and costs itself alone.
    pub fn hear_gps(
        &mut self,
        plan: &Plan,
        fields: &Fields,
        (vehicle, time_ns, line): (&str, i64, u64),
        receipt: &mut Receipt,
        rejects: &mut RejectWriter,
    ) -> Result<bool, IngestError> {
        let (Some(gps), Some(at)) = (&self.source.time.gps, &plan.gps) else { return Ok(false) };
        let text = joined(fields, at);
        if is_missing(text.trim(), &self.source.missing) {
            return Ok(false);
        }
        match self.gps_time(gps, &text, time_ns) {
            Ok(gps_ns) => {
                if let Some(seen) = self.vehicles.get_mut(vehicle) {
                    seen.gps.hear(time_ns, gps_ns);
                }
            }
            Err((reason, message)) => {
                receipt.refuse_cell(reason, line);
                rejects.push(Refusal {
                    file: self.file.shown.clone(),
                    line,
                    reason,
                    cell: Some((gps.columns.join(" "), start_of(text.as_bytes(), 200))),
                    message,
                    raw: None,
                })?;
            }
        }
        Ok(true)
    }

    /// Whether some row of the file had a GPS time.
    pub fn heard_gps(&self) -> bool {
        self.vehicles.values().any(|seen| seen.gps.verdict().is_some())
    }

    fn gps_time(&self, gps: &GpsClock, text: &str, time_ns: i64) -> Result<i64, Fault> {
        let readings = readings(text, None, &gps.kind, self.decimal_comma)
            .map_err(|_| ("gps-time-unreadable", "not a time as stated".to_owned()))?;
        let accepted = self.settings.time_earliest_ns..=self.settings.time_latest_ns;
        if !accepted.contains(&readings.earlier_ns) {
            return Err(("gps-time-out-of-range", "outside the accepted years".to_owned()));
        }
        Ok(readings.nearest(time_ns))
    }

    /// Tells the receipt of every vehicle's clock, and gives back which rows stand how much later on the timeline.
    pub fn finish(&self, receipt: &mut Receipt) -> Vec<(&str, Shift)> {
        let Some(gps) = &self.source.time.gps else { return Vec::new() };
        receipt.clocks.follow = gps.follow;
        let mut shifts = Vec::new();
        for (vehicle, seen) in &self.vehicles {
            let verdict = seen.gps.verdict();
            receipt.clocks.add(vehicle, verdict);
            if let Some(shift) = verdict.and_then(|verdict| verdict.correction).filter(|_| gps.follow) {
                receipt.rows_on_gps_time += seen.rows;
                shifts.push((vehicle.as_str(), shift));
            }
        }
        shifts
    }
}

fn joined(fields: &Fields, at: &[usize]) -> String {
    let texts: Vec<_> = at.iter().map(|at| cell(fields, *at)).collect();
    texts.iter().map(|text| text.trim()).collect::<Vec<_>>().join(" ")
}
