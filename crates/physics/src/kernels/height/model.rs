//! How hilly the roads are and how the receiver drifts, from the altitudes themselves.

use super::cells::Cell;
use super::filter::{Step, likelihood};

/// What the smoother assumes of roads and receiver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Model {
    /// Spread of the grade. [rise over run]
    pub grade_sd: f64,
    /// Drift of the receiver, and the distance over which it forgets itself.
    pub drift_sd_m: f64,
    pub drift_memory_m: f64,
    /// Error of a cell that the next one does not share.
    pub error_m: f64,
}

/// Cells looked at: enough to tell the values below apart.
const CELLS_MOST: usize = 4_000;
/// Rounds of the search along one value at a time; a fourth changes nothing on the logs at hand.
const ROUNDS: usize = 3;

const START: Model = Model { grade_sd: 0.02, drift_sd_m: 1.0, drift_memory_m: 200.0, error_m: 0.3 };
const GRADES: [f64; 5] = [0.005, 0.01, 0.02, 0.03, 0.05];
const DRIFTS_M: [f64; 6] = [0.1, 0.5, 1.0, 2.0, 4.0, 8.0];
const MEMORIES_M: [f64; 4] = [50.0, 100.0, 200.0, 400.0];
const ERRORS_M: [f64; 4] = [0.1, 0.3, 1.0, 3.0];

/// The values under which the altitudes are most likely; `None` without altitudes.
pub fn fit(stretches: &[Vec<Cell>]) -> Option<Model> {
    let total: usize = stretches.iter().map(Vec::len).sum();
    let stride = total.div_ceil(CELLS_MOST).max(1);
    let looked: Vec<&[Cell]> = stretches
        .iter()
        .filter(|cells| cells.iter().any(|cell| cell.height_m.is_some()))
        .step_by(stride)
        .map(|cells| &cells[..cells.len().min(CELLS_MOST)])
        .collect();
    if looked.is_empty() {
        return None;
    }
    let mut best = START;
    let mut most = f64::NEG_INFINITY;
    let mut better_of = |model: Model| {
        let step = Step::new(&model);
        let sum: f64 = looked.iter().map(|cells| likelihood(cells, &step)).sum();
        if sum > most {
            (most, best) = (sum, model);
        }
        best
    };
    let mut at = better_of(START);
    for _ in 0..ROUNDS {
        for grade_sd in GRADES {
            at = better_of(Model { grade_sd, ..at });
        }
        for (drift_sd_m, drift_memory_m) in DRIFTS_M.iter().flat_map(|d| MEMORIES_M.map(|m| (*d, m))) {
            at = better_of(Model { drift_sd_m, drift_memory_m, ..at });
        }
        for error_m in ERRORS_M {
            at = better_of(Model { error_m, ..at });
        }
    }
    Some(at)
}
