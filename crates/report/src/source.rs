//! Where the tables of a report come from.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, RecordBatch, StringArray};
use backwatt_schema::Table;
use backwatt_store::{Layout, StoreError, read_table};

use crate::figure;

/// Tables as a report may show them: without the characters that its own marks are made of.
pub struct Source<'a> {
    layout: &'a Layout,
}

impl<'a> Source<'a> {
    pub fn new(layout: &'a Layout) -> Self {
        Self { layout }
    }

    pub fn table(&self, table: &'static Table) -> Result<RecordBatch, StoreError> {
        Ok(scrubbed(read_table(&self.layout.table(table), table)?))
    }

    pub fn table_if_present(&self, table: &'static Table) -> Result<Option<RecordBatch>, StoreError> {
        if self.layout.table(table).is_file() { self.table(table).map(Some) } else { Ok(None) }
    }

    pub fn vehicle_table(&self, table: &'static Table, vehicle: &str) -> Result<RecordBatch, StoreError> {
        Ok(scrubbed(read_table(&self.layout.vehicle_table(table, vehicle), table)?))
    }
}

fn scrubbed(batch: RecordBatch) -> RecordBatch {
    mapped(&batch, |_, text| figure::has_marks(text).then(|| figure::scrub(text).into_owned())).unwrap_or(batch)
}

/// The batch with texts changed, by column and text; nothing where no text is.
pub fn mapped(batch: &RecordBatch, change: impl Fn(&str, &str) -> Option<String>) -> Option<RecordBatch> {
    let schema = batch.schema();
    let mut changed = false;
    let columns: Vec<ArrayRef> = batch
        .columns()
        .iter()
        .zip(schema.fields())
        .map(|(column, field)| {
            let Some(texts) = column.as_any().downcast_ref::<StringArray>() else { return Arc::clone(column) };
            let new: Vec<Option<String>> = texts.iter().map(|text| change(field.name(), text?)).collect();
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
