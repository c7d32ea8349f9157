//! Windows of one length, as points that say where they begin, end, come from, go on to, how far they go and at what level.

use super::nearest::{AXES, Nearest, Point, Tree};

/// Gaps shorter than this hide nothing a line does not show. [s]
pub const SHORTEST_S: f64 = 1.5;
/// Between samples further apart than this no draw says what happened. [s] PHYSICS: at 60 s a tenth is left.
pub const LONGEST_S: f64 = 60.5;
/// At or below this a vehicle stands. [m/s] 1 km/h, as the replay has it.
pub const STANDING_M_S: f64 = 1.0 / 3.6;
/// How far apart standing and the slowest moving are set: a stop is matched by a stop. [m/s]
const STANDING_APART_M_S: f64 = 3.0;

/// Differences that count the same: speed at the ends, change of speed before and after, mean speed over the line's.
/// [m/s] Chosen on the standard cycles, each filled from the other (notebooks-docs/method/sparse-logs.md).
const END_M_S: f64 = 0.7;
const CHANGE_M_S: f64 = 1.5;
const MEAN_M_S: f64 = 0.3;
/// The same of what the regen level slows by with the foot off. [m/s²] Chosen on the made-up pilot (the same page).
const LIFT_OFF_M_S2: f64 = 0.5;
/// The axis it stands on.
const LEVEL: usize = 5;

/// What is known of the way between two samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Travelled {
    pub distance_m: f64,
    /// Its standard deviation; 0 where it is exact.
    pub sd_m: f64,
}

/// Two samples with nothing in between.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    pub duration_s: f64,
    /// 0 or more.
    pub start_m_s: f64,
    pub end_m_s: f64,
    /// Speed one window's length before the start and after the end.
    pub before_m_s: Option<f64>,
    pub after_m_s: Option<f64>,
    pub travelled: Option<Travelled>,
    /// What the regen level set at the start slows by with the foot off. [m/s²]
    pub lift_off_m_s2: Option<f64>,
}

impl Gap {
    /// Whole seconds of the windows that fit; `None` where none do.
    pub fn seconds(&self) -> Option<usize> {
        let fits = self.duration_s >= SHORTEST_S && self.duration_s < LONGEST_S;
        fits.then(|| self.duration_s.round() as usize)
    }

    /// Mean speed of the straight line.
    pub fn line_m_s(&self) -> f64 {
        f64::midpoint(self.start_m_s, self.end_m_s)
    }
}

/// All windows of one length of a library.
#[derive(Debug, Clone, PartialEq)]
pub struct Windows {
    pub seconds: usize,
    tree: Tree,
    knows_levels: bool,
}

impl Windows {
    /// Windows of `seconds` of each trace, by the place of their first value in `speeds`.
    ///
    /// Windows that begin and end at a standstill are left out: such gaps are not filled.
    /// Where some of the library's levels are known, one that is not is taken as their mean.
    pub fn new(speeds: &[f32], lift_off: &[Option<f32>], traces: &[(usize, usize)], seconds: usize) -> Self {
        let known = || lift_off.iter().flatten().map(|slows| f64::from(*slows));
        let count = known().count();
        let mean = if count > 0 { (known().sum::<f64>() / count as f64) as f32 } else { 0.0 };
        let mut points = Vec::new();
        for (from, to) in traces {
            let trace = &speeds[*from..*to];
            let level = |at: usize| lift_off[from + at].unwrap_or(mean);
            for at in 0..trace.len().saturating_sub(seconds) {
                if let Some(mut point) = point(trace, at, seconds) {
                    point[LEVEL] = level(at);
                    points.push((point, (from + at) as u32));
                }
            }
        }
        Self { seconds, tree: Tree::new(&points), knows_levels: count > 0 }
    }

    /// The windows most like a gap, among those that go some way where one is asked for. [m]
    pub(super) fn nearest(&self, gap: &Gap, way_m: Option<f64>) -> Nearest {
        let scaled = |known: bool, scale_m_s: f64| if known { weight(scale_m_s) } else { 0.0 };
        let to = [
            apart(gap.start_m_s),
            apart(gap.end_m_s),
            gap.before_m_s.map_or(0.0, |before| (gap.start_m_s - before) as f32),
            gap.after_m_s.map_or(0.0, |after| (after - gap.end_m_s) as f32),
            way_m.map_or(0.0, |way_m| (way_m / gap.duration_s - gap.line_m_s()) as f32),
            gap.lift_off_m_s2.unwrap_or(0.0) as f32,
        ];
        let weights = [
            weight(END_M_S),
            weight(END_M_S),
            scaled(gap.before_m_s.is_some(), CHANGE_M_S),
            scaled(gap.after_m_s.is_some(), CHANGE_M_S),
            scaled(way_m.is_some(), MEAN_M_S),
            scaled(self.knows_levels && gap.lift_off_m_s2.is_some(), LIFT_OFF_M_S2),
        ];
        self.tree.nearest(&to, &weights)
    }
}

fn weight(scale_m_s: f64) -> f32 {
    (1.0 / (scale_m_s * scale_m_s)) as f32
}

/// Speed, with standing set apart from moving.
fn apart(speed_m_s: f64) -> f32 {
    (if speed_m_s <= STANDING_M_S { -STANDING_APART_M_S } else { speed_m_s }) as f32
}

fn point(trace: &[f32], at: usize, seconds: usize) -> Option<Point> {
    let speed = |k: usize| f64::from(trace[k]);
    let (start, end) = (speed(at), speed(at + seconds));
    if start <= STANDING_M_S && end <= STANDING_M_S {
        return None;
    }
    // A trace that begins or ends at a standstill stood before and after; one cut on the move says nothing of either.
    let last = trace.len() - 1;
    let before = match at.checked_sub(seconds) {
        Some(before) => speed(before),
        None if speed(0) <= STANDING_M_S => speed(0),
        None => return None,
    };
    let after = match at + 2 * seconds {
        after if after <= last => speed(after),
        _ if speed(last) <= STANDING_M_S => speed(last),
        _ => return None,
    };
    let inner: f64 = (at + 1..at + seconds).map(speed).sum();
    let mean = (inner + f64::midpoint(start, end)) / seconds as f64;
    let point: [f64; AXES] = [0.0, 0.0, start - before, after - end, mean - f64::midpoint(start, end), 0.0];
    let mut point = point.map(|value| value as f32);
    (point[0], point[1]) = (apart(start), apart(end));
    Some(point)
}
