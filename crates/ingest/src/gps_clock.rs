//! A logger's clock against the time of its satellite receiver: how far off it is, and how it drifts.
//!
//! Deliberately absent: leap seconds. What a receiver calls UTC is taken as UTC.

use std::collections::BTreeMap;

use backwatt_schema::{NANOSECONDS_PER_SECOND, Problem};

use crate::shift::Shift;

/// A clock further off than this, or drifting by more within a file, is told; what a receiver is late by stays below it (common
/// practice, no source). [s]
pub const OFF_S: f64 = 2.0;
/// Pairs kept of a vehicle in a file; all lines through two of them are drawn.
const PAIRS_MOST: usize = 256;
/// Fewer pairs, or pairs of a shorter stretch, say nothing of a drift (common practice, no source).
const DRIFT_PAIRS_LEAST: usize = 10;
const DRIFT_SPAN_LEAST_S: f64 = 600.0;
/// Ten times what a poor quartz drifts by (common practice, no source): no clock that only drifts.
const SLOPE_MOST: f64 = 1e-3;
/// Pairs within [`OFF_S`] of the line, for a clock that drifts and was not set in between.
const STEADY_SHARE: f64 = 0.9;
const SECONDS_PER_DAY: f64 = 86_400.0;

/// Hears pairs of clock and GPS time of one vehicle in one file. What it keeps is bounded and does not depend on their order:
/// the first pair of each stretch of the clock, stretches twice as long whenever they are too many.
#[derive(Debug, Clone)]
pub struct Witness {
    stretch_ns: i64,
    /// By stretch: clock, and how much later GPS time is.
    pairs: BTreeMap<i64, (i64, i64)>,
    last_gps_ns: Option<i64>,
}

impl Default for Witness {
    fn default() -> Self {
        Self { stretch_ns: NANOSECONDS_PER_SECOND as i64, pairs: BTreeMap::new(), last_gps_ns: None }
    }
}

impl Witness {
    /// Hears a row. A GPS time that stands as in the row before is that of an earlier fix.
    pub fn hear(&mut self, clock_ns: i64, gps_ns: i64) {
        if self.last_gps_ns.replace(gps_ns) == Some(gps_ns) {
            return;
        }
        self.keep((clock_ns, gps_ns.saturating_sub(clock_ns)));
        while self.pairs.len() > PAIRS_MOST {
            self.stretch_ns = self.stretch_ns.saturating_mul(2);
            let pairs = std::mem::take(&mut self.pairs);
            pairs.into_values().for_each(|pair| self.keep(pair));
        }
    }

    fn keep(&mut self, pair: (i64, i64)) {
        let first = self.pairs.entry(pair.0.div_euclid(self.stretch_ns)).or_insert(pair);
        *first = pair.min(*first);
    }

    /// `None` where no GPS time was heard.
    pub fn verdict(&self) -> Option<Verdict> {
        let first_ns = self.pairs.values().next()?.0;
        let last_ns = self.pairs.values().next_back()?.0;
        let seconds = |ns: i64| ns as f64 / NANOSECONDS_PER_SECOND;
        let pairs: Vec<(f64, f64)> = self
            .pairs
            .values()
            .map(|(clock_ns, later_ns)| (seconds(clock_ns.saturating_sub(first_ns)), seconds(*later_ns)))
            .collect();
        let span_s = seconds(last_ns.saturating_sub(first_ns));
        let drifts = pairs.len() >= DRIFT_PAIRS_LEAST && span_s >= DRIFT_SPAN_LEAST_S;
        let slope = drifts.then(|| median_slope(&pairs)).flatten();
        let line = slope.unwrap_or(0.0);
        let start_s = middle(pairs.iter().map(|(at_s, later_s)| later_s - line * at_s).collect())?;
        let near = pairs.iter().filter(|(at_s, later_s)| (later_s - line * at_s - start_s).abs() <= OFF_S);
        let steady = near.count() as f64 >= STEADY_SHARE * pairs.len() as f64 && line.abs() <= SLOPE_MOST;
        Some(Verdict {
            offset_s: middle(pairs.iter().map(|pair| pair.1).collect())?,
            drift_s_day: slope.map(|slope| slope * SECONDS_PER_DAY),
            span_s,
            correction: steady.then(|| Shift {
                from_ns: first_ns,
                until_ns: last_ns,
                later_ns: (start_s * NANOSECONDS_PER_SECOND).round() as i64,
                slope: line,
            }),
        })
    }
}

/// What a clock was found to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict {
    /// Median of GPS time less clock.
    pub offset_s: f64,
    /// What GPS time gains on the clock; `None` where the file is too short to tell.
    pub drift_s_day: Option<f64>,
    /// From the first pair to the last, by the clock.
    pub span_s: f64,
    /// What puts rows onto GPS time; `None` where the clock was set within the file, so that no line fits.
    pub correction: Option<Shift>,
}

impl Verdict {
    fn drift_within_s(&self) -> f64 {
        self.drift_s_day.unwrap_or(0.0) * self.span_s / SECONDS_PER_DAY
    }

    fn worst_s(&self) -> f64 {
        self.offset_s.abs().max(self.drift_within_s().abs())
    }

    fn is_off(&self) -> bool {
        self.worst_s() > OFF_S
    }
}

/// The clocks of one file's vehicles.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Clocks {
    /// The vehicle whose clock is furthest off, the first by name of equals.
    pub worst: Option<(String, Verdict)>,
    pub vehicles_off: u64,
    /// Vehicles whose rows were to be put onto GPS time and stand as their clock says.
    pub vehicles_unfollowed: u64,
    /// The pilot file wants rows on GPS time.
    pub follow: bool,
}

impl Clocks {
    pub fn add(&mut self, vehicle: &str, verdict: Option<Verdict>) {
        if self.follow && verdict.and_then(|verdict| verdict.correction).is_none() {
            self.vehicles_unfollowed += 1;
        }
        let Some(verdict) = verdict else { return };
        self.vehicles_off += u64::from(verdict.is_off());
        if self.worst.as_ref().is_none_or(|(_, worst)| verdict.worst_s() > worst.worst_s()) {
            self.worst = Some((vehicle.to_owned(), verdict));
        }
    }

    pub fn problems(&self, file: &str, source: &str) -> Vec<Problem> {
        let place = |problem: Problem| problem.in_file(file).named(format!("sources.{source}.time.gps"));
        let mut problems = Vec::new();
        if let Some((vehicle, verdict)) = self.worst.as_ref().filter(|(_, verdict)| verdict.is_off()) {
            problems.push(place(off(vehicle, verdict, self.vehicles_off, self.follow)));
        }
        if self.vehicles_unfollowed > 0 {
            let message = format!(
                "the rows of {} vehicle(s) could not be put onto GPS time: none in the file, or the clock was set within it",
                self.vehicles_unfollowed
            );
            let hint = "their rows stand as their clock says; cut the file where the clock was set";
            problems.push(place(Problem::warning("ingest-clock-unfollowed", message).hint(hint)));
        }
        problems
    }
}

fn off(vehicle: &str, verdict: &Verdict, vehicles: u64, follow: bool) -> Problem {
    let drift = match verdict.drift_s_day {
        Some(drift) => format!(
            "drifts by {drift:+.1} s a day, {:+.1} s within the file's {:.1} h",
            verdict.drift_within_s(),
            verdict.span_s / 3600.0
        ),
        None => "the file is too short to tell a drift".to_owned(),
    };
    let others =
        if vehicles > 1 { format!("; {vehicles} vehicles in this file are off") } else { String::new() };
    let set = if verdict.correction.is_none() { "; it was set within the file" } else { "" };
    let message = format!(
        "GPS time less the clock of vehicle {vehicle} is {:+.1} s (median); {drift}{set}{others}",
        verdict.offset_s
    );
    let cause = cause(verdict.offset_s).map(|cause| format!("{cause}; ")).unwrap_or_default();
    if follow && verdict.correction.is_some() {
        return Problem::note("ingest-clock-off", message)
            .hint(format!("{cause}its rows were put onto GPS time, as the pilot file says"));
    }
    Problem::warning("ingest-clock-off", message).hint(format!(
        "{cause}nothing was moved; set the logger's clock, or say follow = \"gps\" beside gps to put rows onto GPS time"
    ))
}

/// What an offset of this size usually is.
fn cause(offset_s: f64) -> Option<&'static str> {
    let quarters = (offset_s / 900.0).round();
    if quarters != 0.0 && quarters.abs() <= 56.0 && (offset_s - 900.0 * quarters).abs() <= OFF_S {
        return Some("whole quarters of an hour are another time zone: check zone");
    }
    // GPS time less UTC since 2017: IERS Bulletin C 52, from memory.
    let receiver = (offset_s - 18.0).abs() <= 1.0;
    receiver.then_some("18 s is what GPS time is ahead of UTC: check which of them the receiver writes")
}

/// Median of the slopes of all lines through two points.
///
/// Source   P. K. Sen (1968), Estimates of the regression coefficient based on Kendall's tau, J. Am. Stat. Assoc. 63,
///          1379-1389, doi:10.1080/01621459.1968.10480934. Up to 29 % of the points may lie anywhere
fn median_slope(points: &[(f64, f64)]) -> Option<f64> {
    let lines = points.iter().enumerate().flat_map(|(i, a)| points[i + 1..].iter().map(move |b| (a, b)));
    middle(lines.filter(|(a, b)| a.0 != b.0).map(|(a, b)| (b.1 - a.1) / (b.0 - a.0)).collect())
}

/// The middle of some values, halfway between the two of an even number.
fn middle(mut values: Vec<f64>) -> Option<f64> {
    let at = values.len() / 2;
    if values.is_empty() {
        return None;
    }
    let even = values.len().is_multiple_of(2);
    let (below, upper, _) = values.select_nth_unstable_by(at, f64::total_cmp);
    let lower = below.iter().copied().max_by(f64::total_cmp).filter(|_| even);
    Some(lower.map_or(*upper, |lower| lower + (*upper - lower) / 2.0))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const S: i64 = NANOSECONDS_PER_SECOND as i64;

    fn heard(pairs: impl IntoIterator<Item = (i64, f64)>) -> Witness {
        let mut witness = Witness::default();
        for (clock_s, later_s) in pairs {
            witness.hear(clock_s * S, clock_s * S + (later_s * NANOSECONDS_PER_SECOND).round() as i64);
        }
        witness
    }

    /// Slope and medians of these twelve points by scipy 1.17.1: `stats.theilslopes(y, x, method="joint")`, `numpy.median`.
    #[test]
    fn the_line_is_that_of_a_statistics_library() {
        let later_s = [3.0, 3.1, 3.1, 3.2, 900.0, 3.3, 3.4, 3.3, 3.5, -40.0, 3.6, 3.7];
        let points: Vec<(f64, f64)> = (0..12).map(|i| 100.0 * f64::from(i)).zip(later_s).collect();
        let slope = median_slope(&points).unwrap();
        assert!((slope * SECONDS_PER_DAY - 51.84).abs() < 1e-9, "{slope}");
        let verdict = heard((0..).step_by(100).zip(later_s)).verdict().unwrap();
        assert!((verdict.offset_s - 3.3).abs() < 1e-9 && (verdict.drift_s_day.unwrap() - 51.84).abs() < 1e-6);
        // Two of twelve lie nowhere near: no clock that only drifts.
        assert_eq!(verdict.correction, None);
    }

    #[test]
    fn a_clock_that_drifts() {
        // A day at 1 Hz, 40 s fast at noon, losing 8.64 s a day (100 millionths).
        let day = (0..86_400).map(|s| (s, -40.0 - 1e-4 * (s as f64 - 43_200.0)));
        let verdict = heard(day).verdict().unwrap();
        assert!((verdict.offset_s + 40.0).abs() < 0.02, "{verdict:?}");
        assert!((verdict.drift_s_day.unwrap() + 8.64).abs() < 1e-3, "{verdict:?}");
        let shift = verdict.correction.unwrap();
        let left_s = |s: i64| (shift.put(s * S) - s * S) as f64 * 1e-9 - (-40.0 - 1e-4 * (s as f64 - 43_200.0));
        assert!([0, 20_000, 86_000].iter().all(|s| left_s(*s).abs() < 0.02));
    }

    #[test]
    fn a_time_that_stands_still_is_heard_once() {
        // The receiver loses its fix after a minute and repeats its last time for an hour.
        let pairs = (0..3600).map(|s| (s, if s < 60 { 1.0 } else { 1.0 + 59.0 - s as f64 }));
        let verdict = heard(pairs).verdict().unwrap();
        assert_eq!((verdict.offset_s, verdict.drift_s_day), (1.0, None));
        assert!(!verdict.is_off());
    }

    #[test]
    fn a_clock_set_within_the_file_is_off_and_has_no_line() {
        let verdict = heard((0..7200).map(|s| (s, if s < 3600 { 0.2 } else { 3600.2 }))).verdict().unwrap();
        assert!(verdict.is_off() && verdict.correction.is_none());
        let mut clocks = Clocks { follow: true, ..Clocks::default() };
        clocks.add("T1", Some(verdict));
        let problems = clocks.problems("log.csv", "s");
        let codes: Vec<_> = problems.iter().map(|problem| problem.code).collect();
        assert_eq!(codes, ["ingest-clock-off", "ingest-clock-unfollowed"]);
        assert!(problems[0].message.contains("it was set within the file"), "{}", problems[0].message);
    }

    #[test]
    fn usual_causes_are_named() {
        assert!(cause(-7200.4).is_some_and(|text| text.contains("zone")));
        assert!(cause(18.3).is_some_and(|text| text.contains("GPS time is ahead")));
        assert_eq!([3.0, -18.0, 500.0, 1e9].map(cause), [None; 4]);
    }

    proptest! {
        /// Rows of a file may come in any order; no more is kept than is said.
        #[test]
        fn order_does_not_matter(mut pairs in prop::collection::vec((0..2_000_000_i64, -5.0..5.0), 1..900)) {
            // Each GPS time once, as the row before tells whether it is fresh.
            pairs.sort_by_key(|pair| pair.0);
            pairs.dedup_by_key(|pair| pair.0 / 12);
            let forwards = heard(pairs.iter().copied());
            let backwards = heard(pairs.iter().rev().copied());
            prop_assert!(forwards.pairs.len() <= PAIRS_MOST);
            prop_assert_eq!(forwards.pairs.clone(), backwards.pairs.clone());
            prop_assert_eq!(forwards.verdict(), backwards.verdict());
        }
    }
}
