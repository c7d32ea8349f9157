//! What came back when the log did not say, and how sure.
//!
//! First pass, one vehicle at a time: [`observe`] turns its segments into statistics that add up. Second pass: [`learn`]
//! turns those of all vehicles of a type into what is known of the type, each vehicle and each day. Then, vehicle by
//! vehicle again, [`infer`] gives the battery figures of every segment and [`tally`] adds them up by whatever the pilot
//! can be cut by; [`recovery`] turns the merged tallies into the answer table. [`plan`] holds all of it against what was planned.
//!
//! Deliberately absent: files, clocks, threads, settings files; any claim without its evidence grade.

mod audit;
mod avoidable;
mod battery;
mod calibration;
mod claims;
mod correction;
mod design;
mod errors;
pub mod features;
mod law;
mod learned;
pub mod plan;
mod recovery;
mod sheet;
mod signal_value;
mod statistics;
mod tally;
mod windows;

pub use audit::sampling_audit;
pub use avoidable::{StopLengths, avoidable_losses};
pub use battery::infer;
pub use calibration::calibration;
pub use learned::{Learned, Posterior, learn};
pub use recovery::recovery;
pub use sheet::{BatterySheet, LevelSheet, Reach, TypeSheet};
pub use signal_value::signal_value;
pub use statistics::{Statistics, observe};
pub use tally::{GROUPINGS, Sums, Tally, tally};
pub use windows::{Window, rounded_difference_kwh};
