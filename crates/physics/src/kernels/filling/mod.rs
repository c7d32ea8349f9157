//! Speed between samples that are seconds apart: windows of a library of 1 Hz speeds, drawn and fitted to the gap.
//!
//! Between two slow samples braking hides: a straight line keeps 0.70 to 0.80 of it at 10 s. What stands in for the line
//! is not one guess but several real seconds of driving that begin, end, come and go on as the gap does. Energies are
//! means over them, and what they differ by is kept as an error.

mod draw;
mod fit;
mod library;
mod nearest;
mod windows;

pub use draw::{DRAWS, Drawn, draw};
pub use fit::fit;
pub use library::{Library, Origin, Trace};
pub use windows::{Gap, LONGEST_S, SHORTEST_S, Travelled};
