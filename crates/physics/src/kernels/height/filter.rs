//! Height, grade and drift of the receiver along distance: Kalman filter and Rauch-Tung-Striebel smoother.

use nalgebra::{Matrix3, Vector3};

use super::CELL_M;
use super::cells::Cell;
use super::model::Model;

type Mean = Vector3<f64>;
type Covariance = Matrix3<f64>;

/// How state and uncertainty grow over one cell.
pub struct Step {
    ahead: Matrix3<f64>,
    grown: Covariance,
    first: Covariance,
    error2: f64,
}

/// Memory of the grade of a road. [m]
const GRADE_MEMORY_M: f64 = 300.0;
/// The first height is not known before it is read. [m²]
const FIRST_HEIGHT_VARIANCE: f64 = 1e4;

impl Step {
    pub fn new(model: &Model) -> Self {
        let share = CELL_M / GRADE_MEMORY_M;
        let (grade_kept, drift_kept) = ((-share).exp(), (-CELL_M / model.drift_memory_m).exp());
        let lost = 1.0 - grade_kept;
        let (grade2, drift2) = (model.grade_sd.powi(2), model.drift_sd_m.powi(2));
        // Integrated Ornstein-Uhlenbeck process, e.g. Gillespie (1996), doi:10.1103/PhysRevE.54.2084.
        let height = grade2
            * GRADE_MEMORY_M.powi(2)
            * (2.0 * share - 3.0 + 4.0 * grade_kept - grade_kept * grade_kept).max(0.0);
        let both = grade2 * GRADE_MEMORY_M * lost * lost;
        let grade = grade2 * (1.0 - grade_kept * grade_kept);
        let drift = drift2 * (1.0 - drift_kept * drift_kept);
        Self {
            ahead: Matrix3::new(1.0, GRADE_MEMORY_M * lost, 0.0, 0.0, grade_kept, 0.0, 0.0, 0.0, drift_kept),
            grown: Matrix3::new(height, both, 0.0, both, grade, 0.0, 0.0, 0.0, drift),
            first: Matrix3::from_diagonal(&Vector3::new(FIRST_HEIGHT_VARIANCE, grade2, drift2)),
            error2: model.error_m.powi(2),
        }
    }

    fn start(&self, cells: &[Cell]) -> Option<(Mean, Covariance)> {
        let first = cells.iter().find_map(|cell| cell.height_m)?;
        Some((Vector3::new(first, 0.0, 0.0), self.first))
    }

    fn predict(&self, mean: &Mean, covariance: &Covariance) -> (Mean, Covariance) {
        (self.ahead * mean, self.ahead * covariance * self.ahead.transpose() + self.grown)
    }

    /// Reads a cell; returns its log-likelihood, constants left out.
    fn read(&self, cell: &Cell, mean: &mut Mean, covariance: &mut Covariance) -> f64 {
        let Some(height) = cell.height_m else { return 0.0 };
        let loading = Vector3::new(1.0, 0.0, 1.0 / cell.passes.sqrt());
        let seen = *covariance * loading;
        let total = loading.dot(&seen) + self.error2 / cell.passes;
        let off = height - loading.dot(mean);
        *mean += seen * (off / total);
        *covariance -= seen * seen.transpose() / total;
        -0.5 * (total.ln() + off * off / total)
    }
}

/// Log-likelihood of one stretch.
pub fn likelihood(cells: &[Cell], step: &Step) -> f64 {
    let Some((mut mean, mut covariance)) = step.start(cells) else { return 0.0 };
    let mut sum = 0.0;
    for (at, cell) in cells.iter().enumerate() {
        if at > 0 {
            (mean, covariance) = step.predict(&mean, &covariance);
        }
        sum += step.read(cell, &mut mean, &mut covariance);
    }
    sum
}

/// Smoothed heights, and the standard deviation of the grade, mean over the cells.
pub fn smooth(cells: &[Cell], model: &Model) -> Option<(Vec<f64>, f64)> {
    let step = Step::new(model);
    let (mut mean, mut covariance) = step.start(cells)?;
    let mut filtered = Vec::with_capacity(cells.len());
    for (at, cell) in cells.iter().enumerate() {
        if at > 0 {
            (mean, covariance) = step.predict(&mean, &covariance);
        }
        step.read(cell, &mut mean, &mut covariance);
        filtered.push((mean, covariance));
    }
    let mut heights = vec![mean[0]; cells.len()];
    let mut grade_sd = covariance[(1, 1)].max(0.0).sqrt();
    for at in (0..cells.len() - 1).rev() {
        let (here, spread) = &filtered[at];
        let (ahead, grown) = step.predict(here, spread);
        let gain = spread * step.ahead.transpose() * grown.try_inverse()?;
        mean = here + gain * (mean - ahead);
        covariance = spread + gain * (covariance - grown) * gain.transpose();
        heights[at] = mean[0];
        grade_sd += covariance[(1, 1)].max(0.0).sqrt();
    }
    let found = heights.iter().all(|height| height.is_finite());
    found.then(|| (heights, grade_sd / cells.len() as f64))
}
