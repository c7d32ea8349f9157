//! What came back when the log did not say, and how sure.
//!
//! First pass, one vehicle at a time: [`observe`] turns its segments into statistics that add up. Second pass: [`learn`]
//! turns those of all vehicles of a type into what is known of the type, each vehicle and each day. Then, vehicle by
//! vehicle again, [`infer`] gives the battery figures of every segment and [`tally`] adds them up by whatever the pilot
//! can be cut by; [`recovery`] turns the merged tallies into the answer table. [`driver_days`] and [`level_days`] do the
//! same for people and regen levels, which [`drivers`], [`habits`] and [`level_comparison`] compare; [`level_replays`] and [`level_what_if`] set the
//! model of the same driving at each level beside that. [`plan`] holds all of it
//! against what was planned.
//!
//! Beside that: places and routes out of stops and crossings, in passes of the same kind ([`Places`], [`Routes`]), and where
//! on the map energy is won and lost ([`RoadCells`]).
//!
//! Deliberately absent: files, clocks, threads, settings files; any claim without its evidence grade.

mod audit;
mod avoidable;
mod battery;
mod calibration;
mod charge_sessions;
mod claims;
mod correction;
mod design;
mod drivers;
mod errors;
pub mod features;
mod law;
mod learned;
mod level_comparison;
mod level_what_if;
mod places;
pub mod plan;
mod recovery;
mod road_cells;
mod routes;
pub mod rules;
mod sheet;
mod signal_value;
mod statistics;
mod tally;
mod windows;

pub use audit::sampling_audit;
pub use avoidable::{StopLengths, avoidable_losses};
pub use battery::infer;
pub use calibration::calibration;
pub use charge_sessions::{
    ChargeSession, ChargerEfficiencies, ChargerEfficiency, Matched, Metered, Reading, SessionCapacity,
    VehicleSessions, capacity_from_sessions, capacity_table, charge_sessions_table, match_sessions,
    without_logs,
};
pub use drivers::{
    DriverDay, DriverDays, DriverTables, EXPOSURE_BRAKING_KWH, EXPOSURE_DAYS, Example, Habit, Key as DriverKey,
    SMALL_GROUP, StatedEvent, changes, driver_days, drivers, habits,
};
pub use learned::{Learned, Posterior, learn};
pub use level_comparison::{LevelDays, level_comparison, level_days};
pub use level_what_if::{LevelReplays, ReplayedTables, level_replays, level_scenario, level_what_if};
pub use places::{Dwells, KnownPlace, Place, Places};
pub use recovery::recovery;
pub use road_cells::RoadCells;
pub use routes::{Assigned, Drafts, Driven, Routes};
pub use sheet::{BatterySheet, LevelSheet, Reach, TypeSheet};
pub use signal_value::signal_value;
pub use statistics::{Statistics, observe, soc_step};
pub use tally::{GROUPINGS, Sums, Tally, tally};
pub use windows::{Window, rounded_difference_kwh};
