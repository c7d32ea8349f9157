//! What sampling hides of the braking energy, per segment.

use std::collections::HashMap;

use arrow::array::{Array, RecordBatch, StringArray};
use backwatt_schema::{BatchError, BatchView, number_at, tables, text_at};

/// Factors from a segment's sums to the braking energy of its trip's correction band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    pub low: f64,
    pub high: f64,
}

impl Band {
    pub fn middle(self) -> f64 {
        f64::midpoint(self.low, self.high)
    }
}

/// The band of each segment's trip; `None` outside trips and where no braking energy is claimed.
pub fn bands(trips: &RecordBatch, trip_of: &StringArray) -> Result<Vec<Option<Band>>, BatchError> {
    let view = BatchView::new(&tables::TRIPS, trips);
    let (ids, raw) = (view.texts("trip_id")?, view.numbers("energy_braking_kwh")?);
    let (low, high) = (view.numbers("energy_braking_low_kwh")?, view.numbers("energy_braking_high_kwh")?);
    let band = |row: usize| {
        let (low, high, raw) = (number_at(low, row)?, number_at(high, row)?, raw.value(row));
        Some(if raw > 0.0 { Band { low: low / raw, high: high / raw } } else { Band { low: 1.0, high: 1.0 } })
    };
    let by_trip: HashMap<&str, Option<Band>> =
        (0..view.rows()).map(|row| (ids.value(row), band(row))).collect();
    Ok((0..trip_of.len()).map(|row| by_trip.get(text_at(trip_of, row)?).copied().flatten()).collect())
}
