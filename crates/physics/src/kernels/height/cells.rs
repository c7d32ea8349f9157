//! Altitudes averaged over short lengths of road.

use super::{CELL_M, Point};
use crate::kernels::hampel;

/// 100,000 km without a break in the log is a fault, and must not eat the memory.
const CELLS_MOST: usize = 4_000_000;

#[derive(Debug, Clone, Default, PartialEq)]
pub struct Cell {
    pub height_m: Option<f64>,
    /// Latitude and longitude. [deg]
    pub place: Option<(f64, f64)>,
    /// Passes whose altitudes were averaged.
    pub passes: f64,
}

/// Means over each 25 m, outlying heights replaced (Hampel); a cell without a value stays empty.
pub fn cells(points: &[Point]) -> Vec<Cell> {
    let mut sums: Vec<Sum> = Vec::new();
    for point in points {
        let cell = (point.distance_m / CELL_M).max(0.0) as usize;
        if cell >= CELLS_MOST {
            break;
        }
        if cell >= sums.len() {
            sums.resize(cell + 1, Sum::default());
        }
        sums[cell].add(point);
    }
    let known: Vec<usize> = (0..sums.len()).filter(|i| sums[*i].count > 0.0).collect();
    let mut heights: Vec<f64> = known.iter().map(|i| sums[*i].height / sums[*i].count).collect();
    hampel::replace_outliers(&mut heights, 3);
    let mut cells: Vec<Cell> = sums.iter().map(Sum::cell).collect();
    for (cell, height) in known.into_iter().zip(heights) {
        cells[cell].height_m = Some(height);
    }
    forget_held_places(&mut cells);
    cells
}

#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    height: f64,
    count: f64,
    lat: f64,
    lon: f64,
    places: f64,
}

impl Sum {
    fn add(&mut self, point: &Point) {
        self.height += point.altitude_m;
        self.count += 1.0;
        if let Some((lat, lon)) = point.place {
            self.lat += lat;
            self.lon += lon;
            self.places += 1.0;
        }
    }

    fn cell(&self) -> Cell {
        let place = (self.places > 0.0).then(|| (self.lat / self.places, self.lon / self.places));
        Cell { height_m: None, place, passes: 1.0 }
    }
}

/// A position that stands still while the vehicle moves was held by the logger: it names no place.
fn forget_held_places(cells: &mut [Cell]) {
    const SAME_DEG: f64 = 1e-5;
    let same = |a: Option<(f64, f64)>, b: Option<(f64, f64)>| {
        a.zip(b).is_some_and(|(a, b)| (a.0 - b.0).abs() < SAME_DEG && (a.1 - b.1).abs() < SAME_DEG)
    };
    let held: Vec<bool> = (0..cells.len())
        .map(|i| {
            let before = i > 0 && same(cells[i - 1].place, cells[i].place);
            before || cells.get(i + 1).is_some_and(|next| same(cells[i].place, next.place))
        })
        .collect();
    for (cell, held) in cells.iter_mut().zip(held) {
        if held {
            cell.place = None;
        }
    }
}
