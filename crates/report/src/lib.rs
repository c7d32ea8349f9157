//! Per driver and per route: the answers, as text, tables and pages.
//!
//! Reads ledger batches through `schema`, so a saved file and a fresh run take the same road. Everything shown
//! comes out of one set of [`Answers`]: terminal, page, JSON and CSV cannot disagree.
//!
//! Deliberately absent: a network, a script from elsewhere, any figure without unit, denominator and evidence.

mod answers;
mod balance;
mod blending;
mod braking_steps;
mod chart;
mod differences;
mod export;
mod figure;
mod frame;
mod named_events;
mod open_values;
mod refused;
pub mod replay_page;
mod sentences;
mod share;
mod shell;
mod site;
mod source;
mod spread;
mod text;
mod topics;
mod trust;
mod what_if;
mod worth;
mod write;

use backwatt_schema::{BatchError, Problem};
use backwatt_store::StoreError;
use serde::Serialize;

pub use answers::{Answers, Group, Measure};
pub use text::text;
pub use topics::{SHOWN, Topic};
pub use what_if::{WhatIfAnswers, WhatIfSums, what_if_text};
pub use write::write;

/// What the report has to be told beside the tables.
#[derive(Debug, Clone)]
pub struct ReportInput {
    pub pilot_name: String,
    pub metric: bool,
    pub vehicles: Vec<String>,
    /// As long as `vehicles`.
    pub vehicle_types: Vec<String>,
    pub settings: Vec<SettingRow>,
    pub problems: Vec<Problem>,
    pub program: String,
    /// Pages that replay a trip, by trip: the path below the report's folder.
    pub replays: std::collections::BTreeMap<String, String>,
    /// False where the logs call people by their names.
    pub drivers_are_pseudonyms: bool,
}

/// One assumption: what, how much, and where it comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SettingRow {
    pub key: String,
    pub value: String,
    pub origin: String,
}

/// What to leave out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct ReportOptions {
    /// Tables and JSON only, no pages.
    pub no_pages: bool,
    /// A copy for others instead of the pilot's own: see `share`.
    pub to_share: bool,
}

#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Batch(#[from] BatchError),
    #[error("a table could not be cut down")]
    Arrow(#[from] arrow::error::ArrowError),
    #[error("summaries could not be formed")]
    Summary(#[from] polars::error::PolarsError),
    #[error("a page could not be rendered")]
    Page(#[from] askama::Error),
    #[error("a trip could not be packed")]
    Pack(#[source] std::io::Error),
    #[error("the answers could not be written as JSON")]
    Json(#[from] serde_json::Error),
}
