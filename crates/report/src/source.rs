//! Where the tables of a report come from.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, RecordBatch, StringArray};
use backwatt_schema::Table;
use backwatt_store::{Layout, read_table};

use crate::share::{Censor, LEFT_OUT};
use crate::{ReportError, figure};

/// Tables as a report may show them: names hidden where they have to be, and without the characters that its own marks
/// are made of.
pub struct Source<'a> {
    layout: &'a Layout,
    censor: &'a Censor,
}

impl<'a> Source<'a> {
    pub fn new(layout: &'a Layout, censor: &'a Censor) -> Self {
        Self { layout, censor }
    }

    pub fn leaves(&self) -> bool {
        self.censor.leaves()
    }

    pub fn table(&self, table: &'static Table) -> Result<RecordBatch, ReportError> {
        self.shown(table, read_table(&self.layout.table(table), table)?)
    }

    /// Nothing where no run has written it, or where it may not leave the building.
    pub fn table_if_present(&self, table: &'static Table) -> Result<Option<RecordBatch>, ReportError> {
        let left_out = self.censor.leaves() && LEFT_OUT.iter().any(|out| out.name == table.name);
        let present = !left_out && self.layout.table(table).is_file();
        if present { self.table(table).map(Some) } else { Ok(None) }
    }

    pub fn vehicle_table(&self, table: &'static Table, vehicle: &str) -> Result<RecordBatch, ReportError> {
        self.shown(table, read_table(&self.layout.vehicle_table(table, vehicle), table)?)
    }

    /// A table made here, as it may be shown.
    pub fn shown(&self, table: &'static Table, batch: RecordBatch) -> Result<RecordBatch, ReportError> {
        // Names are known by their letters as logged: they are hidden first.
        Ok(scrubbed(self.censor.table(table, batch)?))
    }
}

fn scrubbed(batch: RecordBatch) -> RecordBatch {
    let scrub =
        |_: usize, _: &str, text: &str| figure::has_marks(text).then(|| figure::scrub(text).into_owned());
    mapped(&batch, scrub).unwrap_or(batch)
}

/// The batch with texts changed, by row, column and text; nothing where no text is.
pub fn mapped(
    batch: &RecordBatch,
    change: impl Fn(usize, &str, &str) -> Option<String>,
) -> Option<RecordBatch> {
    let schema = batch.schema();
    let mut changed = false;
    let columns: Vec<ArrayRef> = batch
        .columns()
        .iter()
        .zip(schema.fields())
        .map(|(column, field)| {
            let Some(texts) = column.as_any().downcast_ref::<StringArray>() else { return Arc::clone(column) };
            let new: Vec<Option<String>> =
                texts.iter().enumerate().map(|(row, text)| change(row, field.name(), text?)).collect();
            if new.iter().all(Option::is_none) {
                return Arc::clone(column);
            }
            changed = true;
            let both = texts.iter().zip(new).map(|(old, new)| new.or_else(|| old.map(str::to_owned)));
            Arc::new(both.collect::<StringArray>())
        })
        .collect();
    // Texts stay texts, so the schema holds.
    changed.then(|| RecordBatch::try_new(schema, columns).ok()).flatten()
}
