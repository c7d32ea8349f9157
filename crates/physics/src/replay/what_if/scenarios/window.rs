//! One trip cut out of a log: small enough that changing a copy of it costs nothing beside driving it.

use std::ops::Range;

use crate::kernels::road_load::Interval;
use crate::replay::ledger;
use crate::replay::motion::{Kind, Run};
use crate::replay::track::{GradeBasis, Track};
use crate::replay::weather::Air;

/// The columns the model looks at, and the way in steps of linear speed, the same under every scenario that keeps speeds.
pub struct Window {
    pub track: Track,
    pub intervals: Vec<Stretch>,
    pub steps: Vec<Interval>,
}

/// What lies between two knots.
pub struct Stretch {
    pub knot: usize,
    pub is_driving: bool,
    /// On the line between the two.
    pub line: Interval,
    /// Its steps, each weighing as little as there are draws.
    pub steps: Range<usize>,
    pub weight: f64,
}

impl Window {
    /// The runs of one trip, in the order of time. `is_long`: of a log of so many trips that two of the drives that stand in
    /// for each gap between slow samples are enough.
    pub fn of(track: &Track, runs: &[&Run], is_long: bool) -> Self {
        let from = runs.first().map_or(0, |run| run.knots.start);
        let until = runs.last().map_or(from, |run| run.knots.end + 1);
        let mut window = Self { track: cut(track, from..until), intervals: Vec::new(), steps: Vec::new() };
        for run in runs {
            let grade = track.spans[run.span].grade;
            for k in run.knots.clone() {
                let first = window.steps.len();
                let draws = window.push(track, k, grade, is_long);
                window.intervals.push(Stretch {
                    knot: k - from,
                    is_driving: run.kind == Kind::Driving,
                    line: ledger::interval(track, k, grade),
                    steps: first..window.steps.len(),
                    weight: 1.0 / draws as f64,
                });
            }
        }
        window
    }

    /// What was driven from a knot to the next: so many drives, one after the other.
    fn push(&mut self, track: &Track, k: usize, grade: GradeBasis, is_long: bool) -> usize {
        let mut take = |drives: &mut [Vec<Interval>]| {
            drives.iter_mut().for_each(|steps| self.steps.append(steps));
            drives.len()
        };
        match track.between.as_ref().and_then(|between| between.at(k)) {
            Some(paths) if is_long => take(&mut paths.some_steps(track, k, grade)),
            Some(paths) => take(&mut paths.steps(track, k, grade)),
            None => take(&mut [vec![ledger::interval(track, k, grade)]]),
        }
    }
}

fn cut(track: &Track, knots: Range<usize>) -> Track {
    fn part<T: Clone>(all: &[T], knots: &Range<usize>) -> Vec<T> {
        all.get(knots.clone()).map_or_else(Vec::new, <[T]>::to_vec)
    }
    Track {
        time_ns: part(&track.time_ns, &knots),
        altitude: part(&track.altitude, &knots),
        aux: part(&track.aux, &knots),
        cab: part(&track.cab, &knots),
        battery_thermal: part(&track.battery_thermal, &knots),
        refrigeration: part(&track.refrigeration, &knots),
        aux_standing: part(&track.aux_standing, &knots),
        soc: part(&track.soc, &knots),
        ambient: part(&track.ambient, &knots),
        battery: part(&track.battery, &knots),
        payload: part(&track.payload, &knots),
        gross: part(&track.gross, &knots),
        pedal: part(&track.pedal, &knots),
        level: part(&track.level, &knots),
        air: Air {
            pressure: part(&track.air.pressure, &knots),
            humidity: part(&track.air.humidity, &knots),
            headwind: part(&track.air.headwind, &knots),
            density: part(&track.air.density, &knots),
            stated: track.air.stated,
            ..Air::default()
        },
        names: track.names.clone(),
        ..Track::default()
    }
}
