//! Rate of change: a value further from the one before than its signal can change in the time between.

use super::{Refused, fresh, refuse, seconds};
use crate::frame::{Frame, mask};
use crate::signal::{ALTITUDE, AMBIENT, BATTERY_TEMPERATURE, GPS_SPEED, ODOMETER, SPEED};

/// What a signal can do.
struct Limit {
    signal: usize,
    /// SI per second.
    per_s: f64,
    /// What a step may be whatever the time: coarse steps of the signal, noise, filters that lag.
    room: f64,
}

/// A road vehicle speeds up and stops at up to about the friction of its tyres on dry road, near 1 g (12 m/s2 is above any);
/// speeds come in steps of up to 1 mph. Heights change by grade times speed (0.3 times 50 m/s), receivers add tens of metres
/// of noise. Odometers count up to miles at up to the highest speed. Sensors of temperature lag by seconds, and a vehicle
/// leaves a hall. Common practice, no source.
const LIMITS: [Limit; 6] = [
    Limit { signal: SPEED, per_s: 12.0, room: 3.0 },
    Limit { signal: GPS_SPEED, per_s: 12.0, room: 10.0 },
    Limit { signal: ALTITUDE, per_s: 15.0, room: 60.0 },
    Limit { signal: ODOMETER, per_s: 90.0, room: 2000.0 },
    Limit { signal: AMBIENT, per_s: 0.5, room: 15.0 },
    Limit { signal: BATTERY_TEMPERATURE, per_s: 0.5, room: 15.0 },
];

/// Neighbours further apart than this do not prove a value between them wrong. [s]
const NEIGHBOURS_MOST_S: f64 = 60.0;

pub fn mark(frame: &mut Frame) -> Vec<Refused> {
    LIMITS.iter().flat_map(|limit| mark_one(frame, limit)).collect()
}

fn mark_one(frame: &mut Frame, limit: &Limit) -> Vec<Refused> {
    let rows: Vec<usize> = (0..frame.len()).filter(|row| fresh(frame, limit.signal, *row).is_some()).collect();
    let breaks = |frame: &Frame, a: usize, b: usize| {
        let values = &frame.numbers[limit.signal];
        (values[b] - values[a]).abs() > limit.room + limit.per_s * seconds(frame, a, b)
    };
    let mut refused = Vec::new();
    let mut before: Option<usize> = None;
    for (at, &row) in rows.iter().enumerate() {
        let Some(last) = before.filter(|last| breaks(frame, *last, row)) else {
            before = Some(row);
            continue;
        };
        frame.mask[row] |= mask::RATE;
        let alone = rows.get(at + 1).is_some_and(|&next| {
            breaks(frame, row, next)
                && !breaks(frame, last, next)
                && seconds(frame, last, next) <= NEIGHBOURS_MOST_S
        });
        if alone {
            refused.push(refuse(
                frame,
                row,
                limit.signal,
                "rate",
                "is impossible against the values before and after it",
            ));
        } else {
            before = Some(row);
        }
    }
    refused
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;

    fn frame(signal: usize, step_ns: i64, values: &[f64]) -> Frame {
        let mut frame = Frame::default();
        for (at, value) in (0..).zip(values) {
            let mut row = Row { time_ns: at * step_ns, ..Row::default() };
            row.numbers[signal] = *value;
            frame.push(&row);
        }
        frame
    }

    fn marked(frame: &Frame) -> Vec<usize> {
        (0..frame.len()).filter(|row| frame.mask[*row] & mask::RATE != 0).collect()
    }

    #[test]
    fn a_lone_spike_is_refused_and_its_neighbours_stand() {
        let mut log = frame(SPEED, 1_000_000_000, &[10.0, 11.0, 60.0, 12.0, 13.0]);
        let refused = mark(&mut log);
        assert_eq!(marked(&log), [2]);
        assert_eq!((refused.len(), refused[0].row, refused[0].value, refused[0].reason), (1, 2, 60.0, "rate"));
        assert!(log.numbers[SPEED][2].is_nan() && log.mask[2] & mask::CELL_REFUSED != 0);
    }

    #[test]
    fn a_step_that_stays_is_marked_and_stands() {
        let mut log = frame(SPEED, 1_000_000_000, &[2.0, 2.0, 40.0, 40.0, 40.0]);
        assert_eq!(mark(&mut log), []);
        assert_eq!((marked(&log), log.numbers[SPEED][2]), (vec![2], 40.0));
    }

    /// The hardest stop of a passenger car, 10 m/s2, in steps of 1 mph at 10 Hz, and a gap in which anything may have happened.
    #[test]
    fn a_hard_stop_coarse_steps_and_gaps_are_possible() {
        let stop: Vec<f64> =
            (0..25).map(|at| (25.0 - f64::from(at)).max(0.0) / 0.44704).map(|v| v.round() * 0.44704).collect();
        let mut log = frame(SPEED, 100_000_000, &stop);
        assert_eq!((mark(&mut log), marked(&log)), (vec![], vec![]));
        let mut log = frame(SPEED, 10_000_000_000, &[0.0, 30.0, 0.0]);
        assert_eq!((mark(&mut log), marked(&log)), (vec![], vec![]));
    }
}
