//! A made-up pilot: a forward model drives made-up trucks through a made-up town and writes the raw logs that their
//! loggers would have left, the pilot file that goes with them, and the truth.
//!
//! Deliberately absent: any code or loss model of the crates that analyse logs. A model that inverts itself
//! proves nothing.

mod drive;
mod error;
mod fleet;
mod logger;
mod out;
mod place;
pub mod trial;

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

pub use error::DemoError;
use error::{make_folder, write_file};
use fleet::roster::{Shift, shifts_by_truck};
use fleet::trucks::{Truck, fleet};
use out::truck_logs::{Setting, TruckLogs};

/// How much to make.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// Two trucks, three days.
    Small,
    /// Six trucks, eight weeks.
    Full,
    /// Twenty trucks on sixty days, to time the stages with.
    Large,
}

/// What was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    pub pilot_file: PathBuf,
    pub truth_dir: PathBuf,
    pub log_files: usize,
    pub rows: u64,
    pub vehicle_days: usize,
}

/// Writes a pilot into `dir`. The same size and seed give the same bytes.
///
/// `on_progress` is called with vehicle-days done and in all, from whichever thread finished one.
pub fn write(
    dir: &Path,
    size: Size,
    seed: u64,
    on_progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Made, DemoError> {
    make_folder(dir)?;
    let shifts = shifts_by_truck(size, seed);
    let routes = place::routes::all();
    let trucks = fleet(size);
    let planned = logger::defect_plan::plan(size, seed, &trucks, &shifts);
    let setting = Setting { root: dir, seed, fleet: &trucks, routes: &routes, planned: &planned };
    let logs = write_all_logs(&setting, &shifts, on_progress)?;

    let truth_dir = dir.join("truth");
    out::truth::write(&truth_dir, &trucks, &routes, &logs)?;
    let sessions = out::charge_sessions::text(&trucks, &logs);
    write_file(&dir.join(out::charge_sessions::FILE), sessions.as_bytes())?;
    let driven: Vec<&Truck> =
        shifts.iter().filter_map(|own| own.first()).map(|shift| &trucks[shift.truck]).collect();
    let pilot_file = dir.join("pilot.toml");
    write_file(&pilot_file, out::pilot_file::text(&driven).as_bytes())?;
    write_file(&dir.join("README.md"), out::readme::TEXT.as_bytes())?;
    Ok(Made {
        pilot_file,
        truth_dir,
        log_files: logs.iter().map(|own| own.files).sum(),
        rows: logs.iter().map(|own| own.rows).sum(),
        vehicle_days: logs.iter().map(|own| own.days.len()).sum(),
    })
}

/// Trucks are independent of each other: workers take them one by one, results keep the fleet's order.
fn write_all_logs(
    setting: &Setting,
    shifts: &[Vec<Shift>],
    on_progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Vec<TruckLogs>, DemoError> {
    let total = shifts.iter().map(Vec::len).sum();
    let (next_truck, days_done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let on_day = || on_progress(days_done.fetch_add(1, Ordering::Relaxed) + 1, total);
    let work = || {
        let mut own = Vec::new();
        while let Some((index, shifts)) = take_next(&next_truck, shifts) {
            own.push((index, out::truck_logs::write(setting, shifts, &on_day)));
        }
        own
    };
    let workers = std::thread::available_parallelism().map_or(1, usize::from).min(shifts.len());
    let mut results = std::thread::scope(|scope| {
        let others: Vec<_> = (1..workers).map(|_| scope.spawn(work)).collect();
        let mut results = work();
        for other in others {
            match other.join() {
                Ok(own) => results.extend(own),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        results
    });
    results.sort_by_key(|(index, _)| *index);
    results.into_iter().map(|(_, result)| result).collect()
}

fn take_next<'a>(next: &AtomicUsize, shifts: &'a [Vec<Shift>]) -> Option<(usize, &'a [Shift])> {
    let index = next.fetch_add(1, Ordering::Relaxed);
    shifts.get(index).map(|own| (index, own.as_slice()))
}
