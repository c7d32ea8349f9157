//! Which defect befalls which truck on which day.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::Size;
use crate::fleet::roster::Shift;
use crate::fleet::trucks::{Format, Truck};

/// The kinds of defect, as `truth/defects.csv` names them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DefectKind {
    DuplicateRows,
    RowsOutOfOrder,
    TruncatedLastLine,
    /// Bound to a place, not to chance: a road under ground.
    TunnelWithoutGps,
    LoggerDropout,
    BogusYear,
    FrozenBus,
    TextGarbage,
    SpeedSpike,
    EmptyStateOfCharge,
    RepeatedHeader,
    RaggedRow,
}

impl DefectKind {
    pub fn name(self) -> &'static str {
        match self {
            DefectKind::DuplicateRows => "duplicate_rows",
            DefectKind::RowsOutOfOrder => "rows_out_of_order",
            DefectKind::TruncatedLastLine => "truncated_last_line",
            DefectKind::TunnelWithoutGps => "tunnel_without_gps",
            DefectKind::LoggerDropout => "logger_dropout",
            DefectKind::BogusYear => "bogus_year",
            DefectKind::FrozenBus => "frozen_bus",
            DefectKind::TextGarbage => "text_garbage",
            DefectKind::SpeedSpike => "speed_spike",
            DefectKind::EmptyStateOfCharge => "empty_state_of_charge",
            DefectKind::RepeatedHeader => "repeated_header",
            DefectKind::RaggedRow => "ragged_row",
        }
    }
}

/// Kind, how often in the small pilot, how often in the full one.
const COUNTS: [(DefectKind, usize, usize); 11] = [
    (DefectKind::LoggerDropout, 3, 40),
    (DefectKind::DuplicateRows, 2, 14),
    (DefectKind::RowsOutOfOrder, 2, 10),
    (DefectKind::TruncatedLastLine, 1, 3),
    (DefectKind::BogusYear, 1, 8),
    (DefectKind::FrozenBus, 1, 1),
    (DefectKind::TextGarbage, 2, 12),
    (DefectKind::SpeedSpike, 2, 10),
    (DefectKind::EmptyStateOfCharge, 1, 12),
    (DefectKind::RepeatedHeader, 1, 3),
    (DefectKind::RaggedRow, 1, 1),
];

/// A defect that is to happen.
#[derive(Clone, Copy)]
pub struct Planned {
    pub truck: usize,
    pub day: usize,
    pub kind: DefectKind,
}

/// Deals the defects out over all shifts.
pub fn plan(size: Size, seed: u64, fleet: &[Truck], shifts: &[Vec<Shift>]) -> Vec<Planned> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(0x4465_6665);
    let all: Vec<Shift> = shifts.concat();
    let mut planned: Vec<Planned> = Vec::new();
    for (kind, small, full) in COUNTS {
        let count = match size {
            Size::Small => small,
            Size::Full => full,
            Size::Large => 5 * full,
        };
        let fitting: Vec<Shift> =
            all.iter().copied().filter(|shift| is_fitting(kind, &fleet[shift.truck])).collect();
        let mut left = count.min(fitting.len());
        while left > 0 {
            let shift = fitting[rng.random_range(0..fitting.len())];
            let (truck, day) = (shift.truck, shift.day);
            if planned.iter().any(|other| (other.truck, other.day, other.kind) == (truck, day, kind)) {
                continue;
            }
            planned.push(Planned { truck, day, kind });
            left -= 1;
        }
    }
    planned
}

/// Only a file that ends with the day can break off at the day's last line.
fn is_fitting(kind: DefectKind, truck: &Truck) -> bool {
    kind != DefectKind::TruncatedLastLine || truck.format == Format::Harbour
}
