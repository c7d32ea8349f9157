use nalgebra::{DMatrix, DVector};

/// A random intercept: the level each row belongs to.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Grouping {
    pub levels: usize,
    /// Below `levels`, one for each row.
    pub level: Vec<usize>,
}

/// Rows of a mixed model. All lists are as long as `response`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Design {
    pub response: Vec<f64>,
    /// Column by column; the intercept is a column of ones.
    pub fixed: Vec<Vec<f64>>,
    pub groups: Vec<Grouping>,
    /// Above 0: the residual variance is divided by it.
    pub weight: Vec<f64>,
    /// 0 or more: added to the residual variance.
    pub known_variance: Vec<f64>,
}

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unfit {
    /// Lists of unlike lengths, a level out of range, a weight that is not above 0, or a figure that is not finite.
    Malformed,
    /// No more rows than fixed columns and groupings.
    TooFewRows,
    /// Some fixed column follows from the others.
    Dependent,
    /// The likelihood found no summit.
    Diverged,
}

/// Share of its squares that a column must keep once the columns before it are taken out.
const LEFT_LEAST: f64 = 1e-8;

/// Whether no column follows from those before it.
///
/// Shape    columns of one length
/// Holds    to about 1e-4 of a column's own size
pub fn is_independent(columns: &[Vec<f64>]) -> bool {
    let mut basis: Vec<DVector<f64>> = Vec::new();
    columns.iter().all(|column| {
        let column = DVector::from_column_slice(column);
        let mut left = column.clone();
        // Twice is enough: what the first pass leaves of rounding goes with the second.
        for _ in 0..2 {
            for unit in &basis {
                left -= unit * unit.dot(&left);
            }
        }
        let keeps = left.norm_squared() > LEFT_LEAST * column.norm_squared();
        if keeps {
            basis.push(left.normalize());
        }
        keeps
    })
}

impl Design {
    pub fn rows(&self) -> usize {
        self.response.len()
    }

    pub(super) fn check(&self) -> Result<(), Unfit> {
        let rows = self.rows();
        let numbers = |values: &[f64], fits: fn(f64) -> bool| {
            values.len() == rows && values.iter().all(|value| value.is_finite() && fits(*value))
        };
        let grouped = |group: &Grouping| {
            group.level.len() == rows && group.level.iter().all(|level| *level < group.levels)
        };
        let sound = numbers(&self.response, |_| true)
            && numbers(&self.weight, |weight| weight > 0.0)
            && numbers(&self.known_variance, |variance| variance >= 0.0)
            && self.fixed.iter().all(|column| numbers(column, |_| true))
            && self.groups.iter().all(grouped);
        match () {
            () if !sound => Err(Unfit::Malformed),
            () if rows <= self.fixed.len() + self.groups.len() => Err(Unfit::TooFewRows),
            () if !is_independent(&self.fixed) => Err(Unfit::Dependent),
            () => Ok(()),
        }
    }

    pub(super) fn places(&self) -> Places {
        let mut order: Vec<usize> = (0..self.groups.len()).collect();
        order.sort_by_key(|group| self.groups[*group].levels);
        let mut start = vec![0; self.groups.len()];
        let mut total = self.fixed.len();
        let mut last = total;
        for group in order {
            (start[group], last) = (total, total);
            total += self.groups[group].levels;
        }
        Places { fixed: self.fixed.len(), start, last, total }
    }

    /// [X Z]ᵀ diag(weight) [X Z].
    pub(super) fn cross(&self, places: &Places, weight: &[f64]) -> DMatrix<f64> {
        let mut cross = DMatrix::zeros(places.total, places.total);
        let (mut at, mut value) = (Vec::new(), Vec::new());
        for (row, weight) in weight.iter().enumerate() {
            self.row(places, row, &mut at, &mut value);
            for (i, x) in at.iter().zip(&value) {
                for (j, z) in at.iter().zip(&value) {
                    cross[(*i, *j)] += weight * x * z;
                }
            }
        }
        cross
    }

    /// [X Z]ᵀ values.
    pub(super) fn onto_columns(&self, places: &Places, values: &DVector<f64>) -> DVector<f64> {
        let mut sums = DVector::zeros(places.total);
        for (row, value) in values.iter().enumerate() {
            for (at, column) in self.fixed.iter().enumerate() {
                sums[at] += column[row] * value;
            }
            for (group, start) in self.groups.iter().zip(&places.start) {
                sums[start + group.level[row]] += value;
            }
        }
        sums
    }

    /// [X Z] coefficients.
    pub(super) fn onto_rows(&self, places: &Places, coefficients: &DVector<f64>) -> DVector<f64> {
        DVector::from_fn(self.rows(), |row, _| {
            let fixed: f64 =
                self.fixed.iter().enumerate().map(|(at, column)| column[row] * coefficients[at]).sum();
            let of_group = |(group, start): (&Grouping, &usize)| coefficients[start + group.level[row]];
            fixed + self.groups.iter().zip(&places.start).map(of_group).sum::<f64>()
        })
    }

    fn row(&self, places: &Places, row: usize, at: &mut Vec<usize>, value: &mut Vec<f64>) {
        at.clear();
        value.clear();
        at.extend(0..self.fixed.len());
        value.extend(self.fixed.iter().map(|column| column[row]));
        at.extend(self.groups.iter().zip(&places.start).map(|(group, start)| start + group.level[row]));
        value.resize(at.len(), 1.0);
    }
}

/// Where each column stands: fixed ones, then the levels of the groupings, the largest grouping last.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Places {
    pub fixed: usize,
    /// First level of each grouping.
    pub start: Vec<usize>,
    /// First level of the largest one, whose levels share no row and are eliminated first.
    pub last: usize,
    pub total: usize,
}
