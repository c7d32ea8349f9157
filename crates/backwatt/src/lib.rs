//! Backwatt: from raw logs of battery-electric trucks to what braking gave back.
//!
//! The facade: the stages over a pilot, each only where its inputs changed. All that the program, bindings and
//! examples lean on; the crates behind it may move.
//!
//! ```no_run
//! let pilot = backwatt::read_pilot("pilot.toml".as_ref()).map_err(|problems| problems[0].clone())?;
//! let run = backwatt::Run::new(pilot, "out");
//! let outcome = run.all(&backwatt::silent, backwatt::ReportOptions::default())?;
//! println!("{} vehicles", outcome.vehicles.len());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod comparisons;
mod demo;
mod error;
mod inputs;
mod plan;
mod replay_pages;
mod routes;
mod run;
mod sessions;
mod speeds;
mod stages;
mod stamp;
mod what_if;

pub use backwatt_demo::Size as DemoSize;
pub use backwatt_ingest::Receipt;
pub use backwatt_ingest::formats::panics_are_caught;
pub use backwatt_ingest::inspect::{Draft, inspect};
pub use backwatt_pilot::{DisplayUnits, Origin, Pilot, Setting, read as read_pilot};
pub use backwatt_report::{
    Answers, ReportOptions, WhatIfAnswers, WhatIfSums, text as summary_text, what_if_text,
};
pub use backwatt_schema::{Place, Problem, Severity, dictionary, tables};
pub use demo::{Demo, make_demo};
pub use error::BackwattError;
pub use run::{Outcome, Run};
pub use speeds::standard_library;

/// Version of the program, as written into the provenance of every table.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// What is going on, for whoever shows progress.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A stage begins: so many steps.
    Stage { name: &'static str, steps: usize },
    /// One step of it is done.
    Step { what: String },
    /// The stage was skipped: nothing it reads has changed.
    Unchanged { name: &'static str },
}

/// Told of every event, from any thread.
pub type Progress<'a> = &'a (dyn Fn(Event) + Sync);

/// A progress that shows nothing.
pub fn silent(_: Event) {}
