//! State-of-charge re-anchoring: a jump that neither a drive nor a charger explains. The battery's own count was corrected;
//! whoever reads the step as energy reads a charge or a drive that never was.

use super::{fresh, seconds};
use crate::frame::{Frame, mask};
use crate::signal::{CURRENT, PLUGGED_IN, SOC, SPEED};

/// Four times the capacity in an hour: the fastest charging and the fullest throttle of small batteries stay below it.
/// Common practice, no source. [1/s]
const FASTEST_PER_S: f64 = 4.0 / 3600.0;
/// A step may be as coarse as the display: three of the log's usual steps and never less than this. [1]
const ROOM_LEAST: f64 = 0.025;
const USUAL_STEPS: f64 = 3.0;
/// Standing without current, a jump of this much comes from the count alone. [1]
const STANDING_LEAST: f64 = 0.015;
/// Current at rest: what a parked vehicle's electronics draw. Common practice, no source. [A]
const REST_A: f64 = 3.0;
/// Readings further apart are two parkings, not a jump. [s]
const APART_MOST_S: f64 = 600.0;

pub fn mark(frame: &mut Frame) {
    let rows: Vec<usize> = (0..frame.len()).filter(|row| fresh(frame, SOC, *row).is_some()).collect();
    let soc = |row: usize| frame.numbers[SOC][row];
    let mut steps: Vec<f64> =
        rows.windows(2).map(|w| (soc(w[1]) - soc(w[0])).abs()).filter(|step| *step > 0.0).collect();
    steps.sort_unstable_by(f64::total_cmp);
    // The lower quarter: where jumps are many, they are not what is usual.
    let usual = steps.get(steps.len() / 4).copied().unwrap_or(0.0);
    let room = ROOM_LEAST.max(USUAL_STEPS * usual);
    let mut jumps = Vec::new();
    for pair in rows.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let (jump, dt) = ((soc(to) - soc(from)).abs(), seconds(frame, from, to));
        let unmoved =
            || jump > STANDING_LEAST.max(USUAL_STEPS * usual) && dt <= APART_MOST_S && rests(frame, from, to);
        if jump > room + FASTEST_PER_S * dt || unmoved() {
            jumps.push(to);
        }
    }
    for row in jumps {
        frame.mask[row] |= mask::SOC_REANCHORED;
    }
}

/// Standing, not known to be plugged in, and hardly any current, in every row of the stretch.
fn rests(frame: &Frame, from: usize, to: usize) -> bool {
    (from..=to).all(|row| {
        // Not a number is no rest: what was not logged is not known.
        frame.numbers[SPEED][row].abs() < 0.3
            && frame.numbers[CURRENT][row].abs() < REST_A
            && frame.flags[PLUGGED_IN][row] != Some(true)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;

    fn log(socs: &[f64], step_s: i64, speed: f64, current: f64) -> Vec<usize> {
        let mut frame = Frame::default();
        for (at, soc) in (0..).zip(socs) {
            let mut row = Row { time_ns: at * step_s * 1_000_000_000, ..Row::default() };
            (row.numbers[SOC], row.numbers[SPEED], row.numbers[CURRENT]) = (*soc, speed, current);
            frame.push(&row);
        }
        mark(&mut frame);
        (0..frame.len()).filter(|row| frame.mask[*row] & mask::SOC_REANCHORED != 0).collect()
    }

    #[test]
    fn a_jump_of_the_count_is_marked_where_it_lands() {
        assert_eq!(log(&[0.60, 0.599, 0.598, 0.66, 0.659], 1, 10.0, f64::NAN), [3]);
        assert_eq!(log(&[0.301, 0.30, 0.30, 0.32, 0.32], 10, 0.0, 0.4), [3], "at rest, without current");
    }

    #[test]
    fn steps_of_a_coarse_display_and_a_fast_charger_are_none() {
        assert_eq!(log(&[0.60, 0.60, 0.58, 0.58, 0.56], 1, 10.0, 100.0), Vec::<usize>::new());
        // 3 C: 0.0083 in ten seconds.
        assert_eq!(log(&[0.60, 0.608, 0.617, 0.625], 10, 0.0, -300.0), Vec::<usize>::new());
        // Parked overnight.
        assert_eq!(log(&[0.30, 0.95, 0.95], 36_000, 0.0, 0.4), Vec::<usize>::new());
    }
}
