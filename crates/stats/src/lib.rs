//! Ratios with intervals over clusters, the chance of a next value, linear Gaussian posteriors, nested ones over mergeable
//! moments, mixed models, tests of equivalence, splits by cause, changes of level and shrinkage.
//!
//! Deliberately absent: vehicles, energy, files. Everything here would serve a study of apples.

mod chance;
mod change;
mod ends;
mod equivalence;
pub mod mixed;
mod moments;
pub mod nested;
mod posterior;
mod ratio;
mod shapley;
mod shrinkage;
mod student;

pub use chance::{Chance, LEAST_VALUES, NextValue, share_of};
pub use change::{Change, changes};
pub use ends::reach_of_ends;
pub use equivalence::{Equivalence, Verdict, equivalence};
pub use moments::Moments;
pub use posterior::{Gaussian, Observation, posterior};
pub use ratio::{RatioInterval, ratio_of_sums};
pub use shapley::{CAUSES_MOST, shapley};
pub use shrinkage::{BeforeAfter, Shrunken, before_after, shrink};
pub use student::student_quantile;
