//! What a time master's seconds are on a calendar.

use falcon_mdf::{Mf4Error, Mf4File};
use jiff::Timestamp;
use jiff::tz::Offset;

/// Where the header block stands in every file, and its block head: name, length, number of links.
const HEADER_AT: u64 = 64;
const BLOCK_HEAD_BYTES: u64 = 24;
const LOCAL: u8 = 1;

/// The start of the file, as its header states it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clock {
    Utc {
        start_ns: i64,
    },
    /// By the wall clock of a place that the file does not name.
    Local {
        start_ns: i64,
    },
    /// The file states no start.
    Unset,
}

impl Clock {
    /// Reads start and time flags of the header block: after its links stand the start (8 bytes), two offsets (2 each)
    /// and the flags (1).
    pub fn of(file: &Mf4File) -> Result<Self, Mf4Error> {
        let head = file.read_raw(HEADER_AT, BLOCK_HEAD_BYTES as usize)?;
        let links = u64_at(&head, 16).unwrap_or_default().min(64);
        let data = file.read_raw(HEADER_AT + BLOCK_HEAD_BYTES + 8 * links, 13)?;
        let start = u64_at(&data, 0).and_then(|start| i64::try_from(start).ok()).unwrap_or_default();
        let is_local = data.get(12).is_some_and(|flags| flags & LOCAL != 0);
        Ok(match start {
            0 => Clock::Unset,
            start_ns if is_local => Clock::Local { start_ns },
            start_ns => Clock::Utc { start_ns },
        })
    }

    /// The names of the clock's fields.
    pub fn fields(self) -> &'static [&'static str] {
        match self {
            Clock::Utc { .. } => &["time_s", "time"],
            Clock::Local { .. } => &["time_s", "local_time"],
            Clock::Unset => &["time_s"],
        }
    }

    /// The cells of the clock at a time of the master.
    pub fn cells(self, time_s: f64) -> Vec<(usize, String)> {
        if !time_s.is_finite() {
            return Vec::new();
        }
        let mut cells = vec![(0, time_s.to_string())];
        let instant = |start_ns: i64| {
            let since = (time_s * 1e9).round();
            // Three hundred years; nanoseconds of such a file still fit.
            let since = if since.abs() < 9e18 { since as i128 } else { return None };
            Timestamp::from_nanosecond(i128::from(start_ns) + since).ok()
        };
        cells.extend(match self {
            Clock::Utc { start_ns } => instant(start_ns).map(|stamp| (1, stamp.to_string())),
            Clock::Local { start_ns } => {
                instant(start_ns).map(|stamp| (1, Offset::UTC.to_datetime(stamp).to_string()))
            }
            Clock::Unset => None,
        });
        cells
    }
}

fn u64_at(bytes: &[u8], at: usize) -> Option<u64> {
    Some(u64::from_le_bytes(bytes.get(at..at + 8)?.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_of_a_clock() {
        let start_ns = 1_772_438_400_000_000_000;
        let cells = Clock::Utc { start_ns }.cells(12.1);
        assert_eq!(cells, [(0, "12.1".to_owned()), (1, "2026-03-02T08:00:12.1Z".to_owned())]);
        let cells = Clock::Local { start_ns }.cells(-0.25);
        assert_eq!(cells[1].1, "2026-03-02T07:59:59.75");
        assert_eq!(Clock::Unset.cells(3.0).len(), 1);
        assert!(Clock::Unset.cells(f64::NAN).is_empty());
        assert_eq!(Clock::Utc { start_ns }.cells(1e300).len(), 1);
    }
}
