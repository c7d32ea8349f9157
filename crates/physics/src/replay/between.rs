//! Gaps between slow samples, and the windows of a library that stand in for them.

use std::sync::Arc;

use super::ledger::level_at;
use super::motion::{Kind, Plan};
use super::track::{GradeBasis, Track};
use crate::kernels::filling::{DRAWS, Drawn, Gap, Library, SHORTEST_S, Travelled, draw, fit};
use crate::kernels::road_load::Interval;
use crate::truck::Truck;

/// Distance and position of a vehicle may say so much more or less than its speed: a tyre's size, a chord. Beyond, they
/// are about something else. Common practice, no source.
const SCALES: (f64, f64) = (0.9, 1.1);
/// Error of one position. [m] An open-sky satellite receiver's, common practice, no source.
const POSITION_M: f64 = 3.0;
/// Share by which the way of two positions errs beside that: bends within it. Common practice, no source.
const CHORD_FRAC: f64 = 0.02;
/// Earth's mean radius. [m] IUGG, from memory.
const EARTH_M: f64 = 6_371_008.8;

/// What stands in for the gaps of one track.
#[derive(Debug, Clone)]
pub struct Between {
    library: Arc<Library>,
    gaps: Vec<Filled>,
    /// Of each interval between knots, the number of the gap it lies in.
    of_interval: Vec<Option<u32>>,
}

#[derive(Debug, Clone)]
struct Filled {
    /// First and last knot.
    ends: (usize, usize),
    gap: Gap,
    drawn: Drawn,
}

impl Between {
    /// Windows for every gap of driving of a log whose speed is slow.
    pub fn new(
        track: &Track,
        plan: &Plan,
        vehicle_id: &str,
        truck: &Truck,
        library: Arc<Library>,
    ) -> Option<Self> {
        if track.interval_s <= SHORTEST_S {
            return None;
        }
        let ways = Ways::new(track);
        let mut between = Self { library, gaps: Vec::new(), of_interval: vec![None; track.time_ns.len()] };
        for run in plan.runs.iter().filter(|run| run.kind == Kind::Driving) {
            let span = track.spans[run.span].knots.clone();
            let logged: Vec<usize> = span.filter(|k| !track.speed_interpolated[*k]).collect();
            let first = logged.partition_point(|k| *k < run.knots.start);
            for at in first..logged.len().saturating_sub(1) {
                let ends = (logged[at], logged[at + 1]);
                if ends.1 > run.knots.end {
                    break;
                }
                let before = at.checked_sub(1).map(|before| logged[before]);
                let known = Known {
                    travelled: ways.between(track, ends),
                    lift_off_m_s2: level_at(track, ends.0, truck).map(|level| truck.lift_off_m_s2(level)),
                };
                let gap = gap(track, ends, before, logged.get(at + 2).copied(), known);
                if let Some(drawn) = draw(&between.library, &gap, vehicle_id, track.time_ns[ends.0]) {
                    between.of_interval[ends.0..ends.1].fill(Some(between.gaps.len() as u32));
                    between.gaps.push(Filled { ends, gap, drawn });
                }
            }
        }
        Some(between)
    }

    pub fn library(&self) -> &Library {
        &self.library
    }

    /// The gap that the interval from knot `k` lies in, where it is filled.
    pub fn at(&self, k: usize) -> Option<Paths<'_>> {
        let number = (*self.of_interval.get(k)?)?;
        Some(Paths { library: &self.library, filled: &self.gaps[number as usize], number: number as usize })
    }
}

/// What may have been driven in one gap.
#[derive(Clone, Copy)]
pub struct Paths<'a> {
    library: &'a Library,
    filled: &'a Filled,
    number: usize,
}

impl Paths<'_> {
    /// Intervals between knots that share the gap's draws.
    pub fn intervals(&self) -> usize {
        self.filled.ends.1 - self.filled.ends.0
    }

    /// For each draw the part of its way that lies in the interval from knot `k`, in steps of linear speed.
    ///
    /// The rise of the interval is spread along the way; where it is the logged grade's it grows with the way.
    pub fn steps(&self, track: &Track, k: usize, grade: GradeBasis) -> [Vec<Interval>; DRAWS] {
        std::array::from_fn(|draw| self.path(draw, track, k, grade))
    }

    /// The same for two draws, one of either half. Which two goes round with the gaps, so that over four of them every
    /// draw has its turn: for sums over many gaps.
    pub fn some_steps(&self, track: &Track, k: usize, grade: GradeBasis) -> [Vec<Interval>; 2] {
        let half = DRAWS / 2;
        std::array::from_fn(|at| self.path(self.number % half + at * half, track, k, grade))
    }

    fn path(&self, draw: usize, track: &Track, k: usize, grade: GradeBasis) -> Vec<Interval> {
        let Filled { ends, gap, drawn } = self.filled;
        let window = (track.seconds(ends.0, k), track.seconds(ends.0, k + 1));
        let rise_m = if grade == GradeBasis::None { 0.0 } else { track.rise[k] };
        let line_m = f64::midpoint(track.speed[k], track.speed[k + 1]) * (window.1 - window.0);
        let way_m = drawn.ways_m.map(|ways_m| ways_m[2 * draw / DRAWS]);
        let speeds = fit(self.library, drawn.windows[draw], gap, way_m);
        let mut steps = within(&speeds, gap.duration_s, window);
        let way_m: f64 = steps.iter().map(Interval::distance_m).sum();
        let over_m = if grade == GradeBasis::Logged { line_m } else { way_m };
        if over_m > 0.0 {
            steps.iter_mut().for_each(|step| step.rise_m = rise_m * step.distance_m() / over_m);
        }
        steps
    }
}

/// The part of evenly spaced speeds over `duration_s` that lies in a window of time.
fn within(speeds: &[f64], duration_s: f64, window: (f64, f64)) -> Vec<Interval> {
    let count = speeds.len() - 1;
    let step_s = duration_s / count as f64;
    // Instants nearer than this are the same one. [s]
    let same_s = 1e-6;
    let at = |time_s: f64| {
        let place = (time_s / step_s).clamp(0.0, count as f64);
        let below = (place.floor() as usize).min(count - 1);
        speeds[below] + (speeds[below + 1] - speeds[below]) * (place - below as f64)
    };
    let nodes = (1..count).map(|n| (n as f64 * step_s, speeds[n]));
    let inner = nodes.filter(|(time, _)| *time > window.0 + same_s && *time < window.1 - same_s);
    let mut from = (window.0, at(window.0));
    let mut steps = Vec::with_capacity(count);
    for to in inner.chain([(window.1, at(window.1))]) {
        steps.push(Interval {
            duration_s: to.0 - from.0,
            speed_start_m_s: from.1,
            speed_end_m_s: to.1,
            rise_m: 0.0,
        });
        from = to;
    }
    steps
}

/// What is known of a gap beside speeds.
struct Known {
    travelled: Option<Travelled>,
    lift_off_m_s2: Option<f64>,
}

fn gap(
    track: &Track,
    ends: (usize, usize),
    before: Option<usize>,
    after: Option<usize>,
    Known { travelled, lift_off_m_s2 }: Known,
) -> Gap {
    let duration_s = track.seconds(ends.0, ends.1);
    let (start_m_s, end_m_s) = (track.speed[ends.0], track.speed[ends.1]);
    // As far away as the gap is long, on the line through the neighbour, which is rarely just there.
    let beyond = |near: usize, far: usize| {
        let share = duration_s / track.seconds(near.min(far), near.max(far));
        let near_m_s = track.speed[near];
        (0.5..=2.0).contains(&share).then(|| (near_m_s + (track.speed[far] - near_m_s) * share).max(0.0))
    };
    Gap {
        duration_s,
        start_m_s,
        end_m_s,
        before_m_s: before.and_then(|before| beyond(ends.0, before)),
        after_m_s: after.and_then(|after| beyond(ends.1, after)),
        travelled,
        lift_off_m_s2,
    }
}

/// What odometer and positions say of the way between samples, brought to the scale of the speed.
struct Ways {
    /// Scale and standard deviation [m] of a difference of readings, where there is an odometer.
    odometer: Option<(f64, f64)>,
    position: Option<f64>,
}

impl Ways {
    fn new(track: &Track) -> Self {
        let odometer = scale(track, odometer_m).map(|scale| {
            let readings: Vec<f64> = track.odometer.iter().flatten().copied().collect();
            let steps = readings.windows(2).map(|w| w[1] - w[0]).filter(|step| *step > 1e-6);
            let step_m = steps.fold(f64::INFINITY, f64::min);
            // Two readings, each anywhere within a step.
            (scale, scale * step_m / 6.0_f64.sqrt())
        });
        let odometer = odometer.filter(|(_, sd_m)| sd_m.is_finite());
        Self { odometer, position: scale(track, chord_m) }
    }

    /// By odometer, else by positions: a chord is shorter than a bend, and the errors of its ends lengthen a short one.
    fn between(&self, track: &Track, ends: (usize, usize)) -> Option<Travelled> {
        let odometer = self.odometer.and_then(|(scale, sd_m)| {
            let distance_m = scale * odometer_m(track, ends)?;
            Some(Travelled { distance_m, sd_m })
        });
        odometer.or_else(|| {
            let distance_m = self.position? * chord_m(track, ends)?;
            let sd_m = (2.0 * POSITION_M * POSITION_M + (CHORD_FRAC * distance_m).powi(2)).sqrt();
            Some(Travelled { distance_m, sd_m })
        })
    }
}

fn odometer_m(track: &Track, ends: (usize, usize)) -> Option<f64> {
    Some(track.odometer[ends.1]? - track.odometer[ends.0]?).filter(|way| *way >= 0.0)
}

/// Between two fresh positions: one that did not move since the knot before is an old one.
fn chord_m(track: &Track, ends: (usize, usize)) -> Option<f64> {
    let fresh = |k: usize| track.position[k].filter(|_| k == 0 || track.position[k - 1] != track.position[k]);
    let ((lat, lon), (to_lat, to_lon)) = (fresh(ends.0)?, fresh(ends.1)?);
    let north = (to_lat - lat).to_radians() * EARTH_M;
    let east = (to_lon - lon).to_radians() * EARTH_M * f64::midpoint(lat, to_lat).to_radians().cos();
    Some(north.hypot(east))
}

/// Distance by speed over distance by another signal, over all gaps that have both. Lines between samples miss what a
/// gap hides in both directions alike.
fn scale(track: &Track, other: fn(&Track, (usize, usize)) -> Option<f64>) -> Option<f64> {
    let (mut by_speed, mut by_other) = (0.0, 0.0);
    for span in &track.spans {
        let logged: Vec<usize> = span.knots.clone().filter(|k| !track.speed_interpolated[*k]).collect();
        for pair in logged.windows(2) {
            if let Some(way) = other(track, (pair[0], pair[1])) {
                by_speed +=
                    f64::midpoint(track.speed[pair[0]], track.speed[pair[1]]) * track.seconds(pair[0], pair[1]);
                by_other += way;
            }
        }
    }
    let scale = by_speed / by_other;
    (SCALES.0..=SCALES.1).contains(&scale).then_some(scale)
}
