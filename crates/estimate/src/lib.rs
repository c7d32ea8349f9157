//! What came back when the log did not say, and how sure.
//!
//! First pass, one vehicle at a time: [`observe`] turns its segments into windows of state of charge, [`infer`] turns
//! those into the battery figures of every segment, and [`tally`] adds them up by whatever the pilot can be cut by.
//! Second pass: [`recovery`] turns the merged tallies into the answer table.
//!
//! Deliberately absent: files, clocks, threads, settings files; any claim without its evidence grade.

mod avoidable;
mod battery;
mod correction;
mod recovery;
mod soc;
mod tally;

pub use avoidable::{StopLengths, avoidable_losses};
pub use battery::infer;
pub use recovery::recovery;
pub use soc::{BatterySheet, Windows, observe};
pub use tally::{GROUPINGS, Sums, Tally, tally};
