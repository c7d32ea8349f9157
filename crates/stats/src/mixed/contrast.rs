use nalgebra::DVector;

use super::information::{spread, sums};
use super::reml::{At, Fit};
use crate::student_quantile;

/// A linear combination of coefficients and levels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    pub value: f64,
    /// As if the variances were known.
    pub standard_error_plain: f64,
    /// With what their estimation adds.
    pub standard_error: f64,
    /// 0 where nothing varies: a combination of levels whose variance is estimated as nothing.
    pub degrees: f64,
}

impl Estimate {
    /// Half-width of the two-sided interval. `None` without degrees of freedom.
    pub fn half_width(&self, coverage: f64) -> Option<f64> {
        Some(student_quantile((1.0 + coverage) / 2.0, self.degrees)? * self.standard_error)
    }
}

impl Fit<'_> {
    /// Σ fixed b + Σ weight u, over the weights of the fixed columns and of some (grouping, level).
    ///
    /// With a = ∂/∂y, g_i = ∂ var/∂θ_i and A the inverse expected information of the variances θ:
    ///   s² = var + 2 Σ A_ij h_iᵀ P h_j,  h_i = Z (m - Zᵀ a) for a grouping, -D a for the residual
    ///   degrees = 2 var² / gᵀ A g
    /// Shape    `fixed` as long as the fixed columns, or shorter: what is left out weighs nothing
    /// Holds    for coefficients, in small samples; for levels it is the second-order mean squared error of the prediction,
    ///          and a variance estimated as nothing gives no degrees of freedom: take [`Fit::draws`] there
    /// Source   Kenward and Roger (1997), Small sample inference for fixed effects from restricted maximum likelihood,
    ///          Biometrics 53, 983, which for one combination comes to Satterthwaite's degrees of freedom from the expected
    ///          information (Giesbrecht and Burns 1985) and a wider standard error (Kackar and Harville 1984); levels: Prasad
    ///          and Rao (1990), J. Am. Stat. Assoc. 85, 163. Chosen over Satterthwaite alone, whose standard error takes the
    ///          variances as known and is too narrow in small unbalanced sets. Departures: none
    /// Check    against pbkrtest in crates/stats/tests/mixed.rs
    pub fn contrast(&self, fixed: &[f64], levels: &[(usize, usize, f64)]) -> Estimate {
        let (design, places, at) = (self.design, &self.places, &self.at);
        let mut wanted = DVector::zeros(places.total);
        fixed.iter().take(places.fixed).enumerate().for_each(|(i, weight)| wanted[i] = *weight);
        levels.iter().for_each(|(group, level, weight)| wanted[places.start[*group] + level] += weight);
        let scaled = wanted.component_mul(&at.system.scale);
        let solved = at.system.solve_one(&scaled);
        let back = design.onto_rows(places, &solved.component_mul(&at.system.scale));
        let slope = at.precision.component_mul(&back);

        let mut directions = Vec::new();
        let mut gradient = Vec::new();
        for (group, start) in design.groups.iter().zip(&places.start) {
            let own = sums(group, &slope);
            let open: Vec<f64> =
                own.iter().enumerate().map(|(level, sum)| wanted[start + level] - sum).collect();
            gradient.push(open.iter().map(|x| x * x).sum::<f64>());
            directions.push(spread(group, &open));
        }
        let residual = DVector::from_fn(design.rows(), |row, _| slope[row] / design.weight[row]);
        gradient.push(slope.dot(&residual));
        directions.push(-residual);

        let projected: Vec<_> = directions.iter().map(|h| at.project(design, places, h)).collect();
        let (mut added, mut spread) = (0.0, 0.0);
        for i in 0..gradient.len() {
            for j in 0..gradient.len() {
                added += self.uncertainty[(i, j)] * directions[i].dot(&projected[j]);
                spread += self.uncertainty[(i, j)] * gradient[i] * gradient[j];
            }
        }
        let variance = scaled.dot(&solved).max(0.0);
        Estimate {
            value: scaled.dot(&at.solution),
            standard_error_plain: variance.sqrt(),
            standard_error: (variance + 2.0 * added.max(0.0)).sqrt(),
            degrees: if spread > 0.0 { 2.0 * variance * variance / spread } else { 0.0 },
        }
    }

    /// Contrasts of levels of one grouping as if they had nothing in common, each with its standard error: least squares with
    /// the levels of `free` groupings as fixed columns, at the other variances as found. What rows say before anything is
    /// drawn towards a mean, and whether they can say it at all: levels that no row tells apart keep a huge standard error.
    ///
    /// Σ weight u under variances of the free groupings far beyond all others
    /// Shape    for each contrast weights of levels of the first of `free`, which should add up to nothing
    /// Missing  `None` for no grouping, or where the equations cannot be solved
    /// Holds    to a few in a hundred thousand
    pub fn unshrunken(&self, free: &[usize], contrasts: &[Vec<(usize, f64)>]) -> Option<Vec<(f64, f64)>> {
        const FAR: f64 = 1e5;
        let mut variances = self.variances();
        let total: f64 = variances.iter().sum();
        free.iter().for_each(|group| variances[*group] = FAR * total);
        let at = At::new(self.design, &self.places, &variances)?;
        let start = self.places.start[*free.first()?];
        let contrast = |weights: &Vec<(usize, f64)>| {
            let mut wanted = DVector::zeros(self.places.total);
            weights.iter().for_each(|(level, weight)| wanted[start + level] += weight);
            let scaled = wanted.component_mul(&at.system.scale);
            let solved = at.system.solve_one(&scaled);
            (scaled.dot(&at.solution), scaled.dot(&solved).max(0.0).sqrt())
        };
        Some(contrasts.iter().map(contrast).collect())
    }
}
