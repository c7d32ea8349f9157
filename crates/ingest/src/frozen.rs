//! A bus that froze: every signal repeated unchanged while the time runs on and the vehicle claims to move.

use crate::frame::{Frame, mask};
use crate::signal::{NUMBERS, SPEED, WEATHER};

/// Signals that must be there, and still, before silence means a frozen bus: a lone speed may well be constant.
const SIGNALS_NEEDED: usize = 3;

/// Marks the rows of each frozen stretch but its first, and gives their number.
pub fn mark(frame: &mut Frame, after_s: f64, interval_s: f64) -> usize {
    let present: Vec<usize> = (0..NUMBERS).filter(|s| !WEATHER.contains(s) && varies(frame, *s)).collect();
    if present.len() < SIGNALS_NEEDED || !present.contains(&SPEED) {
        return 0;
    }
    // A slow log repeats a value now and then; four intervals without any change are no coincidence.
    let least_ns = (after_s.max(4.0 * interval_s) * 1e9) as i64;
    let mut marked = 0;
    let mut start = 0;
    for end in 1..=frame.len() {
        if end < frame.len() && unchanged(frame, &present, end - 1, end) {
            continue;
        }
        let long = frame.time_ns[end - 1] - frame.time_ns[start] >= least_ns;
        if long && frame.numbers[SPEED][start] > 1.0 {
            for row in &mut frame.mask[start + 1..end] {
                *row |= mask::FROZEN;
            }
            marked += end - 1 - start;
        }
        start = end;
    }
    marked
}

fn varies(frame: &Frame, signal: usize) -> bool {
    let mut values = frame.numbers[signal].iter().filter(|v| !v.is_nan());
    values.next().is_some_and(|first| values.any(|v| v != first))
}

/// Unchanged includes a value that turned blank: a logger that lost the bus may stop writing some of them.
fn unchanged(frame: &Frame, signals: &[usize], before: usize, now: usize) -> bool {
    let mut seen = 0;
    for &signal in signals {
        let (was, is) = (frame.numbers[signal][before], frame.numbers[signal][now]);
        // A value held over from an earlier instant says nothing of this one.
        if is.is_nan() || frame.held_at(now) & (1 << signal) != 0 {
            continue;
        }
        if was != is {
            return false;
        }
        seen += 1;
    }
    seen >= SIGNALS_NEEDED
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;

    fn frame(frozen: std::ops::Range<i64>) -> Frame {
        let mut frame = Frame::default();
        for i in 0..100_i64 {
            let shown = if frozen.contains(&i) { frozen.start } else { i };
            let mut row = Row { time_ns: i * 1_000_000_000, ..Row::default() };
            for signal in 0..4 {
                row.numbers[signal] = 10.0 + shown as f64 * 0.1;
            }
            frame.push(&row);
        }
        frame
    }

    #[test]
    fn a_frozen_minute_is_marked_and_a_short_hold_is_not() {
        assert_eq!(mark(&mut frame(20..80), 10.0, 1.0), 59);
        assert_eq!(mark(&mut frame(20..27), 10.0, 1.0), 0);
    }
}
