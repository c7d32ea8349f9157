//! Drives one truck through all its days and writes its log files.

use std::path::Path;

use crate::drive::day::{self, DayTruth, soc_at_start_frac, stream};
use crate::error::{DemoError, make_folder, write_file};
use crate::fleet::roster::Shift;
use crate::fleet::trucks::{Format, Truck};
use crate::logger::defect_plan::{DefectKind, Planned};
use crate::logger::defects::{Done, harm};
use crate::logger::lines::LogText;
use crate::logger::reading::read_day;
use crate::place::routes::Route;

/// What all trucks share.
pub struct Setting<'a> {
    pub root: &'a Path,
    pub seed: u64,
    pub fleet: &'a [Truck],
    pub routes: &'a [Route],
    pub planned: &'a [Planned],
}

/// A defect with its place in a file.
pub struct DefectRecord {
    pub done: Done,
    pub shift: Shift,
    pub file: String,
    pub line: u64,
}

/// What one truck left behind.
#[derive(Default)]
pub struct TruckLogs {
    pub days: Vec<DayTruth>,
    pub defects: Vec<DefectRecord>,
    pub files: usize,
    pub rows: u64,
}

/// Writes a truck's logs, calling `on_day` after each day.
pub fn write(setting: &Setting, shifts: &[Shift], on_day: &dyn Fn()) -> Result<TruckLogs, DemoError> {
    let mut logs = TruckLogs::default();
    let mut open: Option<(String, LogText<'_>)> = None;
    let mut odometer_m = shifts.first().map_or(0.0, |shift| setting.fleet[shift.truck].odometer_start_m);
    for (index, &shift) in shifts.iter().enumerate() {
        let spec = &setting.fleet[shift.truck];
        let file = file_of(spec, shift);
        if open.as_ref().is_some_and(|(name, _)| *name != file) {
            close(setting.root, &mut open, &mut logs)?;
        }
        let (_, text) = open.get_or_insert_with(|| (file.clone(), LogText::new(spec, &week_of(shift))));
        let soc_next_frac = shifts.get(index + 1).map_or(1.0, |next| soc_at_start_frac(setting.seed, *next));
        let route = &setting.routes[shift.route];
        let run = day::drive(setting.seed, spec, shift, route, soc_next_frac);
        let readings = read_day(setting.seed, spec, &run, route.name, odometer_m);
        odometer_m += run.truth.day.distance_m * spec.wheel_scale;
        let rng = stream(setting.seed, shift, 3);
        let harmed = harm(readings, &kinds_of(setting.planned, shift), spec.period_s, rng);
        let line_of_row = text.push_day(&harmed);
        logs.defects.extend(harmed.done.into_iter().map(|done| DefectRecord {
            line: line_of_row[done.rows.start] - u64::from(done.kind == DefectKind::RepeatedHeader),
            done,
            shift,
            file: file.clone(),
        }));
        logs.days.push(run.truth);
        on_day();
    }
    close(setting.root, &mut open, &mut logs)?;
    Ok(logs)
}

fn kinds_of(planned: &[Planned], shift: Shift) -> Vec<DefectKind> {
    planned
        .iter()
        .filter(|planned| (planned.truck, planned.day) == (shift.truck, shift.day))
        .map(|planned| planned.kind)
        .collect()
}

fn close(root: &Path, open: &mut Option<(String, LogText<'_>)>, logs: &mut TruckLogs) -> Result<(), DemoError> {
    if let Some((file, text)) = open.take() {
        let path = root.join(file);
        if let Some(folder) = path.parent() {
            make_folder(folder)?;
        }
        write_file(&path, &text.bytes)?;
        logs.files += 1;
        logs.rows += text.rows;
    }
    Ok(())
}

/// The file a day is logged in, relative to the pilot's folder.
fn file_of(spec: &Truck, shift: Shift) -> String {
    let id = spec.id;
    match spec.format {
        Format::Harbour => format!("logs/harbour/{id}/{}.csv", shift.date()),
        Format::Upland => format!("logs/upland/{id}_{}.csv", week_of(shift)),
    }
}

/// ISO 8601 week, such as `2026-W06`.
fn week_of(shift: Shift) -> String {
    let week = shift.date().iso_week_date();
    format!("{:04}-W{:02}", week.year(), week.week())
}
