use nalgebra::{DMatrix, DVector};

use super::design::{Design, Places, Unfit};
use super::information::{Information, expected_information};
use super::system::System;

/// A fitted mixed model.
#[derive(Debug, Clone)]
pub struct Fit<'d> {
    pub(super) design: &'d Design,
    pub(super) places: Places,
    /// Variance of each grouping, 0 or more.
    pub variance: Vec<f64>,
    /// Residual variance of a row of weight 1, known variances left out.
    pub residual: f64,
    /// -2 log restricted likelihood, with its constant (n - p) log 2π.
    pub minus_two_log: f64,
    pub(super) at: At,
    /// Covariance of the variances: inverse of the expected information, groupings first, residual last.
    pub(super) uncertainty: DMatrix<f64>,
}

/// Everything at one set of variances.
#[derive(Debug, Clone)]
pub(super) struct At {
    /// One over the residual variance of each row.
    pub precision: DVector<f64>,
    pub cross: DMatrix<f64>,
    pub system: System,
    /// Coefficients and levels, levels in their own units.
    pub solution: DVector<f64>,
    /// P y.
    pub projected: DVector<f64>,
    pub minus_two_log: f64,
}

const ROUNDS: usize = 200;
const HALVINGS: usize = 30;
/// A step that promises less than this is the last. [units of -2 log likelihood]
const SETTLED: f64 = 1e-11;
/// The residual variance shrinks no further than to this share in one step.
const SHRINK_MOST: f64 = 0.1;

/// Variances by restricted maximum likelihood, with the levels they imply.
///
/// -2 l = Σ log r + log |C| + yᵀ P y + (n - p) log 2π;  P = V⁻¹ - V⁻¹ X (Xᵀ V⁻¹ X)⁻¹ Xᵀ V⁻¹
/// step  AI⁻¹ score with AI_ij = ½ yᵀ P H_i P H_j P y, H_i = ∂V/∂θ_i, halved until the likelihood rises
/// Shape    as [`Design`]; a weight or variance for each row
/// Sign     variances are 0 or more: at that bound a variance leaves the step while its score points outwards
/// Missing  rows with anything unknown are to be left out beforehand
/// Errors   [`Unfit`]
/// Holds    a summit of the likelihood, as a rule the only one
/// Source   Patterson and Thompson (1971), Biometrika 58, 545; steps: Gilmour, Thompson and Cullis (1995), Average
///          information REML, Biometrics 51, 1440. Departures: none
/// Check    Davies and Goldsmith's dyestuff: 1764.05 between batches, 2451.25 within (crates/stats/tests/mixed.rs)
pub fn fit(design: &Design) -> Result<Fit<'_>, Unfit> {
    design.check()?;
    let places = design.places();
    let mut variances = start(design)?;
    let mut now = At::new(design, &places, &variances).ok_or(Unfit::Diverged)?;
    let mut settled = false;
    for _ in 0..ROUNDS {
        let information = Information::new(design, &places, &now, &variances);
        let Some((step, promise)) = information.step(&variances) else { break };
        if promise < SETTLED {
            settled = true;
            break;
        }
        let Some((next, found)) = along(design, &places, &variances, &step, &now) else {
            // No way up along the step: rounding is all that is left, or the step was no good.
            settled = promise < 1e-6;
            break;
        };
        (variances, now) = (next, found);
    }
    if !settled {
        return Err(Unfit::Diverged);
    }
    let uncertainty = expected_information(design, &places, &now).ok_or(Unfit::Diverged)?;
    let residual = variances.pop().unwrap_or_default();
    Ok(Fit {
        design,
        places,
        variance: variances,
        residual,
        minus_two_log: now.minus_two_log,
        at: now,
        uncertainty,
    })
}

impl Fit<'_> {
    /// Coefficients of the fixed columns.
    pub fn coefficients(&self) -> Vec<f64> {
        self.at.solution.rows(0, self.places.fixed).iter().copied().collect()
    }

    /// Best linear unbiased predictions of a grouping's levels.
    pub fn levels(&self, group: usize) -> Vec<f64> {
        let start = self.places.start[group];
        (start..start + self.design.groups[group].levels)
            .map(|at| self.at.solution[at] * self.at.system.scale[at])
            .collect()
    }

    pub(super) fn variances(&self) -> Vec<f64> {
        self.variance.iter().copied().chain([self.residual]).collect()
    }
}

/// The spread about the fixed columns, in equal parts: groupings first, residual last.
fn start(design: &Design) -> Result<Vec<f64>, Unfit> {
    let spread = spread(design).ok_or(Unfit::Dependent)?;
    let parts = design.groups.len() + 1;
    // A response that the columns explain to the last digit has no variances to find.
    if spread <= 0.0 { Err(Unfit::Diverged) } else { Ok(vec![spread / parts as f64; parts]) }
}

/// Variance about the weighted least squares of the fixed columns, for a row of weight 1.
pub(super) fn spread(design: &Design) -> Option<f64> {
    let columns = design.fixed.len();
    let x =
        DMatrix::from_fn(design.rows(), columns, |row, at| design.fixed[at][row] * design.weight[row].sqrt());
    let y = DVector::from_fn(design.rows(), |row, _| design.response[row] * design.weight[row].sqrt());
    let solved = if columns == 0 { DVector::zeros(0) } else { x.tr_mul(&x).cholesky()?.solve(&x.tr_mul(&y)) };
    Some((y - x * solved).norm_squared() / (design.rows() - columns) as f64)
}

/// The first of the step, half of it, a quarter .. that raises the likelihood.
fn along(design: &Design, places: &Places, from: &[f64], step: &[f64], now: &At) -> Option<(Vec<f64>, At)> {
    let residual = from.len() - 1;
    let mut share = 1.0;
    for _ in 0..HALVINGS {
        let moved = |(at, (from, step)): (usize, (&f64, &f64))| {
            let least = if at == residual { SHRINK_MOST * from } else { 0.0 };
            (from + share * step).max(least)
        };
        let next: Vec<f64> = from.iter().zip(step).enumerate().map(moved).collect();
        if let Some(found) = At::new(design, places, &next)
            && found.minus_two_log < now.minus_two_log
        {
            return Some((next, found));
        }
        share /= 2.0;
    }
    None
}

impl At {
    pub fn new(design: &Design, places: &Places, variances: &[f64]) -> Option<Self> {
        let (residual, groups) = variances.split_last()?;
        let precision = DVector::from_fn(design.rows(), |row, _| {
            1.0 / (residual / design.weight[row] + design.known_variance[row])
        });
        let cross = design.cross(places, precision.as_slice());
        let deviations: Vec<f64> = groups.iter().map(|variance| variance.sqrt()).collect();
        let system = System::new(places, &cross, &deviations)?;
        let response = DVector::from_column_slice(&design.response);
        let right =
            design.onto_columns(places, &precision.component_mul(&response)).component_mul(&system.scale);
        let solution = system.solve_one(&right);
        let fitted = design.onto_rows(places, &solution.component_mul(&system.scale));
        let projected = precision.component_mul(&(&response - fitted));
        let rows: f64 = precision.iter().map(|precision| -precision.ln()).sum();
        let free = (design.rows() - places.fixed) as f64;
        let minus_two_log =
            rows + system.log_determinant() + response.dot(&projected) + free * std::f64::consts::TAU.ln();
        minus_two_log.is_finite().then_some(Self {
            precision,
            cross,
            system,
            solution,
            projected,
            minus_two_log,
        })
    }

    /// P of a vector.
    pub fn project(&self, design: &Design, places: &Places, vector: &DVector<f64>) -> DVector<f64> {
        let weighed = self.precision.component_mul(vector);
        let right = design.onto_columns(places, &weighed).component_mul(&self.system.scale);
        let back = self.system.solve_one(&right).component_mul(&self.system.scale);
        weighed - self.precision.component_mul(&design.onto_rows(places, &back))
    }
}
