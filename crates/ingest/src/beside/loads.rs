//! Payloads from a manifest.

use super::rows_within;
use crate::frame::{Frame, mask};
use crate::settings::Load;
use crate::signal::PAYLOAD;

/// Payload from the manifest, where the log says none and has a wall clock.
pub fn carry(loads: &[Load], vehicle: &str, frame: &mut Frame) {
    for load in loads.iter().filter(|load| load.vehicle == vehicle) {
        for row in rows_within(frame, load.from_ns, load.until_ns) {
            if frame.numbers[PAYLOAD][row].is_nan() && frame.mask[row] & mask::RELATIVE == 0 {
                frame.numbers[PAYLOAD][row] = load.payload_kg;
                frame.mask[row] |= mask::MANIFEST;
            }
        }
    }
}
