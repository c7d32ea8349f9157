//! Ratios with intervals over clusters, linear Gaussian posteriors, and nested ones over mergeable moments.
//!
//! Deliberately absent: vehicles, energy, files. Everything here would serve a study of apples.

mod moments;
pub mod nested;
mod posterior;
mod ratio;
mod student;

pub use moments::Moments;
pub use posterior::{Gaussian, Observation, posterior};
pub use ratio::{RatioInterval, ratio_of_sums};
pub use student::student_quantile;
