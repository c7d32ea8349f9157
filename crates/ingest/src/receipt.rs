//! The account of one log file.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables::RECEIPTS};

use crate::gps_clock::{Clocks, Verdict};

/// Lines kept as examples of each rule.
const FIRST: usize = 3;

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
    /// Rows of a local hour that happened twice, and those of them told to be of its second time.
    pub rows_repeated_hour: u64,
    pub rows_repeated_hour_later: u64,
    /// Rows refused because the clock showed their time never.
    pub rows_skipped_hour: u64,
    /// The loggers' clocks against GPS time.
    pub clocks: Clocks,
    /// Rows put onto GPS time.
    pub rows_on_gps_time: u64,
    pub rows_frozen: u64,
    /// Rows that a rule other than the frozen one marked.
    pub rows_marked: u64,
    pub cells_filled: u64,
    pub sample_interval_s: Option<f64>,
    pub gap_longest_s: Option<f64>,
    pub columns_missing: Vec<&'static str>,
    pub current_sign: Option<String>,
    /// Signals that seem to be in another unit than stated.
    pub unit_suspected: Option<String>,
    pub clock_relative: bool,
    /// Each record held few of the signals. Not a column: it tells the second pass to gather rows.
    pub sparse: bool,
    pub rules: BTreeMap<&'static str, u64>,
    /// The first lines that each rule met.
    pub first: BTreeMap<&'static str, Vec<u64>>,
    pub problem: Option<String>,
}

impl Receipt {
    /// Every row is kept or refused, never both and never neither.
    pub fn balances(&self) -> bool {
        self.rows_in == self.rows_kept + self.rows_rejected
    }

    pub fn refuse_row(&mut self, reason: &'static str, line: u64) {
        self.rows_rejected += 1;
        self.meet(reason, line);
    }

    pub fn refuse_cell(&mut self, reason: &'static str, line: u64) {
        self.cells_refused += 1;
        self.meet(reason, line);
    }

    /// Counts one case of a rule.
    pub fn meet(&mut self, rule: &'static str, line: u64) {
        *self.rules.entry(rule).or_default() += 1;
        note_first(self.first.entry(rule).or_default(), line);
    }

    /// Adds what the second pass counted: rows it refuses were kept before.
    pub fn absorb(&mut self, later: &Receipt) {
        self.rows_kept -= later.rows_rejected;
        self.rows_rejected += later.rows_rejected;
        self.cells_refused += later.cells_refused;
        self.rows_merged += later.rows_merged;
        self.rows_frozen += later.rows_frozen;
        self.rows_marked += later.rows_marked;
        for (rule, count) in &later.rules {
            *self.rules.entry(rule).or_default() += count;
        }
        for (rule, lines) in &later.first {
            let first = self.first.entry(rule).or_default();
            lines.iter().for_each(|line| note_first(first, *line));
        }
    }

    /// Says of a signal that it may be in another unit.
    pub fn suspect(&mut self, suspicion: &str) {
        match &mut self.unit_suspected {
            Some(known) if known.contains(suspicion) => {}
            Some(known) => {
                known.push_str("; ");
                known.push_str(suspicion);
            }
            None => self.unit_suspected = Some(suspicion.to_owned()),
        }
    }

    fn by_rule(&self, figure: impl Fn(&'static str, u64) -> String) -> String {
        self.rules.iter().map(|(code, n)| format!("{code}={}", figure(code, *n))).collect::<Vec<_>>().join(" ")
    }

    /// Of the rows read, how many a rule met; cells may outnumber rows.
    fn share(&self, count: u64) -> String {
        if self.rows_in == 0 { "0".to_owned() } else { format!("{:.6}", count as f64 / self.rows_in as f64) }
    }

    fn lines(&self, rule: &str) -> String {
        let lines = self.first.get(rule).map_or(&[][..], Vec::as_slice);
        lines.iter().map(u64::to_string).collect::<Vec<_>>().join(",")
    }
}

/// Keeps the least of the lines met, so that the order of meeting them does not show.
pub fn note_first(first: &mut Vec<u64>, line: u64) {
    let at = first.partition_point(|known| *known < line);
    if at < FIRST && first.get(at) != Some(&line) {
        first.insert(at, line);
        first.truncate(FIRST);
    }
}

pub fn to_batch(receipts: &[Receipt]) -> Result<RecordBatch, BatchError> {
    let rules: Vec<String> = receipts.iter().map(|r| r.by_rule(|_, n| n.to_string())).collect();
    let shares: Vec<String> = receipts.iter().map(|r| r.by_rule(|_, n| r.share(n))).collect();
    let firsts: Vec<String> = receipts.iter().map(|r| r.by_rule(|code, _| r.lines(code))).collect();
    let clock = |pick: fn(&Verdict) -> Option<f64>| {
        let worst = receipts.iter().map(|r| r.clocks.worst.as_ref());
        worst.map(move |worst| worst.and_then(|(_, verdict)| pick(verdict))).collect::<Vec<_>>()
    };
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
        .count("rows_repeated_hour", receipts.iter().map(|r| r.rows_repeated_hour))
        .count("rows_repeated_hour_later", receipts.iter().map(|r| r.rows_repeated_hour_later))
        .count("rows_skipped_hour", receipts.iter().map(|r| r.rows_skipped_hour))
        .count("rows_frozen", receipts.iter().map(|r| r.rows_frozen))
        .count("rows_marked", receipts.iter().map(|r| r.rows_marked))
        .count("cells_filled", receipts.iter().map(|r| r.cells_filled))
        .number("sample_interval_s", receipts.iter().map(|r| r.sample_interval_s))
        .number("gap_longest_s", receipts.iter().map(|r| r.gap_longest_s))
        .text("columns_missing", missing.iter().map(|m| Some(m.as_str())))
        .text("current_sign", receipts.iter().map(|r| r.current_sign.as_deref()))
        .text("unit_suspected", receipts.iter().map(|r| r.unit_suspected.as_deref()))
        .flag("clock_relative", receipts.iter().map(|r| r.clock_relative))
        .number("clock_offset_s", clock(|verdict| Some(verdict.offset_s)))
        .number("clock_drift_s_day", clock(|verdict| verdict.drift_s_day))
        .count("rows_on_gps_time", receipts.iter().map(|r| r.rows_on_gps_time))
        .text("rules", rules.iter().map(|r| Some(r.as_str())))
        .text("rules_share", shares.iter().map(|r| Some(r.as_str())))
        .text("rules_first", firsts.iter().map(|r| Some(r.as_str())))
        .text("problem", receipts.iter().map(|r| r.problem.as_deref()))
        .finish()
}
