//! The tables of one vehicle, and what of them belongs to a trip.

use arrow::array::{Array, Float64Array, RecordBatch};
use backwatt_schema::{BatchError, BatchView, Table, number_at, tables, text_at};

use super::VehicleTraces;

pub struct Batches<'a> {
    pub trips: RecordBatch,
    pub segments: RecordBatch,
    pub battery: RecordBatch,
    pub events: RecordBatch,
    pub stops: RecordBatch,
    pub what_if: Option<RecordBatch>,
    pub traces: &'a VehicleTraces,
}

/// Rows of a table that carry a trip's name.
pub struct OfTrip<'a> {
    view: BatchView<'a>,
    pub rows: Vec<usize>,
}

impl<'a> OfTrip<'a> {
    pub fn new(table: &'static Table, batch: &'a RecordBatch, trip_id: &str) -> Result<Self, BatchError> {
        let view = BatchView::new(table, batch);
        let trips = view.texts("trip_id")?;
        let rows = (0..view.rows()).filter(|row| text_at(trips, *row) == Some(trip_id)).collect();
        Ok(Self { view, rows })
    }

    /// The rows of a table with one row for each segment that belong to these segments.
    pub fn at(
        table: &'static Table,
        batch: &'a RecordBatch,
        segments: &OfTrip<'_>,
    ) -> Result<Self, BatchError> {
        let view = BatchView::new(table, batch);
        let (wanted, orders) = (segments.view.orders("segment_order")?, view.orders("segment_order")?);
        let rows =
            segments.rows.iter().filter_map(|row| orders.values().binary_search(&wanted.value(*row)).ok());
        Ok(Self { rows: rows.collect(), view })
    }

    pub fn number(&self, name: &str, row: usize) -> Result<Option<f64>, BatchError> {
        Ok(number_at(self.view.numbers(name)?, row))
    }

    pub fn text(&self, name: &str, row: usize) -> Result<Option<&'a str>, BatchError> {
        Ok(text_at(self.view.texts(name)?, row))
    }

    pub fn time_ns(&self, name: &str, row: usize) -> Result<i64, BatchError> {
        Ok(self.view.times(name)?.value(row))
    }

    pub fn flag(&self, name: &str, row: usize) -> Result<bool, BatchError> {
        let flags = self.view.flags(name)?;
        Ok(flags.is_valid(row) && flags.value(row))
    }

    /// Sum over the rows; `None` where no row knows it.
    pub fn sum(&self, name: &str) -> Result<Option<f64>, BatchError> {
        Ok(sum_of(self.view.numbers(name)?, &self.rows))
    }
}

pub fn sum_of(array: &Float64Array, rows: &[usize]) -> Option<f64> {
    rows.iter().filter_map(|row| number_at(array, *row)).reduce(|a, b| a + b)
}

/// A trip and the ones before and after it that have a page.
type Placed = (String, (Option<String>, Option<String>));

/// The chosen trips in the order they were driven.
pub fn in_order(trips: &RecordBatch, chosen: &[String]) -> Result<Vec<Placed>, BatchError> {
    let ids = BatchView::new(&tables::TRIPS, trips).texts("trip_id")?;
    let driven: Vec<&str> =
        (0..ids.len()).map(|row| ids.value(row)).filter(|id| chosen.iter().any(|c| c == id)).collect();
    let at = |place: Option<usize>| place.and_then(|place| driven.get(place)).map(|id| (*id).to_owned());
    let placed =
        |(place, id): (usize, &&str)| ((*id).to_owned(), (at(place.checked_sub(1)), at(Some(place + 1))));
    Ok(driven.iter().enumerate().map(placed).collect())
}
