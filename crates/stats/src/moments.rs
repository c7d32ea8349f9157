//! Second moments of weighted rows: all that a fit with known weights asks of them. Moments add up.

/// Σ w z zᵀ over rows z = (y, x1 .. xn) with weights w.
#[derive(Debug, Clone, PartialEq)]
pub struct Moments {
    rows: u64,
    size: usize,
    /// Upper triangle, row by row.
    sums: Vec<f64>,
}

impl Moments {
    /// For rows of a value and `features` features.
    pub fn new(features: usize) -> Self {
        let size = features + 1;
        Self { rows: 0, size, sums: vec![0.0; size * (size + 1) / 2] }
    }

    pub fn rows(&self) -> u64 {
        self.rows
    }

    pub fn features(&self) -> usize {
        self.size - 1
    }

    /// One row: a value, its features, and one over the square of its error.
    ///
    /// Panics with another number of features than it was made for.
    pub fn add_row(&mut self, value: f64, features: &[f64], weight: f64) {
        assert_eq!(features.len(), self.features(), "features of a row");
        self.rows += 1;
        let at = |i: usize| if i == 0 { value } else { features[i - 1] };
        let mut cell = 0;
        for i in 0..self.size {
            for j in i..self.size {
                self.sums[cell] += weight * at(i) * at(j);
                cell += 1;
            }
        }
    }

    /// Panics where the other has another number of features.
    pub fn add(&mut self, other: &Moments) {
        assert_eq!(self.size, other.size, "moments of different rows");
        self.rows += other.rows;
        for (sum, more) in self.sums.iter_mut().zip(&other.sums) {
            *sum += more;
        }
    }

    fn get(&self, i: usize, j: usize) -> f64 {
        let (row, column) = (i.min(j), i.max(j));
        // Rows above hold `size`, `size - 1`, .. cells.
        let above = row * self.size - row * row.saturating_sub(1) / 2;
        self.sums[above + column - row]
    }

    /// Σ w x xᵀ, by feature.
    pub fn of_features(&self, i: usize, j: usize) -> f64 {
        self.get(i + 1, j + 1)
    }

    /// Σ w x y, by feature.
    pub fn with_value(&self, i: usize) -> f64 {
        self.get(0, i + 1)
    }

    /// Σ w (y - c x)² for coefficients c.
    ///
    /// ```
    /// let mut moments = backwatt_stats::Moments::new(2);
    /// moments.add_row(3.0, &[1.0, 2.0], 1.0);
    /// moments.add_row(1.0, &[0.0, 1.0], 4.0);
    /// assert!((moments.squares(&[1.0, 0.5]) - (1.0 + 4.0 * 0.25)).abs() < 1e-12);
    /// ```
    pub fn squares(&self, coefficients: &[f64]) -> f64 {
        let with = |i: usize| if i == 0 { 1.0 } else { -coefficients[i - 1] };
        let mut sum = 0.0;
        for i in 0..self.size {
            for j in 0..self.size {
                sum += with(i) * with(j) * self.get(i, j);
            }
        }
        sum.max(0.0)
    }
}
