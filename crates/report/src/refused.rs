//! The refused rows that go with the report.

use std::sync::Arc;

use arrow::array::{ArrayRef, RecordBatch, StringArray};
use backwatt_schema::tables::REJECTS;
use backwatt_store::{Layout, read_table_start};

use crate::ReportError;
use crate::source::Source;

/// More refused rows than these stay with the run: a file of the wrong kind has millions.
pub const MOST: usize = 10_000;

/// The first refusals in the order of their files, without the rows as they stood: those may name people whom the report does not.
pub fn first(source: &Source<'_>, layout: &Layout) -> Result<Vec<RecordBatch>, ReportError> {
    let (mut batches, mut rows) = (Vec::new(), 0);
    for path in layout.rejects() {
        if rows >= MOST {
            break;
        }
        let batch = without_raw(&read_table_start(&path, &REJECTS, MOST - rows)?)?;
        rows += batch.num_rows();
        batches.push(source.shown(&REJECTS, batch)?);
    }
    Ok(batches)
}

fn without_raw(batch: &RecordBatch) -> Result<RecordBatch, ReportError> {
    let nothing: ArrayRef = Arc::new(StringArray::new_null(batch.num_rows()));
    let is_raw = |name: &str| name == "raw";
    let fields = batch.schema();
    let columns = fields.fields().iter().zip(batch.columns());
    let kept = columns
        .map(|(field, column)| if is_raw(field.name()) { Arc::clone(&nothing) } else { Arc::clone(column) });
    Ok(RecordBatch::try_new(Arc::clone(&fields), kept.collect())?)
}
