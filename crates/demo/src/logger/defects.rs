//! Does the planned harm to a day's readings, and remembers where.

use std::ops::Range;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::defect_plan::DefectKind;
use super::reading::Reading;

/// 2080-01-01T00:00:00Z.
const YEAR_2080_S: i64 = 3_471_292_800;

/// Harm that shows only once a row is text.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Scar {
    Duplicate,
    /// A cell of this signal is overwritten.
    Garbage(&'static str),
    /// The speed cell shows the largest value its counter can hold.
    Spike,
    HeaderBefore,
    Ragged,
    CutShort,
}

/// A defect in place: rows count from 0 within the day.
#[derive(Clone)]
pub struct Done {
    pub kind: DefectKind,
    pub rows: Range<usize>,
    pub time_s: i64,
    pub detail: String,
}

/// A day's readings with the harm done to them.
pub struct HarmedDay {
    pub readings: Vec<Reading>,
    pub scars: Vec<(usize, Scar)>,
    pub done: Vec<Done>,
}

/// Applies the kinds planned for a day, each to rows of its own.
pub fn harm(readings: Vec<Reading>, kinds: &[DefectKind], period_s: u32, rng: ChaCha8Rng) -> HarmedDay {
    let mut harmer = Harmer {
        day: HarmedDay { readings, scars: Vec::new(), done: Vec::new() },
        taken: Vec::new(),
        period_s: period_s as usize,
        rng,
    };
    // Rows that go missing first: all later row numbers count what is left.
    for &kind in kinds.iter().filter(|&&kind| kind == DefectKind::LoggerDropout) {
        harmer.apply(kind);
    }
    harmer.note_tunnels();
    for &kind in kinds.iter().filter(|&&kind| kind != DefectKind::LoggerDropout) {
        harmer.apply(kind);
    }
    harmer.day.scars.sort_by_key(|scar| scar.0);
    harmer.day
}

struct Harmer {
    day: HarmedDay,
    taken: Vec<Range<usize>>,
    period_s: usize,
    rng: ChaCha8Rng,
}

impl Harmer {
    fn apply(&mut self, kind: DefectKind) {
        match kind {
            DefectKind::LoggerDropout => self.drop_out(),
            DefectKind::DuplicateRows => self.scar_run(kind, 1..12, Scar::Duplicate),
            DefectKind::TextGarbage => {
                let signal = ["speed", "state_of_charge", "altitude"][self.rng.random_range(0..3)];
                self.scar_run(kind, 1..3, Scar::Garbage(signal));
            }
            DefectKind::RepeatedHeader => self.scar_run(kind, 1..2, Scar::HeaderBefore),
            DefectKind::RaggedRow => self.scar_run(kind, 1..2, Scar::Ragged),
            DefectKind::TruncatedLastLine => self.cut_short(),
            DefectKind::RowsOutOfOrder => self.shuffle(),
            DefectKind::SpeedSpike => self.spike(),
            DefectKind::FrozenBus => self.freeze(),
            DefectKind::BogusYear => self.confuse_clock(),
            DefectKind::EmptyStateOfCharge => self.empty_soc(),
            DefectKind::TunnelWithoutGps => {}
        }
    }

    /// Draws `len` rows among all that no other defect has touched and that fit; none if there are none.
    fn free_rows(&mut self, len: usize, fits: impl Fn(&[Reading]) -> bool) -> Option<Range<usize>> {
        let last = self.day.readings.len().checked_sub(len + 10)?;
        let starts: Vec<usize> = (20..last)
            .filter(|&start| self.taken.iter().all(|other| start + len < other.start || other.end < start))
            .filter(|&start| fits(&self.day.readings[start..start + len]))
            .collect();
        if starts.is_empty() {
            return None;
        }
        let start = starts[self.rng.random_range(0..starts.len())];
        self.taken.push(start..start + len);
        Some(start..start + len)
    }

    fn note(&mut self, kind: DefectKind, rows: Range<usize>, detail: impl Into<String>) {
        let time_s = self.day.readings[rows.start].time_s;
        self.day.done.push(Done { kind, rows, time_s, detail: detail.into() });
    }

    fn scar_run(&mut self, kind: DefectKind, lengths: Range<usize>, scar: Scar) {
        let len = self.rng.random_range(lengths);
        if let Some(rows) = self.free_rows(len, |_| true) {
            self.day.scars.extend(rows.clone().map(|row| (row, scar)));
            let detail = if let Scar::Garbage(signal) = scar { signal } else { "" };
            self.note(kind, rows, detail);
        }
    }

    /// Ten seconds to ten minutes are missing while the key stays on.
    fn drop_out(&mut self) {
        let seconds = self.rng.random_range(10.0_f64.ln()..600.0_f64.ln()).exp() as usize;
        let len = (seconds / self.period_s).max(1);
        if let Some(rows) = self.free_rows(len, |rows| rows.iter().all(|row| !row.is_key_on)) {
            let start = rows.start;
            self.day.readings.drain(rows);
            // Earlier drop-outs further on have moved up.
            for done in self.day.done.iter_mut().filter(|done| done.rows.start > start) {
                done.rows = done.rows.start - len..done.rows.end - len;
            }
            self.taken = self.day.done.iter().map(|done| done.rows.clone()).collect();
            self.taken.push(start..start + 1);
            self.note(DefectKind::LoggerDropout, start..start + 1, format!("{len} rows missing"));
        }
    }

    /// Each pass through a tunnel, as far as it was logged.
    fn note_tunnels(&mut self) {
        let mut row = 0;
        while row < self.day.readings.len() {
            let len =
                self.day.readings[row..].iter().take_while(|reading| reading.lat_lon_deg.is_none()).count();
            if len > 0 {
                self.note(DefectKind::TunnelWithoutGps, row..row + len, "");
            }
            row += len + 1;
        }
    }

    /// The file breaks off in its last line.
    fn cut_short(&mut self) {
        let last = self.day.readings.len().saturating_sub(1);
        self.day.scars.push((last, Scar::CutShort));
        self.note(DefectKind::TruncatedLastLine, last..last + 1, "");
    }

    fn shuffle(&mut self) {
        let len = self.rng.random_range(2..7);
        if let Some(rows) = self.free_rows(len, |_| true) {
            self.note(DefectKind::RowsOutOfOrder, rows.clone(), "reversed");
            self.day.readings[rows].reverse();
        }
    }

    /// A 16-bit speed in hundredths with all bits set, on a moving truck.
    fn spike(&mut self) {
        if let Some(rows) = self.free_rows(1, |rows| rows[0].speed_m_s > 2.0) {
            self.day.scars.push((rows.start, Scar::Spike));
            self.note(DefectKind::SpeedSpike, rows, "655.35");
        }
    }

    /// All signals repeat while time runs on, in the middle of a drive.
    fn freeze(&mut self) {
        let len = self.rng.random_range(60..180) / self.period_s;
        let fits = |rows: &[Reading]| rows[0].speed_m_s > 4.0 && rows.iter().all(|row| !row.is_key_on);
        if let Some(rows) = self.free_rows(len, fits) {
            let held = self.day.readings[rows.start];
            for row in &mut self.day.readings[rows.clone()] {
                *row = Reading { time_s: row.time_s, ..held };
            }
            self.note(DefectKind::FrozenBus, rows, "");
        }
    }

    /// Rows at a key-on before the clock was set.
    fn confuse_clock(&mut self) {
        let len = self.rng.random_range(2..6);
        let is_1970 = self.rng.random_bool(0.5);
        if let Some(rows) = self.free_rows(len, |rows| rows[0].is_key_on) {
            let base_s = if is_1970 { 0 } else { YEAR_2080_S };
            // Noon, so that the year is the same in local time.
            let shift_s = base_s + 43_200 - self.day.readings[rows.start].time_s;
            self.note(DefectKind::BogusYear, rows.clone(), if is_1970 { "1970" } else { "2080" });
            self.day.readings[rows].iter_mut().for_each(|row| row.time_s += shift_s);
        }
    }

    fn empty_soc(&mut self) {
        let len = (self.rng.random_range(8..40) / self.period_s).max(2);
        if let Some(rows) = self.free_rows(len, |rows| rows[0].is_key_on) {
            self.day.readings[rows.clone()].iter_mut().for_each(|row| row.soc_pct = None);
            self.note(DefectKind::EmptyStateOfCharge, rows, "");
        }
    }
}
