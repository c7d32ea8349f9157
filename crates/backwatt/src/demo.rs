//! The made-up pilot: written, then run like any other.

use std::path::{Path, PathBuf};

use backwatt_demo::{Size, write};
use backwatt_report::ReportOptions;

use crate::{BackwattError, Event, Outcome, Progress, Run};

/// What the demo wrote and what running it came to.
#[derive(Debug, Clone)]
pub struct Demo {
    pub pilot_file: PathBuf,
    pub truth_dir: PathBuf,
    pub out: PathBuf,
    pub log_files: usize,
    pub rows: u64,
    pub outcome: Outcome,
}

/// Writes the made-up pilot's logs into `dir` and runs every stage on them.
pub fn make_demo(dir: &Path, size: Size, seed: u64, progress: Progress<'_>) -> Result<Demo, BackwattError> {
    progress(Event::Stage { name: "drive", steps: 0 });
    let on_day = |done: usize, total: usize| {
        progress(Event::Step { what: format!("vehicle-day {done} of {total}") });
    };
    let made = write(dir, size, seed, &on_day)?;
    let pilot = backwatt_pilot::read(&made.pilot_file).map_err(BackwattError::Problems)?;
    let out = dir.join("out");
    let run = Run::new(pilot, &out);
    let outcome = run.all(progress, ReportOptions::default())?;
    Ok(Demo {
        pilot_file: made.pilot_file,
        truth_dir: made.truth_dir,
        out,
        log_files: made.log_files,
        rows: made.rows,
        outcome,
    })
}
