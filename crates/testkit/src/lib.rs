//! Builders and assertions for the test suites.

mod column;
pub mod evidence;
mod partition;
mod places;
mod run;

pub use column::{Table, close, within};
pub use partition::adjusted_rand_index;
pub use places::{fixture, repository, shared, skipped};
pub use run::{Ran, run_pilot};
