//! What tables beside the logs say where a log says nothing. The log goes first everywhere, and what is filled is marked.

mod loads;
mod shifts;
mod weather;

use std::ops::Range;

pub use shifts::{Against, contradiction};

use crate::frame::Frame;
use crate::settings::Settings;

/// Fills one vehicle's sorted rows. Rows on a relative clock stay as they are: nobody knows when they were.
pub fn fill(settings: &Settings, vehicle: &str, frame: &mut Frame, own: Range<usize>, against: &mut Against) {
    loads::carry(&settings.loads, vehicle, frame);
    if let Some(weather) = &settings.weather {
        weather::fill(weather, frame);
    }
    shifts::name_drivers(&settings.shifts, vehicle, frame, own, against);
}

/// Rows from the one instant until before the other.
fn rows_within(frame: &Frame, from_ns: i64, until_ns: i64) -> std::ops::Range<usize> {
    let first_from = |limit_ns: i64| frame.time_ns.partition_point(|time| *time < limit_ns);
    first_from(from_ns)..first_from(until_ns)
}
