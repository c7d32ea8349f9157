use nalgebra::{DMatrix, DVector};

use super::design::{Design, Grouping, Places};
use super::reml::At;

/// Slope and curvature of the likelihood in the variances: groupings first, residual last.
pub(super) struct Information {
    score: Vec<f64>,
    average: DMatrix<f64>,
}

impl Information {
    pub fn new(design: &Design, places: &Places, at: &At, variances: &[f64]) -> Self {
        let moved: Vec<DVector<f64>> = directions(design, &at.projected, &at.projected);
        let traces = traces(design, places, at, variances);
        let score = moved.iter().zip(&traces).map(|(h, trace)| 0.5 * (h.dot(&at.projected) - trace)).collect();
        let projected: Vec<DVector<f64>> = moved.iter().map(|h| at.project(design, places, h)).collect();
        let average = DMatrix::from_fn(moved.len(), moved.len(), |i, j| 0.5 * moved[i].dot(&projected[j]));
        Self { score, average }
    }

    /// The step towards the summit and what it promises; a variance at its bound that would go below stays.
    /// `None` where no curvature can be had.
    pub fn step(&self, variances: &[f64]) -> Option<(Vec<f64>, f64)> {
        let residual = variances.len() - 1;
        let mut free: Vec<usize> = (0..variances.len())
            .filter(|at| *at == residual || variances[*at] > 0.0 || self.score[*at] > 0.0)
            .collect();
        loop {
            let score = DVector::from_fn(free.len(), |i, _| self.score[free[i]]);
            let curvature = DMatrix::from_fn(free.len(), free.len(), |i, j| {
                // A sliver on the diagonal: two groupings that are one and the same cannot be told apart.
                self.average[(free[i], free[j])] * if i == j { 1.0 + 1e-9 } else { 1.0 }
            });
            let step = curvature.cholesky()?.solve(&score);
            let outwards = |i: &usize| variances[free[*i]] <= 0.0 && step[*i] < 0.0 && free[*i] != residual;
            if let Some(i) = (0..free.len()).find(outwards) {
                free.remove(i);
                continue;
            }
            let mut whole = vec![0.0; variances.len()];
            free.iter().zip(&step).for_each(|(at, step)| whole[*at] = *step);
            return Some((whole, score.dot(&step)));
        }
    }
}

/// H_i of a vector: Z Zᵀ for each grouping, then the inverse weights for the residual, which are laid on `own`.
pub(super) fn directions(design: &Design, vector: &DVector<f64>, own: &DVector<f64>) -> Vec<DVector<f64>> {
    let mut moved: Vec<DVector<f64>> =
        design.groups.iter().map(|group| spread(group, &sums(group, vector))).collect();
    moved.push(DVector::from_fn(design.rows(), |row, _| own[row] / design.weight[row]));
    moved
}

/// Zᵀ of a vector.
pub(super) fn sums(group: &Grouping, vector: &DVector<f64>) -> Vec<f64> {
    let mut sums = vec![0.0; group.levels];
    group.level.iter().zip(vector).for_each(|(level, value)| sums[*level] += value);
    sums
}

/// Z of a value for each level.
pub(super) fn spread(group: &Grouping, of_level: &[f64]) -> DVector<f64> {
    DVector::from_fn(group.level.len(), |row, _| of_level[group.level[row]])
}

/// tr(P H_i).
fn traces(design: &Design, places: &Places, at: &At, variances: &[f64]) -> Vec<f64> {
    let scaled = scaled_rows(&at.cross, &at.system.scale);
    let solved = at.system.solve(&scaled);
    let of_level = |k: usize| at.cross[(k, k)] - scaled.column(k).dot(&solved.column(k));
    let mut traces: Vec<f64> = design
        .groups
        .iter()
        .zip(&places.start)
        .map(|(group, start)| (*start..start + group.levels).map(of_level).sum())
        .collect();
    // tr(P V) = n - p, where the residual is all that a row has of its own.
    let of_residual = if design.known_variance.iter().all(|variance| *variance <= 0.0) {
        let groups: f64 = traces.iter().zip(variances).map(|(trace, variance)| trace * variance).sum();
        ((design.rows() - places.fixed) as f64 - groups) / variances[traces.len()]
    } else {
        residual_trace(design, places, at)
    };
    traces.push(of_residual);
    traces
}

fn residual_trace(design: &Design, places: &Places, at: &At) -> f64 {
    let share = residual_share(design, at);
    let inside = design.cross(places, share.component_mul(&at.precision).as_slice());
    let taken = at.system.solve(&both_scaled(&inside, &at.system.scale));
    share.sum() - taken.trace()
}

/// Inverse weight times precision: the residual's share in the variance of a row, over the residual.
fn residual_share(design: &Design, at: &At) -> DVector<f64> {
    DVector::from_fn(design.rows(), |row, _| at.precision[row] / design.weight[row])
}

fn scaled_rows(matrix: &DMatrix<f64>, scale: &DVector<f64>) -> DMatrix<f64> {
    DMatrix::from_fn(matrix.nrows(), matrix.ncols(), |i, j| matrix[(i, j)] * scale[i])
}

fn both_scaled(matrix: &DMatrix<f64>, scale: &DVector<f64>) -> DMatrix<f64> {
    DMatrix::from_fn(matrix.nrows(), matrix.ncols(), |i, j| matrix[(i, j)] * scale[i] * scale[j])
}

/// Inverse of the expected information ½ tr(P H_i P H_j). `None` where it is singular.
///
/// Source   Harville (1977), J. Am. Stat. Assoc. 72, 320, eq. 5.5
pub(super) fn expected_information(design: &Design, places: &Places, at: &At) -> Option<DMatrix<f64>> {
    let groups = design.groups.len();
    let scale = &at.system.scale;
    let scaled = scaled_rows(&at.cross, scale);
    let solved = scaled_rows(&at.system.solve(&scaled), scale);
    // [X Z]ᵀ P [X Z]
    let projected = &at.cross - at.cross.transpose() * &solved;
    // P [X Z] = R⁻¹ [X Z] left
    let left = DMatrix::identity(places.total, places.total) - &solved;
    let share = residual_share(design, at);
    let inside = design.cross(places, share.component_mul(&at.precision).as_slice());
    let twice = design.cross(places, share.component_mul(&share).component_mul(&at.precision).as_slice());
    let through = &inside * &left;
    let span = |group: usize| places.start[group]..places.start[group] + design.groups[group].levels;
    let mut information = DMatrix::zeros(groups + 1, groups + 1);
    for i in 0..groups {
        for j in 0..groups {
            let squares: f64 =
                span(i).flat_map(|a| span(j).map(move |b| (a, b))).map(|ab| projected[ab].powi(2)).sum();
            information[(i, j)] = 0.5 * squares;
        }
        let with_residual: f64 = span(i).map(|k| left.column(k).dot(&through.column(k))).sum();
        information[(i, groups)] = 0.5 * with_residual;
        information[(groups, i)] = 0.5 * with_residual;
    }
    let taken = at.system.solve(&both_scaled(&inside, scale));
    let squared: f64 = taken.component_mul(&taken.transpose()).sum();
    let twice = at.system.solve(&both_scaled(&twice, scale)).trace();
    information[(groups, groups)] = 0.5 * (share.norm_squared() - 2.0 * twice + squared);
    for i in 0..=groups {
        information[(i, i)] *= 1.0 + 1e-9;
    }
    Some(information.cholesky()?.inverse())
}
