//! Logged speed against the receiver's: its own speed where that is logged, else the distance between its fixes.

use super::distance::{Run, STEP_MOST_S, between_m, fixes};
use super::seconds;
use crate::frame::{Frame, mask};
use crate::signal::{GPS_SPEED, SPEED};

/// Compared over stretches of this length, so that latency and noise average out. [s]
const STRETCH_NS: i64 = 30_000_000_000;
/// Rows or fixes needed in one stretch.
const ENOUGH: usize = 4;
/// Worn tyres and speedometers that flatter differ by up to a tenth (UN Regulation 39, 5.3: shown speed up to 10 % + 4 km/h above
/// the true one); a quarter is no such thing. [1]
const DIFFERS_FRAC: f64 = 0.25;
/// The same at low speed, where a few seconds of latency are all. [m/s]
const DIFFERS_M_S: f64 = 2.5;
/// Fixes further apart cut corners, and are a lower bound of the way only. [s]
const FIX_STEP_MOST_S: f64 = 5.0;

pub fn mark(frame: &mut Frame) {
    let fixes = fixes(frame);
    let driven = Run::driven(frame);
    let mut from = 0;
    while from < frame.len() {
        let stretch = frame.time_ns[from].div_euclid(STRETCH_NS);
        let until = from + frame.time_ns[from..].partition_point(|time| time.div_euclid(STRETCH_NS) == stretch);
        let inside = fixes.partition_point(|row| *row < from)..fixes.partition_point(|row| *row < until);
        let differs = by_receiver(frame, from, until)
            .unwrap_or_else(|| by_fixes(frame, &driven, &fixes[inside]).unwrap_or(false));
        if differs {
            for row in (from..until).filter(|row| !frame.numbers[SPEED][*row].is_nan()).collect::<Vec<_>>() {
                frame.mask[row] |= mask::SPEED_DISAGREES;
            }
        }
        from = until;
    }
}

/// Mean speeds of the rows that have both; `None` where too few have. A speed that is still the same may be that of an earlier fix,
/// and is not asked.
fn by_receiver(frame: &Frame, from: usize, until: usize) -> Option<bool> {
    let receiver = &frame.numbers[GPS_SPEED];
    let both: Vec<(f64, f64)> = (from.max(1)..until)
        .filter(|row| receiver[*row] != receiver[*row - 1])
        .map(|row| (frame.numbers[SPEED][row].abs(), frame.numbers[GPS_SPEED][row]))
        .filter(|(own, receiver)| !own.is_nan() && !receiver.is_nan())
        .collect();
    if both.len() < ENOUGH {
        return None;
    }
    let n = both.len() as f64;
    let own = both.iter().map(|(own, _)| own).sum::<f64>() / n;
    let receiver = both.iter().map(|(_, receiver)| receiver).sum::<f64>() / n;
    Some(differ(own, receiver))
}

fn differ(own: f64, receiver: f64) -> bool {
    (own - receiver).abs() > DIFFERS_M_S.max(DIFFERS_FRAC * own.max(receiver))
}

/// The way between the fixes of a stretch against the speeds on it.
fn by_fixes(frame: &Frame, driven: &Run, fixes: &[usize]) -> Option<bool> {
    if fixes.len() < ENOUGH {
        return None;
    }
    let (first, last) = (fixes[0], fixes[fixes.len() - 1]);
    let span_s = seconds(frame, first, last);
    if span_s < STEP_MOST_S / 2.0 || fixes.iter().any(|row| frame.mask[*row] & mask::POSITION_JUMP != 0) {
        return None;
    }
    let speeds = frame.numbers[SPEED][first..=last].iter().filter(|speed| !speed.is_nan()).count();
    let own = driven.between_m(first, last).filter(|_| speeds >= ENOUGH)? / span_s;
    // Fixes wander: from one to the next is further than the way, and straight from first to last is less.
    let at_most = fixes.windows(2).map(|w| between_m(frame, w[0], w[1])).sum::<f64>() / span_s;
    let at_least = between_m(frame, first, last) / span_s;
    let close = fixes.windows(2).all(|w| seconds(frame, w[0], w[1]) <= FIX_STEP_MOST_S);
    Some((at_least > own && differ(own, at_least)) || (close && at_most < own && differ(own, at_most)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;
    use crate::signal::{LATITUDE, LONGITUDE};

    /// A minute north at a logged and a true speed, a fix every so many seconds.
    fn drive(logged: f64, true_m_s: f64, receiver: f64, fix_s: i64) -> usize {
        let mut frame = Frame::default();
        for second in 0..60_i64 {
            let mut row = Row { time_ns: second * 1_000_000_000, ..Row::default() };
            row.numbers[SPEED] = logged;
            row.numbers[GPS_SPEED] = receiver + (second % 3) as f64 * 0.01;
            if second % fix_s == 0 {
                row.numbers[LATITUDE] = 1.0 + second as f64 * true_m_s / 111_195.0;
                row.numbers[LONGITUDE] = 30.0;
            }
            frame.push(&row);
        }
        mark(&mut frame);
        frame.mask.iter().filter(|row| **row & mask::SPEED_DISAGREES != 0).count()
    }

    #[test]
    fn a_tyre_or_a_flattering_dial_agrees_and_another_unit_does_not() {
        assert_eq!(drive(20.0, 18.5, f64::NAN, 1), 0);
        assert_eq!(drive(20.0, 20.0, 18.5, 60), 0);
        assert_eq!(drive(20.0, 12.4, f64::NAN, 1), 60);
        assert_eq!(drive(20.0, 20.0, 12.4, 60), 60);
    }

    /// A vehicle stands between houses and its fixes wander by tens of metres; a receiver's speed that is repeated for half a
    /// minute is that of an earlier fix.
    #[test]
    fn fixes_that_wander_and_speeds_that_are_old_say_nothing() {
        let mut frame = Frame::default();
        for second in 0..60_i64 {
            let mut row = Row { time_ns: second * 1_000_000_000, ..Row::default() };
            row.numbers[SPEED] = 0.0;
            row.numbers[LATITUDE] = 1.0 + (second * 7 % 5) as f64 * 12.0 / 111_195.0;
            row.numbers[LONGITUDE] = 30.0;
            frame.push(&row);
        }
        mark(&mut frame);
        assert!(frame.mask.iter().all(|row| *row == 0));
        frame.numbers[SPEED].fill(15.0);
        frame.numbers[GPS_SPEED] = (0..60).map(|second| if second < 30 { 0.01 } else { 15.2 }).collect();
        frame.numbers[LATITUDE].fill(f64::NAN);
        mark(&mut frame);
        assert!(frame.mask.iter().all(|row| *row == 0));
    }

    #[test]
    fn fixes_far_apart_are_a_lower_bound() {
        assert_eq!(drive(20.0, 12.4, f64::NAN, 7), 0, "corners may have been cut");
        assert_eq!(drive(12.4, 20.0, f64::NAN, 7), 60, "no corner makes a way longer");
    }
}
