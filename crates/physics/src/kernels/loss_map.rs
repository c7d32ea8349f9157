//! Losses on a grid of force and speed.

/// Loss of a drive on a grid of motor-side force and road speed: motor torque and rotation brought to the wheels.
#[derive(Debug, Clone, PartialEq)]
pub struct LossMap {
    forces_n: Vec<f64>,
    speeds_m_s: Vec<f64>,
    /// Row by row of one force.
    loss_w: Vec<f64>,
}

/// Why a grid is no map.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LossMapError {
    #[error("forces and speeds must rise and be known, and there must be two of each at least")]
    Axis,
    #[error("there must be one loss for each force and speed")]
    Size,
    #[error("a loss must be known and not below 0")]
    Loss,
}

impl LossMap {
    /// Errors   an axis of fewer than two values or that does not rise; losses of another number, or below 0
    pub fn new(forces_n: Vec<f64>, speeds_m_s: Vec<f64>, loss_w: Vec<f64>) -> Result<Self, LossMapError> {
        let rises = |axis: &[f64]| {
            axis.len() >= 2 && axis.iter().all(|x| x.is_finite()) && axis.windows(2).all(|w| w[0] < w[1])
        };
        if !rises(&forces_n) || !rises(&speeds_m_s) {
            return Err(LossMapError::Axis);
        }
        if Some(loss_w.len()) != forces_n.len().checked_mul(speeds_m_s.len()) {
            return Err(LossMapError::Size);
        }
        if loss_w.iter().any(|loss| !(loss.is_finite() && *loss >= 0.0)) {
            return Err(LossMapError::Loss);
        }
        Ok(Self { forces_n, speeds_m_s, loss_w })
    }

    /// The same map with every loss multiplied.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        Self { loss_w: self.loss_w.iter().map(|loss| loss * factor).collect(), ..self.clone() }
    }

    /// Loss between the grid's points. [W]
    ///
    /// Bilinear: with x, y the shares of the way through a cell,
    /// L = (1-x)(1-y) L00 + (1-x) y L01 + x (1-y) L10 + x y L11
    ///   F  force_n    [N]    positive drives, negative brakes; a grid without negative forces serves both ways
    ///   v  speed_m_s  [m/s]  0 or more
    /// Holds    beyond the grid its edge is taken; `beyond` says where
    /// Source   bilinear interpolation: Press et al. (2007), Numerical Recipes, section 3.6. Departures: none
    /// Check    the middle of a cell of 0, 100, 200, 500 -> 200
    /// ```
    /// use backwatt_physics::kernels::loss_map::LossMap;
    /// let map = LossMap::new(vec![0.0, 1000.0], vec![0.0, 10.0], vec![0.0, 100.0, 200.0, 500.0]).unwrap();
    /// assert_eq!(map.loss(500.0, 5.0), 200.0);
    /// assert_eq!(map.loss(-500.0, 99.0), map.loss(500.0, 10.0));
    /// ```
    pub fn loss(&self, force_n: f64, speed_m_s: f64) -> f64 {
        let (row, x) = within(&self.forces_n, self.looked_up(force_n));
        let (column, y) = within(&self.speeds_m_s, speed_m_s);
        let at = |row: usize, column: usize| self.loss_w[row * self.speeds_m_s.len() + column];
        let along = |row: usize| at(row, column) + (at(row, column + 1) - at(row, column)) * y;
        along(row) + (along(row + 1) - along(row)) * x
    }

    pub fn beyond(&self, force_n: f64, speed_m_s: f64) -> bool {
        let outside = |axis: &[f64], x: f64| x < axis[0] || x > axis[axis.len() - 1];
        outside(&self.forces_n, self.looked_up(force_n)) || outside(&self.speeds_m_s, speed_m_s)
    }

    /// Number of the cell, edges included: within one the loss is smooth.
    pub(crate) fn cell(&self, force_n: f64, speed_m_s: f64) -> usize {
        let row = self.forces_n.partition_point(|x| *x <= self.looked_up(force_n));
        let column = self.speeds_m_s.partition_point(|x| *x <= speed_m_s);
        row * (self.speeds_m_s.len() + 1) + column
    }

    /// Magnitudes of the grid's braking forces in rising order.
    pub(crate) fn braking_forces(&self) -> impl Iterator<Item = f64> {
        let negative = if self.mirrored() { 0 } else { self.forces_n.partition_point(|x| *x < 0.0) };
        let positive = if self.mirrored() { &self.forces_n[..] } else { &[] };
        self.forces_n[..negative].iter().rev().map(|x| -x).chain(positive.iter().copied())
    }

    fn mirrored(&self) -> bool {
        self.forces_n[0] >= 0.0
    }

    fn looked_up(&self, force_n: f64) -> f64 {
        if self.mirrored() { force_n.abs() } else { force_n }
    }
}

/// The step of an axis a value lies in, and the share of the way through it; the ends stand for what lies beyond.
fn within(axis: &[f64], value: f64) -> (usize, f64) {
    let step = axis.partition_point(|x| *x <= value).clamp(1, axis.len() - 1) - 1;
    let share = (value - axis[step]) / (axis[step + 1] - axis[step]);
    (step, share.clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grid_points_give_their_own_loss() {
        let map =
            LossMap::new(vec![-2.0, 0.0, 1.0], vec![0.0, 3.0], vec![6.0, 7.0, 1.0, 2.0, 4.0, 9.0]).unwrap();
        for (force, speed, loss) in [(-2.0, 0.0, 6.0), (-2.0, 3.0, 7.0), (0.0, 0.0, 1.0), (1.0, 3.0, 9.0)] {
            assert_eq!(map.loss(force, speed), loss);
            assert!(!map.beyond(force, speed));
        }
        assert_eq!(map.loss(-9.0, 9.0), 7.0);
        assert!(map.beyond(-9.0, 3.0) && map.beyond(0.0, 3.1));
        assert_eq!(map.braking_forces().collect::<Vec<_>>(), [2.0]);
    }

    #[test]
    fn what_is_no_grid_is_refused() {
        let of =
            |forces: &[f64], losses: &[f64]| LossMap::new(forces.to_vec(), vec![0.0, 1.0], losses.to_vec());
        assert_eq!(of(&[0.0], &[1.0, 1.0]), Err(LossMapError::Axis));
        assert_eq!(of(&[1.0, 1.0], &[1.0; 4]), Err(LossMapError::Axis));
        assert_eq!(of(&[0.0, f64::NAN], &[1.0; 4]), Err(LossMapError::Axis));
        assert_eq!(of(&[0.0, 1.0], &[1.0; 3]), Err(LossMapError::Size));
        assert_eq!(of(&[0.0, 1.0], &[1.0, 1.0, -1.0, 1.0]), Err(LossMapError::Loss));
    }
}
