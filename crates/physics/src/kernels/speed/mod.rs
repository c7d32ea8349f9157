//! Speed and acceleration behind noisy, rounded, irregular speed values.
//!
//! Braking energy sums one sign only, so noise of the speed never cancels: it adds. The smoother takes it away where
//! the driver did nothing, and leaves a hard stop as hard as it was.

mod filter;
mod model;
mod piece;

pub use filter::{Smoother, smooth};
pub use model::{Model, estimate, resolution};
pub use piece::{Piece, pieces};
