//! Least squares with normal priors over unknowns in three layers: a trunk all share, a branch for each member, a leaf
//! for each of a member's occasions. Members and occasions meet only in moments, so the cost does not grow with rows.

use nalgebra::{DMatrix, DVector};

use crate::{Moments, student_quantile};

/// Independent normal priors.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Normals {
    pub mean: Vec<f64>,
    pub sd: Vec<f64>,
}

impl Normals {
    pub fn len(&self) -> usize {
        self.mean.len()
    }

    pub fn is_empty(&self) -> bool {
        self.mean.is_empty()
    }

    /// Adds one; of a spread of nothing a sliver is left, or no system could be solved.
    pub fn push(&mut self, mean: f64, sd: f64) {
        const LEAST_SD: f64 = 1e-4;
        self.mean.push(mean);
        self.sd.push(sd.max(LEAST_SD));
    }

    /// The same with every standard deviation times `factor`.
    pub fn wider(&self, factor: f64) -> Self {
        Self { mean: self.mean.clone(), sd: self.sd.iter().map(|sd| sd * factor).collect() }
    }

    /// The same after something else said `mean` of number `at`, with its own doubt `sd`.
    ///
    /// Source   Gelman et al. (2013), Bayesian Data Analysis, 3rd ed., eq. 2.12: precisions add up
    pub fn told(mut self, at: usize, mean: f64, sd: f64) -> Self {
        let (before, told) = (self.precision(at), sd.powi(-2));
        self.mean[at] = (before * self.mean[at] + told * mean) / (before + told);
        self.sd[at] = (before + told).sqrt().recip();
        self
    }

    fn precision(&self, at: usize) -> f64 {
        self.sd[at].powi(-2)
    }
}

/// How rows of one kind follow from the unknowns: value = coefficients(unknowns) · features + noise.
pub trait Law {
    /// Coefficients of the features for `kind`, given trunk, branch and leaf unknowns one after the other.
    fn coefficients(&self, kind: usize, unknowns: &[f64]) -> Vec<f64>;
}

/// One occasion: the moments of its rows by kind.
#[derive(Debug, Clone)]
pub struct Leaf<'a> {
    pub prior: Normals,
    pub moments: Vec<&'a Moments>,
}

/// One member.
#[derive(Debug, Clone)]
pub struct Branch<'a> {
    pub prior: Normals,
    pub leaves: Vec<Leaf<'a>>,
}

/// A normal distribution whose mean moves with what stands above it.
#[derive(Debug, Clone, PartialEq)]
pub struct Conditional {
    pub mean: Vec<f64>,
    /// How the mean moves with the unknowns above, row by unknown.
    pub gain: DMatrix<f64>,
    /// R with R Rᵀ the covariance given what stands above.
    pub root: DMatrix<f64>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct BranchFit {
    pub own: Conditional,
    pub leaves: Vec<Conditional>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    pub trunk: Vec<f64>,
    /// R with R Rᵀ the covariance of the trunk.
    pub root: DMatrix<f64>,
    pub branches: Vec<BranchFit>,
    /// By kind: how much larger the residuals are than the weights say, 1 or more.
    pub scale: Vec<f64>,
    /// By kind: residual degrees of freedom.
    pub degrees: Vec<f64>,
}

const ROUNDS: usize = 12;
/// Rounds after which the scale of the residuals is looked at anew.
const SCALED_AT: [usize; 3] = [2, 5, 8];
/// Unknowns move by no more than this at the end. [standard deviations of the prior]
const SETTLED: f64 = 1e-6;

/// The posterior around its mode.
///
/// Gauss-Newton on -log p = Σ s⁻² (y - c(u) x)²/2 + Σ (u - μ)²/(2 σ²), leaves eliminated into their branch and branches
/// into the trunk; s by kind from the residuals, never below 1
/// Missing  `None` when a system is singular, which proper priors exclude, or figures are not finite
/// Holds    normal around the mode: exact for a linear law
/// Source   Gelman et al. (2013), Bayesian Data Analysis, 3rd ed., chapters 13 and 15; elimination: block Gaussian
///          elimination. Departures: s is a plug-in, not integrated over; in the
///          spread Student's t with `degrees` makes good for it
/// Check    a linear law agrees with [`posterior`](crate::posterior) (tests below)
pub fn fit(law: &impl Law, trunk: &Normals, branches: &[Branch<'_>], kinds: usize) -> Option<Fit> {
    let mut state = State {
        trunk: trunk.mean.clone(),
        branches: branches
            .iter()
            .map(|branch| {
                (branch.prior.mean.clone(), branch.leaves.iter().map(|leaf| leaf.prior.mean.clone()).collect())
            })
            .collect(),
    };
    let mut scale = vec![1.0; kinds];
    let mut degrees = vec![0.0; kinds];
    for round in 0..ROUNDS {
        if SCALED_AT.contains(&round) {
            (scale, degrees) = residual_scale(law, branches, &state, kinds, trunk.len());
        }
        let moved = step(law, trunk, branches, &mut state, &scale)?;
        if moved < SETTLED && round > SCALED_AT[SCALED_AT.len() - 1] {
            break;
        }
    }
    step(law, trunk, branches, &mut state, &scale)?;
    finished(law, trunk, branches, state, scale, degrees)
}

/// The spread that other priors or other rows would leave where `found` stands: what a design is worth, computed without
/// its outcome. The size of residuals stays as found.
///
/// Missing  `None` when a system is singular
pub fn spread_at(law: &impl Law, trunk: &Normals, branches: &[Branch<'_>], found: &Fit) -> Option<Fit> {
    let state = State {
        trunk: found.trunk.clone(),
        branches: found
            .branches
            .iter()
            .map(|branch| {
                (branch.own.mean.clone(), branch.leaves.iter().map(|leaf| leaf.mean.clone()).collect())
            })
            .collect(),
    };
    finished(law, trunk, branches, state, found.scale.clone(), found.degrees.clone())
}

fn finished(
    law: &impl Law,
    trunk: &Normals,
    branches: &[Branch<'_>],
    state: State,
    scale: Vec<f64>,
    degrees: Vec<f64>,
) -> Option<Fit> {
    let (solved, _) = solve(law, trunk, branches, &state, &with_few_rows(&scale, &degrees))?;
    let branches = solved
        .branches
        .into_iter()
        .zip(state.branches)
        .map(|((own, leaves), (mean, leaf_means))| BranchFit {
            own: own.conditional(mean),
            leaves: leaves.into_iter().zip(leaf_means).map(|(leaf, mean)| leaf.conditional(mean)).collect(),
        })
        .collect();
    Some(Fit { trunk: state.trunk, root: root_of_inverse(&solved.trunk)?, branches, scale, degrees })
}

/// Few rows leave the size of their errors open: Student's t for the normal, at 90 %, in the errors of the rows alone.
/// What the priors hold stays as sure as it was.
fn with_few_rows(scale: &[f64], degrees: &[f64]) -> Vec<f64> {
    const Z_90: f64 = 1.644_853_626_951_472_6;
    const FEWEST: f64 = 2.0;
    let wider = |degrees: f64| student_quantile(0.95, degrees.max(FEWEST)).map_or(1.0, |t| t / Z_90);
    scale.iter().zip(degrees).map(|(scale, degrees)| scale * wider(*degrees)).collect()
}

struct State {
    trunk: Vec<f64>,
    branches: Vec<(Vec<f64>, Vec<Vec<f64>>)>,
}

/// A layer eliminated: its own normal matrix factored, and how it follows what stands above.
struct Eliminated {
    factor: nalgebra::Cholesky<f64, nalgebra::Dyn>,
    /// Own precision, inverted, times the coupling to what stands above.
    coupling: DMatrix<f64>,
    pull: DVector<f64>,
}

impl Eliminated {
    fn conditional(self, mean: Vec<f64>) -> Conditional {
        Conditional { mean, gain: -self.coupling, root: root_of(&self.factor) }
    }
}

/// Upper triangular inverse of the factor, transposed: R Rᵀ = A⁻¹.
fn root_of(factor: &nalgebra::Cholesky<f64, nalgebra::Dyn>) -> DMatrix<f64> {
    let lower = factor.l();
    let size = lower.nrows();
    lower
        .solve_lower_triangular(&DMatrix::identity(size, size))
        .map_or_else(|| DMatrix::zeros(size, size), |inverse| inverse.transpose())
}

fn root_of_inverse(matrix: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    Some(root_of(&matrix.clone().cholesky()?))
}

struct Solved {
    trunk: DMatrix<f64>,
    branches: Vec<(Eliminated, Vec<Eliminated>)>,
}

/// Normal matrix and pull of a few unknowns, of which the last ones can be eliminated.
struct Normal {
    matrix: DMatrix<f64>,
    pull: DVector<f64>,
}

impl Normal {
    fn zeros(size: usize) -> Self {
        Self { matrix: DMatrix::zeros(size, size), pull: DVector::zeros(size) }
    }

    fn add_prior(&mut self, prior: &Normals, at: usize, now: &[f64]) {
        for (i, now) in now.iter().enumerate() {
            self.matrix[(at + i, at + i)] += prior.precision(i);
            self.pull[at + i] += prior.precision(i) * (prior.mean[i] - now);
        }
    }

    /// Eliminates all unknowns from `keep` on; what is left speaks of the first ones.
    fn eliminate(mut self, keep: usize) -> Option<(Normal, Eliminated)> {
        let size = self.matrix.nrows();
        let rest = size - keep;
        let own = self.matrix.view((keep, keep), (rest, rest)).into_owned();
        let across = self.matrix.view((keep, 0), (rest, keep)).into_owned();
        let own_pull = self.pull.rows(keep, rest).into_owned();
        let factor = own.cholesky()?;
        let coupling = factor.solve(&across);
        let pull = factor.solve(&own_pull);
        self.matrix = self.matrix.view((0, 0), (keep, keep)) - across.transpose() * &coupling;
        self.pull = self.pull.rows(0, keep) - across.transpose() * &pull;
        Some((Normal { matrix: self.matrix, pull: self.pull }, Eliminated { factor, coupling, pull }))
    }
}

/// The normal equations where the unknowns stand, leaves and branches eliminated, and the pull on the trunk.
fn solve(
    law: &impl Law,
    trunk: &Normals,
    branches: &[Branch<'_>],
    state: &State,
    scale: &[f64],
) -> Option<(Solved, DVector<f64>)> {
    let shared = trunk.len();
    let mut sum = Normal::zeros(shared);
    let mut solved = Vec::with_capacity(branches.len());
    for (branch, (own, leaves)) in branches.iter().zip(&state.branches) {
        let above = shared + own.len();
        let mut here = Normal::zeros(above);
        let mut gone = Vec::with_capacity(leaves.len());
        for (leaf, now) in branch.leaves.iter().zip(leaves) {
            let unknowns: Vec<f64> = state.trunk.iter().chain(own).chain(now).copied().collect();
            let mut normal = of_leaf(law, leaf, &unknowns, scale);
            normal.add_prior(&leaf.prior, above, now);
            let (left, eliminated) = normal.eliminate(above)?;
            here.matrix += left.matrix;
            here.pull += left.pull;
            gone.push(eliminated);
        }
        here.add_prior(&branch.prior, shared, own);
        let (left, eliminated) = here.eliminate(shared)?;
        sum.matrix += left.matrix;
        sum.pull += left.pull;
        solved.push((eliminated, gone));
    }
    sum.add_prior(trunk, 0, &state.trunk);
    Some((Solved { trunk: sum.matrix, branches: solved }, sum.pull))
}

/// One Gauss-Newton step; the largest move in prior standard deviations.
fn step(
    law: &impl Law,
    trunk: &Normals,
    branches: &[Branch<'_>],
    state: &mut State,
    scale: &[f64],
) -> Option<f64> {
    let (solved, pull) = solve(law, trunk, branches, state, scale)?;
    let moved_trunk = solved.trunk.clone().cholesky()?.solve(&pull);
    let mut largest = 0.0_f64;
    let mut shift = |values: &mut [f64], by: &DVector<f64>, prior: &Normals| {
        for ((value, by), sd) in values.iter_mut().zip(by.iter()).zip(&prior.sd) {
            *value += by;
            largest = largest.max((by / sd).abs());
        }
    };
    shift(&mut state.trunk, &moved_trunk, trunk);
    for (((own, leaves), (eliminated, gone)), branch) in
        state.branches.iter_mut().zip(&solved.branches).zip(branches)
    {
        let moved = &eliminated.pull - &eliminated.coupling * &moved_trunk;
        shift(own, &moved, &branch.prior);
        let above = DVector::from_iterator(
            moved_trunk.len() + moved.len(),
            moved_trunk.iter().chain(moved.iter()).copied(),
        );
        for ((leaf, eliminated), spec) in leaves.iter_mut().zip(gone).zip(&branch.leaves) {
            shift(leaf, &(&eliminated.pull - &eliminated.coupling * &above), &spec.prior);
        }
    }
    largest.is_finite().then_some(largest)
}

fn of_leaf(law: &impl Law, leaf: &Leaf<'_>, unknowns: &[f64], scale: &[f64]) -> Normal {
    let mut normal = Normal::zeros(unknowns.len());
    for (kind, moments) in leaf.moments.iter().enumerate().filter(|(_, moments)| moments.rows() > 0) {
        let trust = scale[kind].powi(-2);
        let now = law.coefficients(kind, unknowns);
        let slopes = slopes(law, kind, unknowns, now.len());
        let size = now.len();
        let gram = DMatrix::from_fn(size, size, |i, j| moments.of_features(i, j));
        let with_value = DVector::from_fn(size, |i, _| moments.with_value(i));
        let left = with_value - &gram * DVector::from_vec(now);
        normal.matrix += slopes.transpose() * gram * &slopes * trust;
        normal.pull += slopes.transpose() * left * trust;
    }
    normal
}

/// Central differences: exact for the products of unknowns that laws are made of, but for rounding.
fn slopes(law: &impl Law, kind: usize, unknowns: &[f64], size: usize) -> DMatrix<f64> {
    const STEP: f64 = 1e-4;
    let mut slopes = DMatrix::zeros(size, unknowns.len());
    let mut moved = unknowns.to_vec();
    for at in 0..unknowns.len() {
        moved[at] = unknowns[at] + STEP;
        let up = law.coefficients(kind, &moved);
        moved[at] = unknowns[at] - STEP;
        let down = law.coefficients(kind, &moved);
        moved[at] = unknowns[at];
        for (row, (up, down)) in up.iter().zip(&down).enumerate() {
            slopes[(row, at)] = (up - down) / (2.0 * STEP);
        }
    }
    slopes
}

/// Residuals over what the weights say, and degrees of freedom. Unknowns with priors count by half: some are the
/// prior's and some the rows'; never fewer than half the rows are left.
fn residual_scale(
    law: &impl Law,
    branches: &[Branch<'_>],
    state: &State,
    kinds: usize,
    shared: usize,
) -> (Vec<f64>, Vec<f64>) {
    let mut squares = vec![0.0; kinds];
    let mut rows = vec![0.0; kinds];
    let mut unknown_count = shared as f64;
    for (branch, (own, leaves)) in branches.iter().zip(&state.branches) {
        unknown_count += own.len() as f64;
        for (leaf, now) in branch.leaves.iter().zip(leaves) {
            unknown_count += now.len() as f64;
            let unknowns: Vec<f64> = state.trunk.iter().chain(own).chain(now).copied().collect();
            for (kind, moments) in leaf.moments.iter().enumerate().filter(|(_, m)| m.rows() > 0) {
                squares[kind] += moments.squares(&law.coefficients(kind, &unknowns));
                rows[kind] += moments.rows() as f64;
            }
        }
    }
    let degrees: Vec<f64> =
        rows.iter().map(|rows: &f64| (rows - unknown_count / 2.0).max(rows / 2.0)).collect();
    let scale = squares
        .iter()
        .zip(&degrees)
        .map(|(squares, degrees)| if *degrees > 0.0 { (squares / degrees).sqrt().max(1.0) } else { 1.0 })
        .collect();
    (scale, degrees)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Gaussian, Observation, posterior};

    /// value = (trunk + branch + leaf) x0 + trunk x1
    struct Linear;

    impl Law for Linear {
        fn coefficients(&self, _kind: usize, u: &[f64]) -> Vec<f64> {
            vec![u[0] + u[1] + u[2], u[0]]
        }
    }

    fn normals(mean: f64, sd: f64) -> Normals {
        Normals { mean: vec![mean], sd: vec![sd] }
    }

    /// Two members with two occasions each, against one dense Gaussian posterior of all seven unknowns.
    #[test]
    fn a_linear_law_agrees_with_the_dense_posterior() {
        let rows = [
            [(2.1, [1.0, 0.3]), (1.2, [0.4, 0.9])],
            [(2.9, [1.1, -0.2]), (0.3, [0.2, 0.1])],
            [(1.0, [0.5, 0.5]), (2.2, [1.3, 0.2])],
            [(1.9, [0.8, 0.7]), (3.1, [1.4, 0.6])],
        ];
        let moments: Vec<Moments> = rows
            .iter()
            .map(|rows| {
                let mut moments = Moments::new(2);
                rows.iter().for_each(|(value, x)| moments.add_row(*value, x, 4.0));
                moments
            })
            .collect();
        let leaf = |at: usize| Leaf { prior: normals(0.0, 0.4), moments: vec![&moments[at]] };
        let branch =
            |at: usize| Branch { prior: normals(0.1, 0.3), leaves: vec![leaf(2 * at), leaf(2 * at + 1)] };
        let found = fit(&Linear, &normals(1.0, 0.5), &[branch(0), branch(1)], 1).unwrap();

        let prior =
            Gaussian::independent(&[1.0, 0.1, 0.1, 0.0, 0.0, 0.0, 0.0], &[0.5, 0.3, 0.3, 0.4, 0.4, 0.4, 0.4]);
        let dense_with = |scale: f64| {
            let mut seen = Vec::new();
            for (occasion, rows) in rows.iter().enumerate() {
                for (value, x) in rows {
                    let mut weights = vec![0.0; 7];
                    weights[0] = x[0] + x[1];
                    weights[1 + occasion / 2] = x[0];
                    weights[3 + occasion] = x[0];
                    seen.push(Observation { weights, value: *value, noise_sd: 0.5 * scale });
                }
            }
            posterior(&prior, &seen).unwrap()
        };
        let (dense, wide) =
            (dense_with(found.scale[0]), dense_with(with_few_rows(&found.scale, &found.degrees)[0]));
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-6, "{a} {b}");
        near(found.trunk[0], dense.mean[0]);
        near(found.root[(0, 0)].abs(), wide.standard_deviation(0));
        for at in 0..2 {
            let own = &found.branches[at].own;
            near(own.mean[0], dense.mean[1 + at]);
            let variance = (own.gain[(0, 0)] * found.root[(0, 0)]).powi(2) + own.root[(0, 0)].powi(2);
            near(variance.sqrt(), wide.standard_deviation(1 + at));
            near(found.branches[at].leaves[1].mean[0], dense.mean[4 + 2 * at]);
        }
    }

    /// One row leaves the size of errors all but open, and still tells no less than none.
    #[test]
    fn a_row_never_makes_less_sure() {
        let mut moments = Moments::new(2);
        let spread = |moments: &Moments| {
            let branch = Branch {
                prior: normals(0.0, 0.1),
                leaves: vec![Leaf { prior: normals(0.0, 0.1), moments: vec![moments] }],
            };
            fit(&Linear, &normals(1.0, 0.5), &[branch], 1).unwrap().root[(0, 0)]
        };
        let before = spread(&moments);
        moments.add_row(1.0, &[1.0, 0.3], 0.01);
        let after = spread(&moments);
        assert!(after <= before && after > 0.9 * before, "{before} {after}");
    }

    #[test]
    fn residuals_larger_than_said_widen_the_posterior() {
        let fitted = |noise: f64| {
            let mut moments = Moments::new(2);
            for i in 0..200 {
                let x = f64::from(i % 10);
                let off = if i % 2 == 0 { noise } else { -noise };
                moments.add_row(x + off, &[x, 0.0], 1.0);
            }
            let leaf = Leaf { prior: normals(0.0, 1e-3), moments: vec![&moments] };
            let branch = Branch { prior: normals(0.0, 1e-3), leaves: vec![leaf] };
            fit(&Linear, &normals(1.0, 10.0), &[branch], 1).unwrap()
        };
        let (said, larger) = (fitted(1.0), fitted(3.0));
        assert!((said.scale[0] - 1.0).abs() < 0.02 && (larger.scale[0] - 3.0).abs() < 0.05);
        assert!((larger.root[(0, 0)] / said.root[(0, 0)] - 3.0).abs() < 0.1);
    }
}
