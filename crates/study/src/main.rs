//! Do the intervals hold? Trial pilots of the made-up forward model go through the facade as a user's logs would;
//! what the answer table says of recovered and braking energy is held against the truth.
//!
//! Deliberately absent: any knowledge of how the estimator works. It reads columns, and replaces no figure.

mod check;
mod design;
mod page;
mod pilot;
mod preface;
mod quantiles;
mod rows;
mod score;
mod targets;
mod truth;

use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use anyhow::{Context as _, Result};
use clap::Parser;
use design::Plan;
use pilot::Row;
use rayon::prelude::*;

/// Trial pilots against their truth.
#[derive(Debug, Parser)]
struct Options {
    /// A few short pilots, checked for sanity alone: rows, grades, ordered intervals, the same bytes twice
    #[arg(long, conflicts_with_all = ["write", "pilots", "only"])]
    small: bool,
    /// Run only so many of the design's pilots, drawn by the seed
    #[arg(long, value_name = "N")]
    pilots: Option<usize>,
    /// Run only the classes whose name holds this text, such as "10 s, shop"
    #[arg(long, value_name = "TEXT")]
    only: Option<String>,
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Write notebooks-docs/method/study.md and study.csv instead of printing the page
    #[arg(long)]
    write: bool,
    /// Write every pilot's figures to a CSV file
    #[arg(long, value_name = "FILE")]
    rows: Option<PathBuf>,
    /// Make the page from such a file instead of running pilots
    #[arg(long, value_name = "FILE", conflicts_with_all = ["small", "rows"])]
    from_rows: Option<PathBuf>,
}

fn main() -> Result<()> {
    let options = Options::parse();
    let plans = plans(&options);
    if let Some(path) = &options.from_rows {
        let text = std::fs::read_to_string(path).with_context(|| format!("{}", path.display()))?;
        let found = rows::read(&text, &plans).with_context(|| format!("{}", path.display()))?;
        return publish(&options, &plans, &found);
    }
    let started = Instant::now();
    let done = run_all(&plans)?;
    eprintln!("{} pilots in {:.0} s", plans.len(), started.elapsed().as_secs_f64());
    say_times(&plans, &done);
    let found: Vec<Row> = done.into_iter().flat_map(|(rows, _)| rows).collect();
    if let Some(path) = &options.rows {
        std::fs::write(path, rows::csv(&plans, &found)).with_context(|| format!("{}", path.display()))?;
    }
    if options.small {
        check::rows(&plans, &found)?;
        check::same_bytes_twice(&plans[0])?;
        println!(
            "{} pilots: every row, grade and interval is in order, and the same bytes come twice",
            plans.len()
        );
        return Ok(());
    }
    publish(&options, &plans, &found)
}

fn plans(options: &Options) -> Vec<Plan> {
    if options.small {
        return design::small(options.seed);
    }
    let mut all = design::full(options.seed);
    all.retain(|plan| options.only.as_ref().is_none_or(|text| plan.class.label.contains(text)));
    let count = options.pilots.unwrap_or(all.len());
    design::some(all, count, options.seed)
}

/// Pilots are independent: they run side by side, and their rows keep the order of the plan.
fn run_all(plans: &[Plan]) -> Result<Vec<(Vec<Row>, Duration)>> {
    let count = AtomicUsize::new(0);
    let one = |(index, plan): (usize, &Plan)| {
        let started = Instant::now();
        let folder = tempfile::tempdir().context("no temporary folder")?;
        let rows = pilot::run(index, plan, folder.path())
            .with_context(|| format!("pilot {index} ({}, seed {})", plan.class.label, plan.seed))?;
        let took = started.elapsed();
        let done = count.fetch_add(1, Ordering::Relaxed) + 1;
        eprintln!("{done} of {}: {} in {:.1} s", plans.len(), plan.class.label, took.as_secs_f64());
        Ok((rows, took))
    };
    plans.par_iter().enumerate().map(one).collect()
}

fn say_times(plans: &[Plan], done: &[(Vec<Row>, Duration)]) {
    for class in design::classes(plans) {
        let own = plans.iter().zip(done).filter(|(plan, _)| plan.class == class);
        let seconds: Vec<f64> = own.map(|(_, (_, took))| took.as_secs_f64()).collect();
        let median = score::median(&seconds).unwrap_or(0.0);
        eprintln!("{}: {median:.1} s a pilot, median of {}", class.label, seconds.len());
    }
}

fn publish(options: &Options, plans: &[Plan], found: &[Row]) -> Result<()> {
    let tables = page::Tables::of(plans, found);
    let page = tables.markdown(plans, options.seed);
    if !options.write {
        println!("{page}");
        return Ok(());
    }
    let folder = backwatt_testkit::repository().join("notebooks-docs").join("method");
    for (name, text) in [("study.md", page), ("study.csv", tables.csv())] {
        let path = folder.join(name);
        std::fs::write(&path, text).with_context(|| format!("{}", path.display()))?;
    }
    Ok(())
}
