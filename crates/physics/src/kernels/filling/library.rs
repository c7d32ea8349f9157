//! Traces of speed at 1 Hz, and their windows by length.

use std::fmt;
use std::sync::OnceLock;

use super::windows::{LONGEST_S, Windows};

/// Whose driving a library holds: it decides how far its draws are trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Faster trucks of the same fleet.
    OwnFleet,
    StandardCycles,
}

impl Origin {
    /// Standard deviation of the braking energy of a whole log filled from such a library, as a share of it: what no
    /// number of draws shows. Straight lines between 2, 5, 10, 30 and 60 s.
    ///
    /// Root mean square error of days and trips thinned and filled again, the made-up pilot's and a passenger EV's, about
    /// the larger of the two, the draws' own noise left out (notebooks-docs/method/sparse-logs.md).
    pub fn mismatch_frac(self, interval_s: f64) -> f64 {
        const INTERVAL_S: [f64; 5] = [2.0, 5.0, 10.0, 30.0, 60.0];
        let sd = match self {
            Origin::OwnFleet => [0.03, 0.06, 0.08, 0.12, 0.23],
            Origin::StandardCycles => [0.07, 0.19, 0.27, 0.40, 0.45],
        };
        let at = INTERVAL_S.partition_point(|s| *s < interval_s).clamp(1, INTERVAL_S.len() - 1);
        let share = (interval_s - INTERVAL_S[at - 1]) / (INTERVAL_S[at] - INTERVAL_S[at - 1]);
        sd[at - 1] + (sd[at] - sd[at - 1]) * share.clamp(0.0, 1.0)
    }
}

/// Driving, second by second.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Trace {
    /// [m/s]
    pub speeds: Vec<f64>,
    /// What the regen level set slows by with the foot off, beside each speed; empty where no level is known. [m/s²]
    pub lift_off: Vec<Option<f64>>,
}

impl From<Vec<f64>> for Trace {
    fn from(speeds: Vec<f64>) -> Self {
        Self { speeds, lift_off: Vec::new() }
    }
}

/// Speeds driven, second by second.
pub struct Library {
    /// What a figure that rests on it says: whose, and how much.
    name: String,
    origin: Origin,
    speeds: Vec<f32>,
    /// As long as the speeds.
    lift_off: Vec<Option<f32>>,
    /// First and one past the last value of each trace.
    traces: Vec<(usize, usize)>,
    /// By length in seconds, each built when the first gap of that length asks for it.
    windows: Vec<OnceLock<Windows>>,
}

impl Library {
    /// A library of traces, each of speeds one second apart. [m/s]
    ///
    /// Negative and unknown speeds count as standing.
    pub fn new(name: String, origin: Origin, traces: &[Trace]) -> Self {
        let seconds = traces.iter().map(|trace| trace.speeds.len()).sum();
        let (mut speeds, mut lift_off) = (Vec::with_capacity(seconds), Vec::with_capacity(seconds));
        let mut ends = Vec::with_capacity(traces.len());
        for trace in traces {
            let from = speeds.len();
            speeds.extend(trace.speeds.iter().map(|speed| speed.max(0.0) as f32));
            lift_off.extend(trace.lift_off.iter().map(|slows| slows.map(|slows| slows as f32)));
            lift_off.resize(speeds.len(), None);
            ends.push((from, speeds.len()));
        }
        let windows = (0..LONGEST_S.ceil() as usize).map(|_| OnceLock::new()).collect();
        Self { name, origin, speeds, lift_off, traces: ends, windows }
    }

    pub fn name(&self) -> &str {
        &self.name
    }

    pub fn origin(&self) -> Origin {
        self.origin
    }

    pub fn hours(&self) -> f64 {
        self.speeds.len() as f64 / 3600.0
    }

    /// The windows of a length of at most 60 s.
    pub(super) fn windows(&self, seconds: usize) -> &Windows {
        self.windows[seconds].get_or_init(|| Windows::new(&self.speeds, &self.lift_off, &self.traces, seconds))
    }

    /// Speeds of the window whose first value has this number: one more than its seconds.
    pub(super) fn window(&self, number: u32, seconds: usize) -> &[f32] {
        &self.speeds[number as usize..=number as usize + seconds]
    }

    /// Mean speed of a window over that of the line between its ends.
    pub(super) fn over_line_m_s(&self, number: u32, seconds: usize) -> f64 {
        let window = self.window(number, seconds);
        let inner: f64 = window[1..seconds].iter().map(|speed| f64::from(*speed)).sum();
        let line = f64::midpoint(f64::from(window[0]), f64::from(window[seconds]));
        (inner + line) / seconds as f64 - line
    }
}

/// The speeds are left out: there are millions.
impl fmt::Debug for Library {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Library").field("name", &self.name).field("hours", &self.hours()).finish()
    }
}

/// Windows follow from the speeds, whether or not they have been built.
impl PartialEq for Library {
    fn eq(&self, other: &Self) -> bool {
        (&self.name, self.origin, &self.speeds, &self.lift_off, &self.traces)
            == (&other.name, other.origin, &other.speeds, &other.lift_off, &other.traces)
    }
}
