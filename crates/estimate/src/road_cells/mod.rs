//! Where on the map braking energy is won and lost.
//!
//! First pass, one vehicle at a time: its crossings with what its segments say of the battery ([`RoadCells::of`]). The cells
//! of several vehicles add up; [`RoadCells::batch`] makes the table of them.

mod cell;
mod shares;
mod table;

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, number_at, tables, text_at};
use h3o::{LatLng, Resolution};

use cell::Cell;
use shares::Ledger;
pub use table::{PASSES_LEAST, VEHICLES_LEAST};

/// As in `crossings`: cells of 76 m edge, a few times what a position is wrong by.
const CELL: Resolution = Resolution::Ten;
/// Back within this time is the same pass: a road along the border of two cells falls now in one and now in the other.
const SAME_PASS_NS: i64 = 60_000_000_000;

/// Sums by cell, `None` for what has no position. Grows with the map, not with the samples.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RoadCells {
    cells: BTreeMap<Option<u64>, Cell>,
}

impl RoadCells {
    /// The cells of one vehicle.
    ///
    /// Shape    `battery` has the rows of `segments`; `crossings` are sorted by segment
    /// Errors   a column is missing or of another type
    pub fn of(
        crossings: &RecordBatch,
        segments: &RecordBatch,
        battery: &RecordBatch,
        trips: &RecordBatch,
        stops: &RecordBatch,
    ) -> Result<Self, BatchError> {
        let ledger = Ledger::new(segments, battery, trips)?;
        let rows = Rows::new(crossings)?;
        let mut found = Self::default();
        let mut seen: BTreeMap<u64, Seen> = BTreeMap::new();
        let mut start = 0;
        for part in rows.segments.chunk_by(|a, b| a == b) {
            let these = start..start + part.len();
            start = these.end;
            let shares = ledger.shares(part[0] as usize, &rows.parts(these.clone()));
            for (row, battery) in these.zip(shares) {
                let key = rows.cell(row);
                let cell = found.cells.entry(key).or_default();
                rows.add(row, cell)?;
                cell.add_battery(&battery);
                if let Some(key) = key {
                    cell.passes += rows.passes(row, seen.entry(key).or_default());
                }
            }
        }
        found.add_stops(stops)?;
        found.cells.values_mut().for_each(|cell| cell.vehicles = 1);
        Ok(found)
    }

    pub fn add(&mut self, other: &Self) {
        for (key, cell) in &other.cells {
            self.cells.entry(*key).or_default().add(cell);
        }
    }

    fn add_stops(&mut self, stops: &RecordBatch) -> Result<(), BatchError> {
        let view = BatchView::new(&tables::STOPS, stops);
        let (kinds, lat, lon) = (view.texts("kind")?, view.numbers("lat_deg")?, view.numbers("lon_deg")?);
        for row in (0..view.rows()).filter(|row| kinds.value(*row) == "stop") {
            let place = number_at(lat, row).zip(number_at(lon, row));
            let cell = place.and_then(|(lat, lon)| Some(u64::from(LatLng::new(lat, lon).ok()?.to_cell(CELL))));
            self.cells.entry(cell).or_default().stops += 1;
        }
        Ok(())
    }
}

/// When a vehicle was last seen in a cell, and whether that pass is counted.
#[derive(Debug, Clone, Copy, Default)]
struct Seen {
    until_ns: Option<i64>,
    is_counted: bool,
}

/// Columns of `crossings`.
struct Rows<'a> {
    view: BatchView<'a>,
    segments: &'a [u32],
    start_ns: &'a [i64],
    end_ns: &'a [i64],
}

impl<'a> Rows<'a> {
    fn new(crossings: &'a RecordBatch) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::CROSSINGS, crossings);
        Ok(Self {
            segments: view.orders("segment_order")?.values(),
            start_ns: view.times("time_start_ns")?.values(),
            end_ns: view.times("time_end_ns")?.values(),
            view,
        })
    }

    fn number(&self, name: &str, row: usize) -> Option<f64> {
        self.view.numbers(name).ok().and_then(|array| number_at(array, row))
    }

    /// A text that is no cell of the standard has no place on the map.
    fn cell(&self, row: usize) -> Option<u64> {
        let text = self.view.texts("cell").ok().and_then(|array| text_at(array, row))?;
        text.parse::<h3o::CellIndex>().ok().map(u64::from)
    }

    fn parts(&self, rows: std::ops::Range<usize>) -> Vec<shares::Part> {
        let of = |name, row| self.number(name, row).unwrap_or(0.0);
        rows.map(|row| shares::Part {
            duration_s: of("duration_s", row),
            braking_kwh: of("energy_braking_kwh", row),
            recoverable_kwh: of("energy_recoverable_kwh", row),
            recovered_kwh: self.number("energy_recovered_kwh", row),
        })
        .collect()
    }

    fn add(&self, row: usize, cell: &mut Cell) -> Result<(), BatchError> {
        let of = |name: &str| -> Result<f64, BatchError> {
            Ok(number_at(self.view.numbers(name)?, row).unwrap_or(0.0))
        };
        cell.distance_m += of("distance_m")?;
        cell.moving_s += of("moving_s")?;
        cell.braking_kwh += of("energy_braking_kwh")?;
        for (sum, name) in cell.cascade_kwh.iter_mut().zip(tables::CASCADE) {
            *sum += of(name)?;
        }
        if self.number("climb_m", row).is_some() {
            cell.climb_m += of("climb_m")?;
            cell.descent_m += of("descent_m")?;
            cell.height_known_m += of("distance_m")?;
        }
        Ok(())
    }

    /// 1 where a pass begins.
    fn passes(&self, row: usize, seen: &mut Seen) -> u64 {
        let in_trip = self.view.texts("trip_id").is_ok_and(|array| text_at(array, row).is_some());
        if !in_trip {
            return 0;
        }
        if seen.until_ns.is_none_or(|until| self.start_ns[row] - until > SAME_PASS_NS) {
            seen.is_counted = false;
        }
        seen.until_ns = Some(self.end_ns[row]);
        let begins = !seen.is_counted && self.number("moving_s", row).is_some_and(|moving| moving > 0.0);
        seen.is_counted |= begins;
        u64::from(begins)
    }
}
