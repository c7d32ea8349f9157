//! Height along the road from noisy altitudes.

use super::hampel;

/// Length of a cell of the height profile. [m]
const CELL_M: f64 = 25.0;
/// The steepest streets anyone drives rise by 0.35 of their length (common practice, no source).
const STEEPEST: f64 = 0.35;
/// 100,000 km without a break in the log is a fault, and must not eat the memory.
const CELLS_MOST: usize = 4_000_000;
/// Half-width of the smoothing kernel. [m] Grade is smoothed in distance, 50 to 200 m (common practice, no source).
const REACH_M: f64 = 100.0;

/// Heights of a road, one value every 25 m.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    cells: Vec<f64>,
}

impl Profile {
    /// Builds a profile from altitudes at distances along the road; `None` with fewer than two.
    ///
    /// Mean per 25 m cell, outlying cells replaced (Hampel), empty cells interpolated, then a triangular kernel of
    /// ±100 m. Smoothing runs along distance, not time, because a vehicle that stands still would otherwise turn
    /// drift into slope.
    pub fn new(points: impl Iterator<Item = (f64, f64)>) -> Option<Self> {
        let mut sums: Vec<(f64, f64)> = Vec::new();
        let mut count = 0;
        for (distance_m, altitude_m) in points {
            let cell = (distance_m / CELL_M).max(0.0) as usize;
            if cell >= CELLS_MOST {
                break;
            }
            if cell >= sums.len() {
                sums.resize(cell + 1, (0.0, 0.0));
            }
            sums[cell].0 += altitude_m;
            sums[cell].1 += 1.0;
            count += 1;
        }
        if count < 2 {
            return None;
        }
        Some(Self { cells: smooth(&filled(&sums)) })
    }

    /// True when more than a hundredth of it is steeper than any road: the heights cannot be trusted then.
    pub fn is_no_road(&self) -> bool {
        let steep = self.cells.windows(2).filter(|w| (w[1] - w[0]).abs() > STEEPEST * CELL_M).count();
        steep * 100 > self.cells.len()
    }

    /// Height at a distance along the road, linear between cell centres. [m]
    pub fn at(&self, distance_m: f64) -> f64 {
        let position = (distance_m / CELL_M - 0.5).clamp(0.0, (self.cells.len() - 1) as f64);
        let cell = (position as usize).min(self.cells.len().saturating_sub(2));
        let next = (cell + 1).min(self.cells.len() - 1);
        let share = position - cell as f64;
        self.cells[cell] + (self.cells[next] - self.cells[cell]) * share
    }
}

/// Means of the cells that hold values, outliers replaced, the others filled linearly.
fn filled(sums: &[(f64, f64)]) -> Vec<f64> {
    let known: Vec<usize> = (0..sums.len()).filter(|i| sums[*i].1 > 0.0).collect();
    let mut means: Vec<f64> = known.iter().map(|i| sums[*i].0 / sums[*i].1).collect();
    hampel::replace_outliers(&mut means, 3);
    let mut cells = vec![means[0]; sums.len()];
    for (pair, values) in known.windows(2).zip(means.windows(2)) {
        for (cell, height) in cells.iter_mut().enumerate().take(pair[1] + 1).skip(pair[0]) {
            let share = (cell - pair[0]) as f64 / (pair[1] - pair[0]) as f64;
            *height = values[0] + (values[1] - values[0]) * share;
        }
    }
    cells
}

fn smooth(cells: &[f64]) -> Vec<f64> {
    let reach = (REACH_M / CELL_M) as isize;
    (0..cells.len() as isize)
        .map(|at| {
            // The kernel shrinks towards the ends, symmetric at every place, so that a steady slope stays one.
            let room = reach.min(at).min(cells.len() as isize - 1 - at);
            let mut sum = (0.0, 0.0);
            for offset in -room..=room {
                let weight = (reach + 1 - offset.abs()) as f64;
                sum.0 += weight * cells[(at + offset) as usize];
                sum.1 += weight;
            }
            sum.0 / sum.1
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_slope_stays_a_steady_slope() {
        let profile = Profile::new((0..400).map(|i| (f64::from(i) * 10.0, f64::from(i) * 0.3))).unwrap();
        let rise = profile.at(3000.0) - profile.at(1000.0);
        assert!((rise - 60.0).abs() < 1e-6, "{rise}");
    }

    #[test]
    fn standing_still_with_a_drifting_receiver_is_no_slope() {
        let profile = Profile::new((0..400).map(|i| (500.0, f64::from(i) * 0.05))).unwrap();
        assert!((profile.at(500.0) - profile.at(499.0)).abs() < 1e-9);
    }

    #[test]
    fn a_cliff_is_no_road() {
        let step = |i: u32| (f64::from(i) * 10.0, if i < 40 { 0.0 } else { 1600.0 });
        assert!(Profile::new((0..80).map(step)).unwrap().is_no_road());
    }

    #[test]
    fn one_altitude_is_no_profile() {
        assert_eq!(Profile::new(std::iter::once((0.0, 10.0))), None);
    }
}
