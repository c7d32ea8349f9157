//! Which way a battery signal counts, proved from the data.
//!
//! Two witnesses. Kinetic power: a vehicle that gathers speed draws from its battery and one that sheds it feeds
//! it, so current and `v dv/dt` go together when discharge counts positive. State of charge: what has flowed out
//! and the state of charge move against each other. The proof stands when the first speaks clearly and the second
//! does not contradict it.

use crate::frame::Frame;
use crate::signal::{ENGINE, SOC, SPEED};

/// Correlation below which a witness is silent.
const CLEAR: f64 = 0.25;
/// Pairs of samples needed.
const ENOUGH: usize = 40;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict {
    /// +1 when discharge counts positive, -1 when charge does, `None` when it is not proved.
    pub discharge: Option<f64>,
    pub kinetic_correlation: Option<f64>,
    pub soc_correlation: Option<f64>,
    pub pairs: usize,
}

impl Verdict {
    pub fn describe(&self) -> String {
        let figure = |value: Option<f64>| value.map_or("silent".to_owned(), |r| format!("{r:+.2}"));
        format!(
            "correlation with kinetic power {}, of charge drawn with state of charge {}, {} pairs",
            figure(self.kinetic_correlation),
            figure(self.soc_correlation),
            self.pairs
        )
    }
}

/// What the rows of one battery signal say, window after window.
#[derive(Debug, Clone, Default)]
pub struct Witness {
    kinetic: Sums,
    charge: Sums,
    /// Charge drawn so far.
    drawn: f64,
    soc: Option<(f64, f64)>,
    pub met: bool,
}

/// Weighs the witnesses for one battery signal over the rows that `belongs` picks.
pub fn prove(frame: &Frame, signal: usize, belongs: impl Fn(usize) -> bool) -> Verdict {
    let mut witness = Witness::default();
    witness.add(frame, signal, belongs);
    witness.verdict()
}

impl Witness {
    /// Hears the rows that `belongs` picks.
    pub fn add(&mut self, frame: &Frame, signal: usize, belongs: impl Fn(usize) -> bool) {
        let filled: Vec<usize> =
            (0..frame.len()).filter(|&i| belongs(i) && !frame.numbers[signal][i].is_nan()).collect();
        self.met |= !filled.is_empty();
        let electric = |i: &usize| frame.numbers[ENGINE][*i].is_nan() || frame.numbers[ENGINE][*i] < 1.0;
        let rows: Vec<usize> = filled.into_iter().filter(electric).collect();
        self.hear_kinetic(frame, signal, &rows);
        self.hear_soc(frame, signal, &rows);
    }

    pub fn verdict(&self) -> Verdict {
        let pairs = self.kinetic.n as usize;
        let kinetic = if pairs >= ENOUGH { self.kinetic.correlation() } else { None };
        let moved = self.soc.map_or(0.0, |(least, most)| most - least);
        let soc =
            if (self.charge.n as usize) < ENOUGH || moved < 0.01 { None } else { self.charge.correlation() };
        let discharge = match (kinetic.filter(|r| r.abs() >= CLEAR), soc.filter(|r| r.abs() >= CLEAR)) {
            (Some(kinetic), Some(soc)) if kinetic.signum() == soc.signum() => None,
            (Some(kinetic), _) => Some(kinetic.signum()),
            // A log too slow for accelerations still shows the charge running out.
            (None, Some(soc)) if soc.abs() > 0.9 => Some(-soc.signum()),
            (None, _) => None,
        };
        Verdict { discharge, kinetic_correlation: kinetic, soc_correlation: soc, pairs }
    }

    fn hear_kinetic(&mut self, frame: &Frame, signal: usize, rows: &[usize]) {
        let steps: Vec<f64> =
            rows.windows(2).map(|w| seconds(frame, w[0], w[1])).filter(|dt| *dt > 0.0).collect();
        let usual = crate::median(steps).unwrap_or(1.0);
        let reach = (2.5 * usual).max(3.0);
        // Differences over about a second: shorter ones show the resolution of the speed, not the acceleration.
        let stride = ((1.0 / usual.max(1e-3)).round() as usize).clamp(1, 50);
        let speed = &frame.numbers[SPEED];
        for window in rows.windows(stride + 1) {
            let (first, last) = (window[0], window[stride]);
            let dt = seconds(frame, first, last);
            let mean_speed = (speed[first] + speed[last]) / 2.0;
            if mean_speed.is_nan()
                || mean_speed < 2.0
                || dt <= 0.0
                || dt > reach.max(stride as f64 * usual * 1.5)
            {
                continue;
            }
            let acceleration = (speed[last] - speed[first]) / dt;
            if acceleration.abs() > 0.15 && acceleration.abs() < 6.0 {
                let drawn = (frame.numbers[signal][first] + frame.numbers[signal][last]) / 2.0;
                self.kinetic.add(mean_speed * acceleration, drawn);
            }
        }
    }

    fn hear_soc(&mut self, frame: &Frame, signal: usize, rows: &[usize]) {
        for window in rows.windows(2) {
            let dt = seconds(frame, window[0], window[1]);
            if dt > 0.0 && dt < 30.0 {
                self.drawn += frame.numbers[signal][window[0]] * dt;
            }
            let soc = frame.numbers[SOC][window[1]];
            if !soc.is_nan() {
                self.charge.add(self.drawn, soc);
                let (least, most) = self.soc.unwrap_or((soc, soc));
                self.soc = Some((least.min(soc), most.max(soc)));
            }
        }
    }
}

/// Running means and products of deviations: Welford (1962), Note on a Method for Calculating Corrected Sums of Squares and
/// Products, Technometrics 4(3), 419.
#[derive(Debug, Clone, Default)]
struct Sums {
    n: u64,
    mean: (f64, f64),
    xx: f64,
    yy: f64,
    xy: f64,
}

impl Sums {
    fn add(&mut self, x: f64, y: f64) {
        self.n += 1;
        let n = self.n as f64;
        let (dx, dy) = (x - self.mean.0, y - self.mean.1);
        self.mean = (self.mean.0 + dx / n, self.mean.1 + dy / n);
        self.xx += dx * (x - self.mean.0);
        self.yy += dy * (y - self.mean.1);
        self.xy += dx * (y - self.mean.1);
    }

    fn correlation(&self) -> Option<f64> {
        let scale = (self.xx * self.yy).sqrt();
        (scale > 0.0).then(|| self.xy / scale)
    }
}

fn seconds(frame: &Frame, first: usize, last: usize) -> f64 {
    (frame.time_ns[last] - frame.time_ns[first]) as f64 * 1e-9
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;
    use crate::signal::CURRENT;

    /// A saw-tooth drive at 1 Hz: current follows kinetic power with the given sign, state of charge follows both.
    fn drive(sign: f64, with_soc: bool) -> Frame {
        let mut frame = Frame::default();
        let mut soc = 0.9;
        for i in 0..400_i64 {
            let phase = i % 20;
            let (speed, rising) =
                if phase < 10 { (2.0 + phase as f64, true) } else { (22.0 - phase as f64, false) };
            let current = if rising { 8.0 * speed } else { -4.0 * speed };
            soc -= current * 1e-5;
            let mut row = Row { time_ns: i * 1_000_000_000, ..Row::default() };
            row.numbers[SPEED] = speed;
            row.numbers[CURRENT] = sign * current;
            if with_soc {
                row.numbers[SOC] = soc;
            }
            frame.push(&row);
        }
        frame
    }

    #[test]
    fn both_conventions_are_told_apart() {
        assert_eq!(prove(&drive(1.0, true), CURRENT, |_| true).discharge, Some(1.0));
        assert_eq!(prove(&drive(-1.0, true), CURRENT, |_| true).discharge, Some(-1.0));
        assert_eq!(prove(&drive(-1.0, false), CURRENT, |_| true).discharge, Some(-1.0));
    }

    #[test]
    fn contradicting_witnesses_prove_nothing() {
        let mut frame = drive(1.0, true);
        for soc in &mut frame.numbers[SOC] {
            *soc = 1.0 - *soc;
        }
        let verdict = prove(&frame, CURRENT, |_| true);
        assert_eq!(verdict.discharge, None, "{verdict:?}");
    }

    #[test]
    fn a_short_log_proves_nothing() {
        assert_eq!(prove(&drive(1.0, true), CURRENT, |i| i < 20).discharge, None);
    }
}
