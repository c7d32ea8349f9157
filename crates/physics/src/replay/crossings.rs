//! What is booked, by road cell: the grain of the map.

use h3o::{LatLng, Resolution};

use super::ledger::Ledger;
use super::track::Track;
use super::way::{Position, between};
use crate::kernels::cascade::Cascade;

/// Cells of 76 m edge, some 130 m across (H3, table of cell statistics): a few times what a position is wrong by, and
/// about the length of a stop from 30 mph, so that the approaches to one junction fall in cells of their own.
pub const CELL: Resolution = Resolution::Ten;
/// A line is looked at every so often. [m]
const STEP_M: f64 = 25.0;
/// Nor more often than this per interval, whatever the log says.
const STEPS_MOST: usize = 400;
/// Length of a degree of latitude, near enough to count steps. [m]
const DEGREE_M: f64 = 111_132.0;

/// A stretch of one segment within one cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossing {
    pub segment: usize,
    pub cell: Option<u64>,
    pub start_ns: i64,
    pub end_ns: i64,
    pub moving_s: f64,
    pub distance_m: f64,
    pub climb_m: f64,
    pub descent_m: f64,
    pub braking_j: f64,
    pub cascade: Cascade,
    pub recovered_j: f64,
}

/// Fed with every interval of every segment in order.
pub struct Splitter<'a> {
    track: &'a Track,
    way: Vec<Option<Position>>,
    /// The cell of a position that does not change is looked up once.
    last: Option<(Position, u64)>,
    pub crossings: Vec<Crossing>,
}

impl<'a> Splitter<'a> {
    pub fn new(track: &'a Track) -> Self {
        Self { track, way: super::way::way(track), last: None, crossings: Vec::new() }
    }

    /// Books the interval from knot `k` to the next: all of it to one cell, or by length to those its line crosses.
    pub fn feed(&mut self, segment: usize, k: usize, booked: &Ledger, rise_m: f64) {
        let (start, end) = (self.track.time_ns[k], self.track.time_ns[k + 1]);
        let parts = match (self.way[k], self.way[k + 1]) {
            (Some(from), Some(to)) => self.parts(from, to),
            _ => vec![(None, 0, 1)],
        };
        let steps = parts.last().map_or(1, |(_, _, until)| *until);
        let at = |step: usize| start + ((end - start) as f64 * step as f64 / steps as f64) as i64;
        for (cell, from, until) in parts {
            let share = (until - from) as f64 / steps as f64;
            let end_ns = if until == steps { end } else { at(until) };
            self.add(segment, cell, (at(from), end_ns), booked, rise_m, share);
        }
    }

    /// Cells of a straight line, each with its first step and the one after its last.
    fn parts(&mut self, from: Position, to: Position) -> Vec<(Option<u64>, usize, usize)> {
        let north = (to.0 - from.0) * DEGREE_M;
        let east = ((to.1 - from.1 + 540.0).rem_euclid(360.0) - 180.0) * DEGREE_M * from.0.to_radians().cos();
        let steps = ((north.hypot(east) / STEP_M).ceil() as usize).clamp(1, STEPS_MOST);
        let mut parts: Vec<(Option<u64>, usize, usize)> = Vec::new();
        for step in 0..steps {
            let cell = self.cell(between(from, to, (step as f64 + 0.5) / steps as f64));
            match parts.last_mut() {
                Some(last) if last.0 == cell => last.2 = step + 1,
                _ => parts.push((cell, step, step + 1)),
            }
        }
        parts
    }

    fn cell(&mut self, place: Position) -> Option<u64> {
        if let Some((_, cell)) = self.last.filter(|(known, _)| *known == place) {
            return Some(cell);
        }
        let cell = u64::from(LatLng::new(place.0, place.1).ok()?.to_cell(CELL));
        self.last = Some((place, cell));
        Some(cell)
    }

    fn add(
        &mut self,
        segment: usize,
        cell: Option<u64>,
        (start_ns, end_ns): (i64, i64),
        booked: &Ledger,
        rise_m: f64,
        share: f64,
    ) {
        let joins = |last: &Crossing| last.segment == segment && last.cell == cell;
        if !self.crossings.last().is_some_and(joins) {
            self.crossings.push(Crossing::empty(segment, cell, start_ns));
        }
        let Some(crossing) = self.crossings.last_mut() else { return };
        crossing.end_ns = end_ns;
        crossing.moving_s += booked.moving_s * share;
        crossing.distance_m += booked.distance_m * share;
        crossing.climb_m += rise_m.max(0.0) * share;
        crossing.descent_m += (-rise_m).max(0.0) * share;
        crossing.braking_j += booked.road.braking_j * share;
        crossing.cascade.add_scaled(&booked.cascade, share);
        crossing.recovered_j += booked.battery.recovered_j * share;
    }
}

impl Crossing {
    fn empty(segment: usize, cell: Option<u64>, start_ns: i64) -> Self {
        Self {
            segment,
            cell,
            start_ns,
            end_ns: start_ns,
            moving_s: 0.0,
            distance_m: 0.0,
            climb_m: 0.0,
            descent_m: 0.0,
            braking_j: 0.0,
            cascade: Cascade::default(),
            recovered_j: 0.0,
        }
    }
}
