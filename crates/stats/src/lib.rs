//! Ratios with intervals over clusters, linear Gaussian posteriors, nested ones over mergeable moments, mixed models,
//!
//! Deliberately absent: vehicles, energy, files. Everything here would serve a study of apples.

mod equivalence;
pub mod mixed;
mod moments;
pub mod nested;
mod posterior;
mod ratio;
mod shapley;
mod student;

pub use equivalence::{Equivalence, Verdict, equivalence};
pub use moments::Moments;
pub use posterior::{Gaussian, Observation, posterior};
pub use ratio::{RatioInterval, ratio_of_sums};
pub use shapley::{CAUSES_MOST, shapley};
pub use student::student_quantile;
