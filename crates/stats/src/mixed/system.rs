use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::design::Places;

/// The mixed model equations, factored: C = S [X Z]ᵀ R⁻¹ [X Z] S + I on the levels, with levels in units of their own
/// standard deviation, so that a variance of nothing is no special case.
///
/// Source   Henderson (1975), Best linear unbiased estimation and prediction under a selection model, Biometrics 31, 423;
///          scaling: Bates et al. (2015), Fitting linear mixed-effects models using lme4, J. Stat. Softw. 67(1), eq. 16.
///          The largest grouping has no two levels in one row: its block is diagonal and is eliminated first
#[derive(Debug, Clone)]
pub(super) struct System {
    last: usize,
    /// S: 1 for a fixed column, the standard deviation of its grouping for a level.
    pub scale: DVector<f64>,
    /// Of what is left once the largest grouping is eliminated.
    schur: Cholesky<f64, Dyn>,
    diagonal: DVector<f64>,
    /// Largest grouping by the rest.
    coupling: DMatrix<f64>,
}

impl System {
    /// `None` where the equations are singular to rounding.
    pub fn new(places: &Places, cross: &DMatrix<f64>, deviations: &[f64]) -> Option<Self> {
        let scale = scale(places, deviations);
        let (last, total) = (places.last, places.total);
        let diagonal = DVector::from_fn(total - last, |k, _| {
            let at = last + k;
            cross[(at, at)] * scale[at].powi(2) + 1.0
        });
        let coupling =
            DMatrix::from_fn(total - last, last, |k, at| cross[(last + k, at)] * scale[last + k] * scale[at]);
        let own = DMatrix::from_fn(last, last, |i, j| {
            let one = if i == j && i >= places.fixed { 1.0 } else { 0.0 };
            cross[(i, j)] * scale[i] * scale[j] + one
        });
        let rooted = DMatrix::from_fn(total - last, last, |k, at| coupling[(k, at)] / diagonal[k].sqrt());
        // Not `tr_mul`, which forms products of large matrices one dot product at a time.
        let schur = (own - rooted.transpose() * &rooted).cholesky()?;
        Some(Self { last, scale, schur, diagonal, coupling })
    }

    /// log |C|, which is log |Xᵀ V⁻¹ X| + log |V| - log |R|.
    pub fn log_determinant(&self) -> f64 {
        let schur: f64 = self.schur.l_dirty().diagonal().iter().map(|x| 2.0 * x.ln()).sum();
        schur + self.diagonal.iter().map(|x| x.ln()).sum::<f64>()
    }

    /// C⁻¹ of each column.
    pub fn solve(&self, right: &DMatrix<f64>) -> DMatrix<f64> {
        let (last, columns) = (self.last, right.ncols());
        let large = right.rows(last, self.diagonal.len());
        let over = DMatrix::from_fn(self.diagonal.len(), columns, |k, j| large[(k, j)] / self.diagonal[k]);
        let small = self.schur.solve(&(right.rows(0, last) - self.coupling.transpose() * &over));
        let back = &self.coupling * &small;
        let mut found = DMatrix::zeros(right.nrows(), columns);
        found.rows_mut(0, last).copy_from(&small);
        for j in 0..columns {
            for k in 0..self.diagonal.len() {
                found[(last + k, j)] = over[(k, j)] - back[(k, j)] / self.diagonal[k];
            }
        }
        found
    }

    pub fn solve_one(&self, right: &DVector<f64>) -> DVector<f64> {
        self.solve(&DMatrix::from_column_slice(right.len(), 1, right.as_slice())).column(0).into_owned()
    }

    /// A vector with covariance C⁻¹, from one of independent standard normals.
    pub fn deviate(&self, standard: &DVector<f64>) -> DVector<f64> {
        let small = standard.rows(0, self.last).into_owned();
        let small = self.schur.l_dirty().tr_solve_lower_triangular(&small).unwrap_or(small);
        let back = &self.coupling * &small;
        let mut found = standard.clone();
        found.rows_mut(0, self.last).copy_from(&small);
        for k in 0..self.diagonal.len() {
            let own = standard[self.last + k] / self.diagonal[k].sqrt();
            found[self.last + k] = own - back[k] / self.diagonal[k];
        }
        found
    }
}

fn scale(places: &Places, deviations: &[f64]) -> DVector<f64> {
    let mut scale = DVector::from_element(places.total, 1.0);
    for (start, deviation) in places.start.iter().zip(deviations) {
        // Groupings do not stand in their own order: each ends where the next begins.
        let end = places.start.iter().copied().filter(|other| other > start).min().unwrap_or(places.total);
        scale.rows_mut(*start, end - start).fill(*deviation);
    }
    scale
}
