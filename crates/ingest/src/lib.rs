//! Raw logs to checked samples, rejects and receipts.
//!
//! Two passes. The first reads each file record by record (`input` unpacks, `formats` makes records of named text cells,
//! `row` makes rows of them) and files what stands by vehicle in a spool; the second takes one vehicle at a time, sorts,
//! merges, gathers signals of different rates, settles signs, marks what breaks a rule, and writes `samples` by month. Memory
//! holds the rows in flight of the files being read, then one window of a vehicle per thread: never the fleet, nor a vehicle.
//!
//! Deliberately absent: the pilot file, energy, any repair that is not counted in a receipt.

mod beside;
mod cadence;
mod clock;
pub mod dialect;
pub mod doors;
pub mod elevation;
pub mod formats;
mod frame;
mod frozen;
mod gather;
mod gps_clock;
mod header;
mod held;
mod input;
pub mod inspect;
mod merge;
mod months;
mod reader;
mod receipt;
mod rejects;
mod row;
pub mod rules;
mod scratch;
pub mod settings;
mod settle;
mod shift;
pub mod sign;
pub mod signal;
mod spool;
mod time;
pub mod value;
mod vehicle;
mod window;

use std::collections::BTreeMap;
use std::path::PathBuf;

use backwatt_schema::{BatchError, Problem, tables::RECEIPTS};
use backwatt_store::{Layout, Provenance, StoreError, write_table};
use rayon::prelude::*;

pub use gps_clock::{Clocks, Verdict};
pub use input::{Archive, Member, Unpacking, members};
pub use receipt::Receipt;
pub use settings::Settings;
pub use shift::Shift;

use elevation::Survey;
use rejects::RejectWriter;
use spool::Spool;
use vehicle::{FileKind, Job, VehicleOutcome};

#[derive(Debug, thiserror::Error)]
pub enum IngestError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Batch(#[from] BatchError),
    #[error("cannot {doing} {path}")]
    Io {
        doing: &'static str,
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    /// A bug of ours: rows were lost or counted twice.
    #[error("the receipt of {file} does not balance: {rows_in} rows in, {kept} kept, {rejected} rejected")]
    Unbalanced { file: String, rows_in: u64, kept: u64, rejected: u64 },
}

/// What came of it.
#[derive(Debug)]
pub struct Outcome {
    pub vehicles: Vec<String>,
    pub receipts: Vec<Receipt>,
    pub problems: Vec<Problem>,
}

/// Told after each file and each vehicle.
pub type Progress<'a> = &'a (dyn Fn(&str) + Sync);

/// Reads all sources into the tables below `layout`.
pub fn run(
    settings: &Settings,
    layout: &Layout,
    provenance: &Provenance,
    progress: Progress<'_>,
) -> Result<Outcome, IngestError> {
    clear_rejects(layout)?;
    // Fewer at once than there are threads, where the memory says so.
    let pool = rayon::ThreadPoolBuilder::new().num_threads(settings.threads()).build();
    match pool {
        Ok(pool) => pool.install(|| run_here(settings, layout, provenance, progress)),
        Err(_) => run_here(settings, layout, provenance, progress),
    }
}

fn run_here(
    settings: &Settings,
    layout: &Layout,
    provenance: &Provenance,
    progress: Progress<'_>,
) -> Result<Outcome, IngestError> {
    let spool = Spool::new(&layout.spool())?;
    let jobs: Vec<(usize, usize)> = settings
        .sources
        .iter()
        .enumerate()
        .flat_map(|(s, source)| (0..source.files.len()).map(move |f| (s, f)))
        .collect();
    let mut receipts = jobs
        .par_iter()
        .map(|&(s, f)| {
            let (source, file) = (&settings.sources[s], &settings.sources[s].files[f]);
            let mut rejects = RejectWriter::new(layout.rejects_of_file(&file.shown), provenance);
            let receipt = reader::read_file(settings, source, file, &spool, &mut rejects)?;
            rejects.finish()?;
            progress(&file.shown);
            Ok(receipt)
        })
        .collect::<Result<Vec<_>, IngestError>>()?;

    let kind = |(&(source, _), receipt): (&(usize, usize), &Receipt)| {
        let gathers = settings.sources[source].gather.unwrap_or(receipt.sparse);
        (receipt.source_file.clone(), FileKind { source, gathers })
    };
    let files: BTreeMap<String, FileKind> = jobs.iter().zip(&receipts).map(kind).collect();
    let vehicles = spool.vehicles();
    remove_absent_vehicles(layout, &vehicles)?;
    let mut survey = settings.elevation_tiles.as_deref().map(Survey::of);
    let surveyed = survey.as_mut().map(|survey| std::mem::take(&mut survey.problems)).unwrap_or_default();
    let job = Job { settings, survey: survey.as_ref(), layout, provenance, spool: &spool, files: &files };
    let outcomes = vehicles
        .par_iter()
        .map(|vehicle| {
            let outcome = vehicle::finish_vehicle(&job, vehicle)?;
            progress(vehicle);
            Ok(outcome)
        })
        .collect::<Result<Vec<_>, IngestError>>()?;
    spool.remove()?;

    let mut problems: Vec<Problem> = receipts.iter().filter_map(unreadable).collect();
    problems.extend(receipts.iter().filter_map(out_of_range));
    problems.extend(receipts.iter().flat_map(|r| r.clocks.problems(&r.source_file, &r.source)));
    problems.extend(surveyed);
    for outcome in outcomes {
        settle_receipts(&mut receipts, &outcome);
        problems.extend(outcome.problems);
    }
    receipts.sort_by(|a, b| a.source_file.cmp(&b.source_file));
    for r in &receipts {
        if !r.balances() {
            let (rows_in, kept, rejected) = (r.rows_in, r.rows_kept, r.rows_rejected);
            return Err(IngestError::Unbalanced { file: r.source_file.clone(), rows_in, kept, rejected });
        }
    }
    write_table(&layout.table(&RECEIPTS), &RECEIPTS, &receipt::to_batch(&receipts)?, provenance)?;
    Ok(Outcome { vehicles, receipts, problems })
}

fn unreadable(receipt: &Receipt) -> Option<Problem> {
    let problem = receipt.problem.as_ref()?;
    Some(
        Problem::warning("ingest-file-unreadable", problem.clone()).in_file(&receipt.source_file).hint(
            "its rows are missing from every figure; mend the file or its [[sources]] entry and run again",
        ),
    )
}

/// A column mostly out of range: its unit is in doubt.
fn out_of_range(receipt: &Receipt) -> Option<Problem> {
    let suspicion = receipt.unit_suspected.as_ref()?;
    let key = format!("sources.{}.columns", receipt.source);
    Some(
        Problem::warning("ingest-unit-suspected", suspicion.clone())
            .in_file(&receipt.source_file)
            .named(key)
            .hint("nothing was changed; the cells are in the rejects"),
    )
}

/// What the second pass found: the receipts follow.
fn settle_receipts(receipts: &mut [Receipt], outcome: &VehicleOutcome) {
    for receipt in receipts {
        if let Some(tally) = outcome.tallies.0.get(&receipt.source_file) {
            receipt.absorb(tally);
        }
        let Some(cadence) = outcome.cadences.get(&receipt.source_file) else { continue };
        if let Some((interval_s, gap_s)) = cadence.interval_and_gap_s() {
            receipt.sample_interval_s = Some(interval_s);
            receipt.gap_longest_s = Some(gap_s);
        }
        if let Some(text) = outcome.signs.get(&receipt.source) {
            receipt.current_sign = Some(text.clone());
        }
        for suspicion in outcome.suspected.get(&receipt.source).into_iter().flatten() {
            receipt.suspect(suspicion);
        }
    }
}

/// Median of the steps above zero, in seconds.
pub(crate) fn median_interval_s(sorted_times_ns: &[i64]) -> Option<f64> {
    let steps = sorted_times_ns.windows(2).map(|w| (w[1] - w[0]) as f64 * 1e-9).filter(|dt| *dt > 0.0);
    median(steps.collect())
}

pub(crate) fn median(mut values: Vec<f64>) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    Some(*values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

fn clear_rejects(layout: &Layout) -> Result<(), IngestError> {
    let Ok(entries) = std::fs::read_dir(layout.root().join("rejects")) else { return Ok(()) };
    for path in entries.flatten().map(|entry| entry.path()) {
        if path.extension().is_some_and(|e| e == "parquet") {
            std::fs::remove_file(&path).map_err(|source| IngestError::Io { doing: "clear", path, source })?;
        }
    }
    Ok(())
}

/// Samples of vehicles that this run no longer has.
fn remove_absent_vehicles(layout: &Layout, vehicles: &[String]) -> Result<(), IngestError> {
    let Ok(entries) = std::fs::read_dir(layout.root().join("samples")) else { return Ok(()) };
    let keep: Vec<PathBuf> = vehicles.iter().map(|v| layout.samples_folder(v)).collect();
    let ours = |path: &PathBuf| path.file_name().is_some_and(|n| n.to_string_lossy().starts_with("vehicle="));
    for path in entries.flatten().map(|entry| entry.path()).filter(|path| ours(path) && !keep.contains(path)) {
        std::fs::remove_dir_all(&path).map_err(|source| IngestError::Io { doing: "remove", path, source })?;
    }
    Ok(())
}
