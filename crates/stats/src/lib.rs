//! Ratios with intervals over clusters, and linear Gaussian posteriors.
//!
//! Deliberately absent: vehicles, energy, files. Everything here would serve a study of apples.

mod posterior;
mod ratio;
mod student;

pub use posterior::{Gaussian, Observation, posterior};
pub use ratio::{RatioInterval, ratio_of_sums};
pub use student::student_quantile;
