//! The second pass: the rows of one vehicle, window by window, sorted, merged, settled, judged by the rules and written.

use std::collections::BTreeMap;

use backwatt_schema::Problem;
use backwatt_store::{Layout, Provenance};

use crate::cadence::Cadence;
use crate::elevation::{Heights, Survey};
use crate::frame::{Frame, mask};
use crate::merge::sort_and_merge;
use crate::months::MonthWriter;
use crate::receipt::Receipt;
use crate::rejects::{Refusal, RejectWriter};
use crate::rules::{self, Refused};
use crate::settings::Settings;
use crate::settle::{Hearing, Settled};
use crate::signal::{LATITUDE, LONGITUDE, SIGNALS, SPEED};
use crate::spool::{Spool, Timeline};
use crate::window::{HOUR_NS, Window};
use crate::{IngestError, beside, frozen, gather, held};

/// Rows read around a window: longer than any rule remembers. [ns]
const CONTEXT_NS: i64 = 600_000_000_000;
/// Where a weather table is asked, a log's own weather stands for an hour.
const CONTEXT_WEATHER_NS: i64 = HOUR_NS;

/// What every vehicle's second pass needs.
pub struct Job<'a> {
    pub settings: &'a Settings,
    pub survey: Option<&'a Survey>,
    pub layout: &'a Layout,
    pub provenance: &'a Provenance,
    pub spool: &'a Spool,
    pub files: &'a BTreeMap<String, FileKind>,
}

/// What the second pass has to know of a file.
#[derive(Debug, Clone, Copy)]
pub struct FileKind {
    /// Position among the sources.
    pub source: usize,
    /// Its rows are gathered onto the instants of the speed.
    pub gathers: bool,
}

/// What the second pass found.
#[derive(Debug, Default)]
pub struct VehicleOutcome {
    /// What is to be added to the receipt of each file.
    pub tallies: Tallies,
    pub cadences: BTreeMap<String, Cadence>,
    /// How the sign of the battery signal is known, by source.
    pub signs: BTreeMap<String, String>,
    /// Signals in doubt, by source.
    pub suspected: BTreeMap<String, Vec<String>>,
    pub problems: Vec<Problem>,
}

/// Receipts of the second pass, by file.
#[derive(Debug, Default)]
pub struct Tallies(pub BTreeMap<String, Receipt>);

impl Tallies {
    pub fn of(&mut self, file: &str) -> &mut Receipt {
        self.0.entry(file.to_owned()).or_default()
    }
}

pub fn finish_vehicle(job: &Job<'_>, vehicle: &str) -> Result<VehicleOutcome, IngestError> {
    let timeline = job.spool.timeline(vehicle);
    let context_ns = if job.settings.weather.is_some() { CONTEXT_WEATHER_NS } else { CONTEXT_NS };
    let windows = timeline.windows(job.settings.window_rows(), context_ns);
    let mut pass = Pass {
        job,
        vehicle,
        outcome: VehicleOutcome::default(),
        rejects: RejectWriter::new(job.layout.rejects_of_vehicle(vehicle), job.provenance),
        months: MonthWriter::new(job.layout, job.provenance, vehicle),
        heights: job.survey.map(Heights::new),
        against: beside::Against::new(),
    };
    if let [only] = &windows[..] {
        let frame = pass.prepare(&timeline, only)?;
        let mut hearing = Hearing::default();
        hearing.hear(job.settings, &frame, &kinds(&frame, job.files), only);
        let settled = hearing.settle(job.settings, vehicle);
        pass.finish_window(frame, only, &settled)?;
        return pass.finish(settled);
    }
    // Signs and units are known once every row was heard: each window is read twice.
    let mut hearing = Hearing::default();
    for window in &windows {
        let mut deaf = Tallies::default();
        let raw = job.spool.read(&timeline, window)?;
        let frame = merged_and_gathered(job, raw, window, &mut deaf, &mut RejectWriter::dropping())?;
        hearing.hear(job.settings, &frame, &kinds(&frame, job.files), window);
    }
    let settled = hearing.settle(job.settings, vehicle);
    for window in &windows {
        let frame = pass.prepare(&timeline, window)?;
        pass.finish_window(frame, window, &settled)?;
    }
    pass.finish(settled)
}

/// The pass that writes.
struct Pass<'a> {
    job: &'a Job<'a>,
    vehicle: &'a str,
    outcome: VehicleOutcome,
    rejects: RejectWriter,
    months: MonthWriter<'a>,
    heights: Option<Heights<'a>>,
    against: beside::Against,
}

impl Pass<'_> {
    fn prepare(&mut self, timeline: &Timeline, window: &Window) -> Result<Frame, IngestError> {
        let raw = self.job.spool.read(timeline, window)?;
        count_steps(&raw, window, self.job.files, &mut self.outcome.cadences);
        merged_and_gathered(self.job, raw, window, &mut self.outcome.tallies, &mut self.rejects)
    }

    fn finish_window(
        &mut self,
        mut frame: Frame,
        window: &Window,
        settled: &Settled,
    ) -> Result<(), IngestError> {
        let settings = self.job.settings;
        let kinds = kinds(&frame, self.job.files);
        settled.apply(&mut frame, &kinds);
        let interval_s = crate::median_interval_s(&frame.time_ns).unwrap_or(1.0);
        frozen::mark(&mut frame, settings.frozen_after_s, interval_s);
        held::mark_positions(&mut frame);
        let refused = rules::apply(&mut frame);
        let own = window.own(&frame.time_ns);
        for refused in refused.iter().filter(|refused| own.contains(&refused.row)) {
            self.refuse(&frame, refused)?;
        }
        self.count_marks(&frame, own.clone());
        beside::fill(settings, self.vehicle, &mut frame, own.clone(), &mut self.against);
        if let Some(heights) = &mut self.heights {
            frame.terrain = terrain(heights, &frame);
        }
        self.months.write(&frame, own)
    }

    fn refuse(&mut self, frame: &Frame, refused: &Refused) -> Result<(), IngestError> {
        let file = frame.pool.text(frame.file[refused.row]).unwrap_or("");
        self.outcome.tallies.of(file).cells_refused += 1;
        let signal = &SIGNALS[refused.signal];
        self.rejects.push(Refusal {
            file: file.to_owned(),
            line: frame.line[refused.row],
            reason: refused.reason,
            cell: Some((signal.column.to_owned(), refused.value.to_string())),
            message: refused.message.clone(),
            raw: None,
        })
    }

    fn count_marks(&mut self, frame: &Frame, own: std::ops::Range<usize>) {
        let any = rules::CODES.iter().fold(0, |all, (bit, _)| all | bit);
        for row in own.filter(|row| frame.mask[*row] & any != 0) {
            let tally = self.outcome.tallies.of(frame.pool.text(frame.file[row]).unwrap_or(""));
            let met = frame.mask[row];
            tally.rows_frozen += u64::from(met & mask::FROZEN != 0);
            tally.rows_marked += u64::from(met & any & !mask::FROZEN != 0);
            for (_, code) in rules::CODES.iter().filter(|(bit, _)| met & bit != 0) {
                tally.meet(code, frame.line[row]);
            }
        }
    }

    fn finish(mut self, settled: Settled) -> Result<VehicleOutcome, IngestError> {
        self.months.finish()?;
        self.rejects.finish()?;
        self.outcome.problems.extend(settled.problems);
        self.outcome.problems.extend(beside::contradiction(self.vehicle, &self.against));
        self.outcome.problems.extend(self.heights.map(Heights::into_problems).unwrap_or_default());
        (self.outcome.signs, self.outcome.suspected) = (settled.signs, settled.suspected_texts);
        Ok(self.outcome)
    }
}

fn merged_and_gathered(
    job: &Job<'_>,
    raw: Frame,
    window: &Window,
    tallies: &mut Tallies,
    rejects: &mut RejectWriter,
) -> Result<Frame, IngestError> {
    let frame = sort_and_merge(&raw, window, tallies, rejects)?;
    drop(raw);
    let gathers: Vec<bool> =
        kinds(&frame, job.files).iter().map(|kind| kind.is_some_and(|kind| kind.gathers)).collect();
    if !gathers.contains(&true) {
        return Ok(frame);
    }
    Ok(gather::gather(frame, &gathers, &mut |frame, at| {
        if window.holds(frame.time_ns[at]) {
            tallies.of(frame.pool.text(frame.file[at]).unwrap_or("")).rows_merged += 1;
        }
    }))
}

/// The kind of file each row came from.
fn kinds(frame: &Frame, files: &BTreeMap<String, FileKind>) -> Vec<Option<FileKind>> {
    let mut known: BTreeMap<u32, Option<FileKind>> = BTreeMap::new();
    let of = |file: &u32| frame.pool.text(*file).and_then(|name| files.get(name)).copied();
    frame.file.iter().map(|file| *known.entry(*file).or_insert_with(|| of(file))).collect()
}

/// Steps between the rows of each file; between its speeds, where rows are gathered onto them.
fn count_steps(
    frame: &Frame,
    window: &Window,
    files: &BTreeMap<String, FileKind>,
    cadences: &mut BTreeMap<String, Cadence>,
) {
    let kinds = kinds(frame, files);
    let mut times: BTreeMap<u32, Vec<i64>> = BTreeMap::new();
    for at in (0..frame.len()).filter(|at| window.holds(frame.time_ns[*at])) {
        let silent = kinds[at].is_some_and(|kind| kind.gathers) && frame.numbers[SPEED][at].is_nan();
        if !silent {
            times.entry(frame.file[at]).or_default().push(frame.time_ns[at]);
        }
    }
    for (file, mut times) in times {
        times.sort_unstable();
        if let Some(name) = frame.pool.text(file) {
            cadences.entry(name.to_owned()).or_default().add(&times);
        }
    }
}

/// The height of the terrain under every position.
fn terrain(heights: &mut Heights<'_>, frame: &Frame) -> Vec<Option<f64>> {
    let (lat, lon) = (&frame.numbers[LATITUDE], &frame.numbers[LONGITUDE]);
    let known = |(lat, lon): (&f64, &f64)| (!lat.is_nan() && !lon.is_nan()).then_some((*lat, *lon));
    lat.iter().zip(lon).map(|place| known(place).and_then(|(lat, lon)| heights.height(lat, lon))).collect()
}
