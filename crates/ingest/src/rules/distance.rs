//! Distances between positions, and how far a vehicle went by its speed.

use super::seconds;
use crate::frame::Frame;
use crate::signal::{LATITUDE, LONGITUDE, SPEED};

/// Mean radius of the earth. IUGG. [m]
const EARTH_RADIUS_M: f64 = 6_371_008.8;
/// Speeds further apart than this say nothing of the way between them. [s]
pub const STEP_MOST_S: f64 = 30.0;
/// No road vehicle is faster; the bound of the signal. [m/s]
pub const SPEED_MOST_M_S: f64 = 90.0;

/// Great-circle distance between two rows that have positions. Haversine formula: Sinnott (1984), Virtues of the Haversine,
/// Sky and Telescope 68(2), 159. [m]
pub fn between_m(frame: &Frame, a: usize, b: usize) -> f64 {
    let [lat, lon] = [LATITUDE, LONGITUDE].map(|signal| &frame.numbers[signal]);
    let half = |degrees: f64| (degrees.to_radians() / 2.0).sin().powi(2);
    let parallels = lat[a].to_radians().cos() * lat[b].to_radians().cos();
    let h = half(lat[b] - lat[a]) + parallels * half(lon[b] - lon[a]);
    2.0 * EARTH_RADIUS_M * h.sqrt().min(1.0).asin()
}

/// Rows whose position is logged and another than the one before: a receiver that repeats itself says nothing new.
pub fn fixes(frame: &Frame) -> Vec<usize> {
    let [lat, lon] = [LATITUDE, LONGITUDE].map(|signal| &frame.numbers[signal]);
    let mut last = (f64::NAN, f64::NAN);
    let mut fixes = Vec::new();
    for row in 0..frame.len() {
        let place = (lat[row], lon[row]);
        if !place.0.is_nan() && !place.1.is_nan() && place != last {
            fixes.push(row);
            last = place;
        }
    }
    fixes
}

/// Distance run up to each row, by a rule for each step between rows with speeds.
pub struct Run {
    run_m: Vec<f64>,
    /// Steps so far of which nothing is known.
    silent: Vec<u32>,
}

impl Run {
    /// By the trapezoidal rule; not known across a silence of the speed.
    pub fn driven(frame: &Frame) -> Self {
        Self::by(frame, |dt, was, is| (dt <= STEP_MOST_S).then(|| f64::midpoint(was, is).abs() * dt))
    }

    /// How far it can have gone at most: a third more than the faster end of each step, anything where the speed is silent.
    pub fn reach(frame: &Frame) -> Self {
        const SPARE: f64 = 4.0 / 3.0;
        Self::by(frame, |dt, was, is| {
            Some(if dt <= STEP_MOST_S { SPARE * was.abs().max(is.abs()) * dt } else { SPEED_MOST_M_S * dt })
        })
    }

    fn by(frame: &Frame, step: impl Fn(f64, f64, f64) -> Option<f64>) -> Self {
        let speed = &frame.numbers[SPEED];
        let mut run = Self { run_m: Vec::with_capacity(frame.len()), silent: Vec::with_capacity(frame.len()) };
        let (mut last, mut sum, mut silent): (Option<usize>, f64, u32) = (None, 0.0, 0);
        for row in 0..frame.len() {
            if !speed[row].is_nan() {
                match last.map(|last| step(seconds(frame, last, row), speed[last], speed[row])) {
                    Some(Some(way_m)) => sum += way_m,
                    Some(None) => silent += 1,
                    None => {}
                }
                last = Some(row);
            }
            run.run_m.push(sum);
            run.silent.push(silent);
        }
        run
    }

    /// `None` where a step between is not known.
    pub fn between_m(&self, from: usize, to: usize) -> Option<f64> {
        (self.silent[to] == self.silent[from]).then(|| self.run_m[to] - self.run_m[from])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;

    /// One degree of a great circle on that sphere is 111.195 km.
    #[test]
    fn a_degree_of_latitude() {
        let mut frame = Frame::default();
        for lat in [46.0, 47.0] {
            let mut row = Row::default();
            (row.numbers[LATITUDE], row.numbers[LONGITUDE]) = (lat, 8.0);
            frame.push(&row);
        }
        assert!((between_m(&frame, 0, 1) - 111_195.08).abs() < 0.01);
    }
}
