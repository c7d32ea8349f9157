//! Position jump: a fix further from the one before than the vehicle can have gone by its own speed.

use super::distance::{Run, SPEED_MOST_M_S, between_m, fixes};
use super::{Refused, refuse, seconds};
use crate::frame::{Frame, mask};
use crate::signal::{LATITUDE, LONGITUDE, SPEED};

/// What a fix may be off whatever the time: reflections between houses, the latency of a receiver, a position written to
/// three decimals of a degree. Common practice, no source. [m]
const ROOM_M: f64 = 150.0;
/// Fixes further apart than this do not prove one between them wrong. [s]
const NEIGHBOURS_MOST_S: f64 = 120.0;

pub fn mark(frame: &mut Frame) -> Vec<Refused> {
    let rows = fixes(frame);
    let reach = Run::reach(frame);
    let logs_speed = frame.numbers[SPEED].iter().any(|speed| !speed.is_nan());
    let breaks = |frame: &Frame, a: usize, b: usize| {
        let most_m = SPEED_MOST_M_S * seconds(frame, a, b);
        let reach_m = if logs_speed {
            reach.between_m(a, b).map_or(most_m, |reach_m| reach_m.min(most_m))
        } else {
            most_m
        };
        between_m(frame, a, b) > ROOM_M + reach_m
    };
    let mut refused = Vec::new();
    let mut before: Option<usize> = None;
    for (at, &row) in rows.iter().enumerate() {
        let Some(last) = before.filter(|last| breaks(frame, *last, row)) else {
            before = Some(row);
            continue;
        };
        frame.mask[row] |= mask::POSITION_JUMP;
        let alone = rows.get(at + 1).is_some_and(|&next| {
            breaks(frame, row, next)
                && !breaks(frame, last, next)
                && seconds(frame, last, next) <= NEIGHBOURS_MOST_S
        });
        if !alone {
            before = Some(row);
            continue;
        }
        // A receiver that repeats a wrong fix is wrong in each of its rows.
        let until = rows[at + 1];
        let (lat, lon) = (frame.numbers[LATITUDE][row], frame.numbers[LONGITUDE][row]);
        for again in row..until {
            if (frame.numbers[LATITUDE][again], frame.numbers[LONGITUDE][again]) == (lat, lon) {
                frame.mask[again] |= mask::POSITION_JUMP;
                for signal in [LATITUDE, LONGITUDE] {
                    let why = "is impossible against the fixes before and after it";
                    refused.push(refuse(frame, again, signal, "position-jump", why));
                }
            }
        }
    }
    refused
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;

    /// A fix a second on the way north at 20 m/s, some of them moved east. [m]
    fn drive(east_m: &[(usize, f64)]) -> Frame {
        let mut frame = Frame::default();
        for at in 0..20_usize {
            let mut row = Row { time_ns: at as i64 * 1_000_000_000, ..Row::default() };
            let off_m = east_m.iter().find(|(row, _)| *row == at).map_or(0.0, |(_, off)| *off);
            row.numbers[SPEED] = 20.0;
            row.numbers[LATITUDE] = 1.0 + at as f64 * 20.0 / 111_195.0;
            row.numbers[LONGITUDE] = 30.0 + off_m / 111_195.0;
            frame.push(&row);
        }
        frame
    }

    fn marked(frame: &Frame) -> Vec<usize> {
        (0..frame.len()).filter(|row| frame.mask[*row] & mask::POSITION_JUMP != 0).collect()
    }

    #[test]
    fn a_lone_fix_in_the_sea_is_refused() {
        let mut frame = drive(&[(7, 5000.0)]);
        let refused = mark(&mut frame);
        assert_eq!((refused.len(), marked(&frame)), (2, vec![7]));
        assert!(frame.numbers[LATITUDE][7].is_nan() && frame.numbers[LONGITUDE][7].is_nan());
    }

    #[test]
    fn a_jump_that_stays_is_marked_where_it_happens() {
        let mut frame = drive(&(9..20).map(|at| (at, 900.0)).collect::<Vec<_>>());
        assert_eq!((mark(&mut frame), marked(&frame)), (vec![], vec![9]));
    }

    #[test]
    fn noise_and_a_tunnel_are_no_jumps() {
        let mut frame = drive(&[(4, 90.0), (5, -60.0)]);
        assert_eq!((mark(&mut frame), marked(&frame)), (vec![], vec![]));
        let mut frame = drive(&[]);
        for row in 3..18 {
            (frame.numbers[LATITUDE][row], frame.numbers[LONGITUDE][row]) = (f64::NAN, f64::NAN);
        }
        assert_eq!((mark(&mut frame), marked(&frame)), (vec![], vec![]));
    }
}
