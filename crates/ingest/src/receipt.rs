//! The account of one log file.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables::RECEIPTS};

#[derive(Debug, Clone, Default, PartialEq)]
pub struct Receipt {
    pub source_file: String,
    pub source: String,
    pub digest: Option<String>,
    pub bytes: u64,
    pub dialect: Option<String>,
    pub rows_in: u64,
    pub rows_kept: u64,
    pub rows_rejected: u64,
    pub cells_refused: u64,
    pub rows_merged: u64,
    pub rows_out_of_order: u64,
    pub rows_frozen: u64,
    pub cells_filled: u64,
    pub sample_interval_s: Option<f64>,
    pub gap_longest_s: Option<f64>,
    pub columns_missing: Vec<&'static str>,
    pub current_sign: Option<String>,
    pub clock_relative: bool,
    /// Each record held few of the signals. Not a column: it tells the second pass to gather rows.
    pub sparse: bool,
    pub rules: BTreeMap<&'static str, u64>,
    pub problem: Option<String>,
}

impl Receipt {
    /// Every row is kept or refused, never both and never neither.
    pub fn balances(&self) -> bool {
        self.rows_in == self.rows_kept + self.rows_rejected
    }

    pub fn refuse_row(&mut self, reason: &'static str) {
        self.rows_rejected += 1;
        *self.rules.entry(reason).or_default() += 1;
    }

    pub fn refuse_cell(&mut self, reason: &'static str) {
        self.cells_refused += 1;
        *self.rules.entry(reason).or_default() += 1;
    }

    fn rules_text(&self) -> String {
        self.rules.iter().map(|(code, n)| format!("{code}={n}")).collect::<Vec<_>>().join(" ")
    }
}

pub fn to_batch(receipts: &[Receipt]) -> Result<RecordBatch, BatchError> {
    let rules: Vec<String> = receipts.iter().map(Receipt::rules_text).collect();
    let missing: Vec<String> = receipts.iter().map(|r| r.columns_missing.join(",")).collect();
    BatchBuilder::new(&RECEIPTS)
        .text("source_file", receipts.iter().map(|r| Some(r.source_file.as_str())))
        .text("source", receipts.iter().map(|r| Some(r.source.as_str())))
        .text("digest_sha256", receipts.iter().map(|r| r.digest.as_deref()))
        .count("bytes", receipts.iter().map(|r| r.bytes))
        .text("dialect", receipts.iter().map(|r| r.dialect.as_deref()))
        .count("rows_in", receipts.iter().map(|r| r.rows_in))
        .count("rows_kept", receipts.iter().map(|r| r.rows_kept))
        .count("rows_rejected", receipts.iter().map(|r| r.rows_rejected))
        .count("cells_refused", receipts.iter().map(|r| r.cells_refused))
        .count("rows_merged", receipts.iter().map(|r| r.rows_merged))
        .count("rows_out_of_order", receipts.iter().map(|r| r.rows_out_of_order))
        .count("rows_frozen", receipts.iter().map(|r| r.rows_frozen))
        .count("cells_filled", receipts.iter().map(|r| r.cells_filled))
        .number("sample_interval_s", receipts.iter().map(|r| r.sample_interval_s))
        .number("gap_longest_s", receipts.iter().map(|r| r.gap_longest_s))
        .text("columns_missing", missing.iter().map(|m| Some(m.as_str())))
        .text("current_sign", receipts.iter().map(|r| r.current_sign.as_deref()))
        .flag("clock_relative", receipts.iter().map(|r| r.clock_relative))
        .text("rules", rules.iter().map(|r| Some(r.as_str())))
        .text("problem", receipts.iter().map(|r| r.problem.as_deref()))
        .finish()
}
