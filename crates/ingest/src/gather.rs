//! Signals logged at different rates, brought onto one timeline without inventing data.
//!
//! Where each record holds few of the signals (long form, CAN frames, sentences), rows share instants by chance only. They are
//! gathered onto the instants of the speed: every other signal gives its latest value, if that is no older than three of the
//! signal's own usual intervals (at least 1 s, at most 5 min) and the log was not silent in between. Nothing is interpolated.
//! Where the speed itself is silent, as at a charger, rows go on at its usual pace on instants that were logged.
//!
//! A value taken over from an earlier instant is marked as held; rows that gave theirs away are counted as merged.

use crate::frame::{Frame, Row, mask};
use crate::signal::{FLAGS, NUMBERS, SIGNALS, SPEED};

const COLUMNS: usize = SIGNALS.len();
/// A value stands for three of its own intervals: two may be lost. Common practice, no source.
const INTERVALS: f64 = 3.0;
/// A signal may come later than the speed by this much, whatever its rate. [s]
const AGE_LEAST_S: f64 = 1.0;
/// Where trips are cut, values end too. [s]
const AGE_MOST_S: f64 = 300.0;
/// Silence of the whole log, beyond three intervals of the speed, after which nothing is known. [s]
const SILENCE_LEAST_S: f64 = 10.0;

/// Gathers the rows that `belongs` picks; the others stay as they are. `merged` is told of rows that gave their values away.
pub fn gather(frame: Frame, belongs: &[bool], merged: &mut dyn FnMut(&Frame, usize)) -> Frame {
    let rows: Vec<usize> = (0..frame.len()).filter(|at| belongs[*at]).collect();
    let speeds: Vec<i64> =
        rows.iter().filter(|at| has(&frame, **at, SPEED)).map(|at| frame.time_ns[*at]).collect();
    let Some(interval_s) = crate::median_interval_s(&speeds) else { return frame };
    let silence_ns = ns((INTERVALS * interval_s).max(SILENCE_LEAST_S));
    let mut anchors = anchors(&frame, &rows, ns(interval_s)).into_iter();
    let ages: Vec<i64> = (0..COLUMNS).map(|column| ns(age_s(&frame, &rows, column))).collect();

    let mut out = Frame { pool: frame.pool.clone(), ..Frame::default() };
    let mut latest: [Option<usize>; COLUMNS] = [None; COLUMNS];
    let (mut marks, mut last) = (0, None);
    for (at, mine) in belongs.iter().enumerate() {
        if !mine {
            out.push_held(&frame.row(at), 0);
            continue;
        }
        if last.is_some_and(|last: usize| frame.time_ns[at] - frame.time_ns[last] > silence_ns) {
            (latest, marks) = ([None; COLUMNS], 0);
        }
        last = Some(at);
        (0..COLUMNS).filter(|column| has(&frame, at, *column)).for_each(|column| latest[column] = Some(at));
        if anchors.next() == Some(true) {
            let mut row = frame.row(at);
            row.mask |= std::mem::take(&mut marks);
            let held = fill(&frame, &mut row, &latest, &ages);
            out.push_held(&row, held);
        } else {
            // What was refused in a row that is merged away is said of the row that takes its place.
            marks |=
                frame.mask[at] & (mask::CELL_REFUSED | mask::SPEED_RANGE | mask::FILLED | mask::OUT_OF_ORDER);
            merged(&frame, at);
        }
    }
    out
}

/// Fills the blanks of a row from the latest values and gives the bits of those filled.
fn fill(frame: &Frame, row: &mut Row, latest: &[Option<usize>; COLUMNS], ages: &[i64]) -> u64 {
    let mut held = 0;
    for (column, from) in latest.iter().enumerate() {
        // The speed is what the instants are of: an older one would be no speed at this instant.
        let Some(from) = from.filter(|_| column != SPEED) else { continue };
        let age = row.time_ns - frame.time_ns[from];
        if age == 0 || age > ages[column] {
            continue;
        }
        match column {
            _ if column < NUMBERS => row.numbers[column] = frame.numbers[column][from],
            _ if column < NUMBERS + FLAGS => row.flags[column - NUMBERS] = frame.flags[column - NUMBERS][from],
            _ => row.texts[column - NUMBERS - FLAGS] = frame.texts[column - NUMBERS - FLAGS][from],
        }
        held |= 1 << column;
    }
    held
}

/// Which of the rows stay: those with a speed, and in silent stretches of the speed one an interval.
fn anchors(frame: &Frame, rows: &[usize], interval_ns: i64) -> Vec<bool> {
    let time = |at: usize| frame.time_ns[rows[at]];
    let speed: Vec<bool> = rows.iter().map(|at| has(frame, *at, SPEED)).collect();
    let mut next_speed = vec![i64::MAX; rows.len()];
    let mut next = i64::MAX;
    for at in (0..rows.len()).rev() {
        next_speed[at] = next;
        next = if speed[at] { time(at) } else { next };
    }
    let (mut last_speed, mut last_anchor) = (i64::MIN, i64::MIN);
    let silent_ns = 3 * interval_ns;
    let mut anchors = vec![false; rows.len()];
    for at in 0..rows.len() {
        let now = time(at);
        let silent = next_speed[at].saturating_sub(last_speed) > silent_ns;
        let room =
            now.saturating_sub(last_anchor) >= interval_ns && next_speed[at].saturating_sub(now) >= interval_ns;
        anchors[at] = speed[at] || (silent && room);
        last_speed = if speed[at] { now } else { last_speed };
        last_anchor = if anchors[at] { now } else { last_anchor };
    }
    anchors
}

/// How long a value of this column stands. [s]
fn age_s(frame: &Frame, rows: &[usize], column: usize) -> f64 {
    let times: Vec<i64> =
        rows.iter().filter(|at| has(frame, **at, column)).map(|at| frame.time_ns[*at]).collect();
    let interval_s = crate::median_interval_s(&times).unwrap_or(0.0);
    (INTERVALS * interval_s).clamp(AGE_LEAST_S, AGE_MOST_S)
}

fn has(frame: &Frame, at: usize, column: usize) -> bool {
    match column {
        _ if column < NUMBERS => !frame.numbers[column][at].is_nan(),
        _ if column < NUMBERS + FLAGS => frame.flags[column - NUMBERS][at].is_some(),
        _ => frame.texts[column - NUMBERS - FLAGS][at] != 0,
    }
}

fn ns(seconds: f64) -> i64 {
    (seconds * 1e9).round() as i64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::{ALTITUDE, CURRENT, SOC};

    /// Rows of (milliseconds, column, value).
    fn frame(rows: &[(i64, usize, f64)]) -> Frame {
        let mut frame = Frame::default();
        let file = frame.pool.number("can.log");
        for (ms, column, value) in rows {
            let mut row = Row { time_ns: ms * 1_000_000, file, ..Row::default() };
            row.numbers[*column] = *value;
            frame.push(&row);
        }
        frame
    }

    fn gathered(rows: &[(i64, usize, f64)]) -> (Frame, u64) {
        let frame = frame(rows);
        let mut count = 0;
        let belongs = vec![true; frame.len()];
        let out = gather(frame, &belongs, &mut |_, _| count += 1);
        assert_eq!(out.len() as u64 + count, rows.len() as u64, "every row stays or is counted");
        (out, count)
    }

    #[test]
    fn signals_take_their_place_on_the_instants_of_the_speed() {
        let mut rows = Vec::new();
        for i in 0..20 {
            rows.push((i * 1000, SPEED, 10.0 + i as f64));
            rows.push((i * 1000 + 400, CURRENT, 100.0 + i as f64));
        }
        let (out, merged) = gathered(&rows);
        assert_eq!((out.len(), merged), (20, 20));
        assert!(out.numbers[CURRENT][0].is_nan(), "nothing was logged before");
        assert_eq!(out.numbers[CURRENT][5], 104.0, "the latest, 600 ms old, and not a mean");
        assert_eq!(out.held[5], 1 << CURRENT);
        assert_eq!(out.held[0], 0);
    }

    #[test]
    fn values_grow_too_old_and_do_not_cross_a_silence() {
        let mut rows = Vec::new();
        for i in 0..200 {
            rows.push((i * 1000, SPEED, 10.0));
            if i % 10 == 0 && i < 100 {
                rows.push((i * 1000 + 1, SOC, 0.9 - i as f64 * 1e-4));
            }
        }
        rows.push((400_000, SPEED, 10.0));
        let (out, _) = gathered(&rows);
        let known = |at: usize| !out.numbers[SOC][at].is_nan();
        // The last value comes at 90 s and is logged every 10 s: it stands until 120 s.
        assert!(known(91) && known(120) && !known(121) && !known(199));
        let mut rows: Vec<_> = (0..20).map(|i| (i * 1000, SPEED, 10.0)).collect();
        rows.extend((0..3).map(|i| (i * 9000 + 1, SOC, 0.5)));
        rows.sort_by_key(|row| row.0);
        rows.push((31_000, SPEED, 10.0));
        let (out, _) = gathered(&rows);
        assert_eq!(out.numbers[SOC][19], 0.5);
        assert!(out.numbers[SOC][20].is_nan(), "13 s old but across a silence of 12 s");
    }

    #[test]
    fn a_charger_is_seen_though_the_speed_is_silent() {
        let mut rows: Vec<_> = (0..100).map(|i| (i * 1000, SPEED, 10.0)).collect();
        rows.extend((0..10_000).map(|i| (100_000 + i * 100, CURRENT, -60.0)));
        let (out, _) = gathered(&rows);
        let charging = out.numbers[CURRENT].iter().filter(|v| **v == -60.0).count();
        assert!((990..=1010).contains(&charging), "{charging} rows for 1000 s at the pace of the speed");
        assert_eq!(out.numbers[SPEED].iter().filter(|v| !v.is_nan()).count(), 100, "no speed is made up");
    }

    #[test]
    fn rows_of_other_sources_are_left_alone() {
        let frame =
            frame(&[(0, SPEED, 1.0), (500, ALTITUDE, 400.0), (1000, SPEED, 2.0), (1500, ALTITUDE, 401.0)]);
        let mut merged = 0;
        let out = gather(frame, &[true, false, true, false], &mut |_, _| merged += 1);
        assert_eq!((out.len(), merged), (4, 0));
        assert!(out.numbers[ALTITUDE][2].is_nan());
    }
}
