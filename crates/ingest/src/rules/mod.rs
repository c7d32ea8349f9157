//! Rules on what a signal can do: one mask each. Rows stand as logged and marked; a lone value that is impossible against both
//! its neighbours is refused, and then stands in the rejects.

mod distance;
mod position;
mod rate;
mod soc;
mod speeds;
pub(crate) mod units;

use crate::frame::{Frame, mask};
use crate::signal::SIGNALS;

/// Codes of the marks in the receipts.
pub(crate) const CODES: [(u32, &str); 7] = [
    (mask::FROZEN, "frozen"),
    (mask::RATE, "rate"),
    (mask::POSITION_JUMP, "position-jump"),
    (mask::SPEED_DISAGREES, "speed-disagrees"),
    (mask::SOC_REANCHORED, "soc-reanchored"),
    (mask::UNIT_SUSPECTED, "unit-suspected"),
    (mask::SIGN_UNSETTLED, "sign-unsettled"),
];

/// The rules as they are listed with a pilot's settings: key, value, source.
pub const LISTED: [(&str, &str, &str); 5] = [
    (
        "ingest.rate",
        "speed 12 m/s2 + 3 m/s, altitude 15 m/s + 60 m, odometer 90 m/s + 2 km, temperatures 0.5 K/s + 15 K",
        "what a signal can change by, with room for its steps and noise; common practice, no source",
    ),
    (
        "ingest.position_jump",
        "4/3 of the way by the logged speed (90 m/s where none is logged) + 150 m",
        "a fix further from the one before cannot have been reached; common practice, no source",
    ),
    (
        "ingest.speed_disagrees",
        "25 % and 2.5 m/s over half a minute",
        "dials may show up to 10 % + 4 km/h more than the true speed: UN Regulation 39, 5.3, from memory; the rest common practice, no source",
    ),
    (
        "ingest.soc_reanchored",
        "2.5 % or 3 usual steps, and 4 times the capacity an hour; at rest without current 1.5 % or 3 usual steps",
        "no drive or charger moves it further; common practice, no source",
    ),
    (
        "ingest.unit_suspected",
        "a factor of 1.3 between signals of one quantity, or a fifth of a column out of range",
        "tyres, dials and cut corners stay below it; common practice, no source",
    ),
];

/// A value taken out of a row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Refused {
    pub row: usize,
    pub signal: usize,
    pub reason: &'static str,
    /// In the signal's own SI unit.
    pub value: f64,
    pub message: String,
}

/// Marks what breaks a rule and takes lone impossible values out.
pub(crate) fn apply(frame: &mut Frame) -> Vec<Refused> {
    let mut refused = rate::mark(frame);
    refused.extend(position::mark(frame));
    soc::mark(frame);
    speeds::mark(frame);
    refused
}

/// The value at a row, where it was logged there and then.
fn fresh(frame: &Frame, signal: usize, row: usize) -> Option<f64> {
    let value = frame.numbers[signal][row];
    (!value.is_nan() && frame.held_at(row) & (1 << signal) == 0).then_some(value)
}

fn seconds(frame: &Frame, from: usize, to: usize) -> f64 {
    (frame.time_ns[to] - frame.time_ns[from]) as f64 * 1e-9
}

/// Takes a value out of its row and says why.
fn refuse(frame: &mut Frame, row: usize, signal: usize, reason: &'static str, why: &str) -> Refused {
    let value = std::mem::replace(&mut frame.numbers[signal][row], f64::NAN);
    frame.mask[row] |= mask::CELL_REFUSED;
    Refused { row, signal, reason, value, message: format!("{} {why}", SIGNALS[signal].name) }
}
