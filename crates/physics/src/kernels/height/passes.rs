//! Passes over the same road averaged with each other.

use std::collections::HashMap;

use super::cells::Cell;

/// Cells this near and driven along the same line belong to one road. [m]
const REACH_M: f64 = 30.0;
/// Cosine of the angle between two directions beyond which they are one line, either way.
const PARALLEL: f64 = 0.8;
/// Cells kept per square: more passes add nothing.
const KEPT: usize = 200;
/// Cells of one stretch this far apart are two passes.
const SAME_PASS: usize = 8;
/// Length of a degree of latitude, near enough for distances of metres. [m]
const DEGREE_M: f64 = 111_132.0;

/// Replaces each height by the mean over all passes near it, and counts them.
pub fn average(stretches: &mut [Vec<Cell>]) {
    let mut squares: HashMap<(i64, i64), Vec<Seen>> = HashMap::new();
    for (stretch, cells) in stretches.iter().enumerate() {
        for at in 0..cells.len() {
            let Some(seen) = Seen::new(cells, stretch, at) else { continue };
            let square = squares.entry(seen.square()).or_default();
            if square.len() < KEPT {
                square.push(seen);
            }
        }
    }
    let averaged: Vec<Vec<Option<(f64, f64)>>> = stretches
        .iter()
        .enumerate()
        .map(|(stretch, cells)| {
            (0..cells.len()).map(|at| mean_near(&squares, &Seen::new(cells, stretch, at)?)).collect()
        })
        .collect();
    for (cells, means) in stretches.iter_mut().zip(averaged) {
        for (cell, mean) in cells.iter_mut().zip(means) {
            if let Some((height, passes)) = mean {
                (cell.height_m, cell.passes) = (Some(height), passes);
            }
        }
    }
}

/// A cell with height, place and direction of travel.
#[derive(Debug, Clone, Copy)]
struct Seen {
    stretch: usize,
    at: usize,
    height: f64,
    east: f64,
    north: f64,
    heading: (f64, f64),
}

impl Seen {
    fn new(cells: &[Cell], stretch: usize, at: usize) -> Option<Self> {
        let here = &cells[at];
        let (height, place) = (here.height_m?, here.place?);
        let (east, north) = metres(place);
        let placed = |i: Option<usize>| cells.get(i?).and_then(|cell| cell.place).map(metres);
        let before = placed(at.checked_sub(1)).unwrap_or((east, north));
        let after = placed(at.checked_add(1)).unwrap_or((east, north));
        let (de, dn) = (after.0 - before.0, after.1 - before.1);
        let length = de.hypot(dn);
        (length > 0.0).then(|| Self { stretch, at, height, east, north, heading: (de / length, dn / length) })
    }

    fn square(&self) -> (i64, i64) {
        ((self.east / REACH_M).floor() as i64, (self.north / REACH_M).floor() as i64)
    }

    fn is_near(&self, other: &Self) -> bool {
        let apart = (self.east - other.east).hypot(self.north - other.north);
        let along = self.heading.0 * other.heading.0 + self.heading.1 * other.heading.1;
        apart <= REACH_M && along.abs() >= PARALLEL
    }
}

/// Metres east and north; parallels shrink by a cosine that is the same within a tenth of a degree, so that places
/// close to each other keep their distance.
fn metres(place: (f64, f64)) -> (f64, f64) {
    let band = (place.0 * 10.0).round() / 10.0;
    (place.1 * DEGREE_M * band.to_radians().cos(), place.0 * DEGREE_M)
}

/// Mean height near a cell and the number of passes in it.
fn mean_near(squares: &HashMap<(i64, i64), Vec<Seen>>, here: &Seen) -> Option<(f64, f64)> {
    let (east, north) = here.square();
    let mut near: Vec<&Seen> = Vec::new();
    for (i, j) in (-1..=1).flat_map(|i| (-1..=1).map(move |j| (i, j))) {
        let square = squares.get(&(east.saturating_add(i), north.saturating_add(j)));
        near.extend(square.into_iter().flatten().filter(|other| here.is_near(other)));
    }
    near.sort_by_key(|seen| (seen.stretch, seen.at));
    let new_pass = |pair: &[&Seen]| pair[0].stretch != pair[1].stretch || pair[1].at - pair[0].at > SAME_PASS;
    let passes = 1 + near.windows(2).filter(|pair| new_pass(pair)).count();
    let sum: f64 = near.iter().map(|seen| seen.height).sum();
    (!near.is_empty()).then(|| (sum / near.len() as f64, passes as f64))
}
