//! What the logs are worth: rows refused, masks, gaps, evidence.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, number_at, tables, text_at};
use serde::Serialize;

/// Places shown of each rule.
const EXAMPLES: usize = 3;

#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct FileTrust {
    pub file: String,
    pub rows_in: u64,
    pub rows_kept: u64,
    pub rows_rejected: u64,
    pub cells_refused: u64,
    pub rows_frozen: u64,
    /// Rows of a local hour that happened twice, those of them told to be of its second time, and rows of an hour that was skipped.
    pub rows_repeated_hour: u64,
    pub rows_repeated_hour_later: u64,
    pub rows_skipped_hour: u64,
    pub sample_interval_s: Option<f64>,
    pub gap_longest_s: Option<f64>,
    pub sign: Option<String>,
    /// Signals that seem to be in another unit than stated.
    pub unit_suspected: Option<String>,
    pub columns_missing: String,
    pub problem: Option<String>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Trust {
    pub files: Vec<FileTrust>,
    /// Refusals and marks by rule over all files.
    pub rules: BTreeMap<String, u64>,
    /// Where each rule was met first: file and line.
    pub rules_first: BTreeMap<String, Vec<String>>,
    pub trips: u64,
    pub gap_s: f64,
    pub frozen_s: f64,
    /// Trips by what may be claimed of their braking energy.
    pub claims: BTreeMap<String, u64>,
    /// Trips by what their battery inflow can be put down to.
    pub recovery_checks: BTreeMap<String, u64>,
    /// Trips by what the height rests on.
    pub grades: BTreeMap<String, u64>,
    /// Largest failure of a trip's ledger to close, over tractive plus braking energy.
    pub ledger_residual_worst_frac: f64,
}

impl Trust {
    pub fn rows_in(&self) -> u64 {
        self.files.iter().map(|file| file.rows_in).sum()
    }

    pub fn rows_rejected(&self) -> u64 {
        self.files.iter().map(|file| file.rows_rejected).sum()
    }

    /// Cases of a rule over rows read; a row may hold several.
    pub fn rule_share(&self, rule: &str) -> f64 {
        let cases = self.rules.get(rule).copied().unwrap_or(0);
        if self.rows_in() == 0 { 0.0 } else { cases as f64 / self.rows_in() as f64 }
    }

    /// Where a rule was met first, in words.
    pub fn rule_examples(&self, rule: &str) -> String {
        self.rules_first.get(rule).map(|examples| examples.join(", ")).unwrap_or_default()
    }

    pub fn read_receipts(&mut self, batch: &RecordBatch) -> Result<(), BatchError> {
        let view = BatchView::new(&tables::RECEIPTS, batch);
        let count = |name: &str, row: usize| -> Result<u64, BatchError> { Ok(view.counts(name)?.value(row)) };
        let text = |name: &str, row: usize| -> Result<Option<String>, BatchError> {
            Ok(text_at(view.texts(name)?, row).map(str::to_owned))
        };
        for row in 0..view.rows() {
            self.files.push(FileTrust {
                file: text("source_file", row)?.unwrap_or_default(),
                rows_in: count("rows_in", row)?,
                rows_kept: count("rows_kept", row)?,
                rows_rejected: count("rows_rejected", row)?,
                cells_refused: count("cells_refused", row)?,
                rows_frozen: count("rows_frozen", row)?,
                rows_repeated_hour: count("rows_repeated_hour", row)?,
                rows_repeated_hour_later: count("rows_repeated_hour_later", row)?,
                rows_skipped_hour: count("rows_skipped_hour", row)?,
                sample_interval_s: number_at(view.numbers("sample_interval_s")?, row),
                gap_longest_s: number_at(view.numbers("gap_longest_s")?, row),
                sign: text("current_sign", row)?,
                unit_suspected: text("unit_suspected", row)?,
                columns_missing: text("columns_missing", row)?.unwrap_or_default(),
                problem: text("problem", row)?,
            });
            for rule in text("rules", row)?.unwrap_or_default().split_whitespace() {
                if let Some((code, n)) = rule.split_once('=') {
                    *self.rules.entry(code.to_owned()).or_default() += n.parse::<u64>().unwrap_or(0);
                }
            }
            for rule in text("rules_first", row)?.unwrap_or_default().split_whitespace() {
                if let Some((code, lines)) = rule.split_once('=').filter(|(_, lines)| !lines.is_empty()) {
                    let file = text("source_file", row)?.unwrap_or_default();
                    let examples = self.rules_first.entry(code.to_owned()).or_default();
                    let room = EXAMPLES.saturating_sub(examples.len());
                    examples.extend(lines.split(',').take(room).map(|line| format!("{file} line {line}")));
                }
            }
        }
        Ok(())
    }

    pub fn add_trips(&mut self, batch: &RecordBatch) -> Result<(), BatchError> {
        let view = BatchView::new(&tables::TRIPS, batch);
        for row in 0..view.rows() {
            self.trips += 1;
            self.gap_s += view.numbers("gap_s")?.value(row);
            self.frozen_s += view.numbers("frozen_s")?.value(row);
            let residual = view.numbers("ledger_residual_frac")?.value(row).abs();
            self.ledger_residual_worst_frac = self.ledger_residual_worst_frac.max(residual);
            for (counts, column) in [
                (&mut self.claims, "braking_claim"),
                (&mut self.recovery_checks, "recovery_check"),
                (&mut self.grades, "grade_basis"),
            ] {
                *counts.entry(view.texts(column)?.value(row).to_owned()).or_default() += 1;
            }
        }
        Ok(())
    }
}
