//! Crossings: the braking ledger of the segments, split by road cell.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};

use super::{Found, cascade_columns, is_measured, kwh};
use crate::replay::crossings::Crossing;
use crate::replay::pieces::Segment;
use crate::replay::track::GradeBasis;
use crate::replay::trips::explained;

impl Found<'_> {
    pub(super) fn crossings(&self) -> Result<RecordBatch, BatchError> {
        let rows = self.crossings;
        let each = || rows.iter();
        let segment = |c: &Crossing| &self.segments[c.segment];
        let cells: Vec<Option<String>> = each().map(|c| c.cell.map(|cell| format!("{cell:x}"))).collect();
        let height = |c: &Crossing, metres: f64| (segment(c).grade != GradeBasis::None).then_some(metres + 0.0);
        let recovered = |c: &Crossing| {
            let Segment { trip, ledger, .. } = segment(c);
            let open = self.trip_of(*trip).is_none_or(explained);
            is_measured(ledger).then(|| if open { kwh(c.recovered_j) } else { 0.0 })
        };
        let builder = BatchBuilder::new(&tables::CROSSINGS)
            .text("vehicle_id", self.vehicle(rows))
            .order("segment_order", each().map(|c| c.segment as u32))
            .text("trip_id", each().map(|c| self.trip_of(segment(c).trip).map(|t| t.id.as_str())))
            .text("cell", cells.iter().map(Option::as_deref))
            .time("time_start_ns", each().map(|c| c.start_ns))
            .time("time_end_ns", each().map(|c| c.end_ns))
            .number("duration_s", each().map(|c| (c.end_ns - c.start_ns) as f64 * 1e-9))
            .number("moving_s", each().map(|c| c.moving_s))
            .number("distance_m", each().map(|c| c.distance_m))
            .number("climb_m", each().map(|c| height(c, c.climb_m)))
            .number("descent_m", each().map(|c| height(c, c.descent_m)))
            .number("energy_braking_kwh", each().map(|c| kwh(c.braking_j)))
            .number("energy_recovered_kwh", each().map(recovered));
        cascade_columns(builder, each().map(|c| &c.cascade)).finish()
    }
}
