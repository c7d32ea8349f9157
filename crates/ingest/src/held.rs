//! Positions that were repeated until the next fix: a logger that writes every second what its receiver says every
//! twelfth. They stay in the row, marked, so that nobody takes them for fresh ones.

use crate::frame::{Frame, mask};
use crate::signal::{ALTITUDE, LATITUDE, LONGITUDE, SPEED};

/// A vehicle that went further than this since a position first showed is no longer there. Receivers are good to some
/// metres, and positions are written to a metre or ten (common practice, no source). [m]
const MOVED_M: f64 = 5.0;
/// Speeds further apart than this say nothing of the way between them. [s]
const STEP_MOST_S: f64 = 30.0;

/// Marks positions, and the altitudes that came with them, of rows where the vehicle has moved on. A barometer's altitude
/// changes in the meantime and is not marked; nor is the height of a vehicle that logs no position.
pub fn mark_positions(frame: &mut Frame) {
    frame.held.resize(frame.len(), 0);
    // The fix that shows: position, altitude, and how far the vehicle went since; then the last speed and its time.
    let mut fix: Option<(f64, f64, f64, f64)> = None;
    let mut before: Option<(i64, f64)> = None;
    for at in 0..frame.len() {
        let speed = frame.numbers[SPEED][at];
        if !speed.is_nan() {
            let step = before.replace((frame.time_ns[at], speed));
            if let (Some((time, was)), Some(fix)) = (step, &mut fix) {
                let seconds = (frame.time_ns[at] - time) as f64 * 1e-9;
                let known = seconds <= STEP_MOST_S;
                fix.3 += if known { f64::midpoint(was, speed).abs() * seconds } else { 0.0 };
            }
        }
        let [lat, lon, altitude] = [LATITUDE, LONGITUDE, ALTITUDE].map(|signal| frame.numbers[signal][at]);
        if lat.is_nan() || lon.is_nan() {
            continue;
        }
        let frozen = frame.mask[at] & mask::FROZEN != 0;
        match &fix {
            Some((known_lat, known_lon, height, moved)) if (*known_lat, *known_lon) == (lat, lon) => {
                if *moved > MOVED_M && !frozen {
                    frame.held[at] |= 1 << LATITUDE | 1 << LONGITUDE;
                    // Two blanks are no repeat.
                    frame.held[at] |= u64::from(*height == altitude) << ALTITUDE;
                }
            }
            _ => fix = Some((lat, lon, altitude, 0.0)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;

    /// A row a second at one speed, a fix every `every` rows; the altitude of the fix, or of a barometer.
    fn drive(speed: f64, every: i64, barometer: bool) -> Vec<u64> {
        let mut frame = Frame::default();
        for i in 0..60_i64 {
            let fix = i / every * every;
            let mut row = Row { time_ns: i * 1_000_000_000, ..Row::default() };
            row.numbers[SPEED] = speed;
            row.numbers[LATITUDE] = 12.0 + fix as f64 * speed / 111_195.0;
            row.numbers[LONGITUDE] = -35.0;
            row.numbers[ALTITUDE] = 400.0 + if barometer { i } else { fix } as f64 * 0.1;
            frame.push(&row);
        }
        mark_positions(&mut frame);
        frame.held
    }

    #[test]
    fn a_fix_every_twelfth_second_is_fresh_once() {
        let held = drive(15.0, 12, false);
        let fresh: Vec<usize> = (0..60).filter(|at| held[*at] == 0).collect();
        assert_eq!(fresh, [0, 12, 24, 36, 48]);
        assert_eq!(held[1], 1 << LATITUDE | 1 << LONGITUDE | 1 << ALTITUDE);
        assert_eq!(drive(15.0, 12, true)[1], 1 << LATITUDE | 1 << LONGITUDE, "a barometer goes on");
    }

    #[test]
    fn a_fix_a_second_and_a_vehicle_that_stands_are_fresh() {
        assert!(drive(15.0, 1, false).iter().all(|held| *held == 0));
        assert!(drive(0.0, 60, false).iter().all(|held| *held == 0));
    }
}
