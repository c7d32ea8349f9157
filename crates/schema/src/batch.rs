//! Arrow batches by table: built column by column in any order, read by name.

use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, BooleanArray, Float64Array, RecordBatch, StringArray, TimestampNanosecondArray,
    UInt32Array, UInt64Array,
};

use crate::{Column, Kind, Table};

/// A batch that does not match its table. Met only with files of another version, or through a bug of ours.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BatchError {
    #[error("table {table} has no column \"{column}\"")]
    NoColumn { table: String, column: String },
    #[error("column \"{column}\" of table {table} has another type than this version of the program expects")]
    WrongType { table: String, column: String },
    #[error("column \"{column}\" of table {table} was not filled")]
    NotFilled { table: String, column: String },
    #[error("table {table}: {message}")]
    Arrow { table: String, message: String },
}

/// Collects the columns of one table and checks that none is missing.
pub struct BatchBuilder {
    table: &'static Table,
    columns: Vec<Option<ArrayRef>>,
    fault: Option<BatchError>,
}

impl BatchBuilder {
    pub fn new(table: &'static Table) -> Self {
        Self { table, columns: vec![None; table.columns.len()], fault: None }
    }

    #[must_use]
    pub fn number(self, name: &str, values: impl IntoIterator<Item = impl Into<Option<f64>>>) -> Self {
        let array: Float64Array = values.into_iter().map(Into::into).collect();
        self.put(name, Kind::F64, Arc::new(array))
    }

    #[must_use]
    pub fn order(self, name: &str, values: impl IntoIterator<Item = u32>) -> Self {
        self.put(name, Kind::U32, Arc::new(UInt32Array::from_iter_values(values)))
    }

    #[must_use]
    pub fn count(self, name: &str, values: impl IntoIterator<Item = impl Into<Option<u64>>>) -> Self {
        let array: UInt64Array = values.into_iter().map(Into::into).collect();
        self.put(name, Kind::U64, Arc::new(array))
    }

    #[must_use]
    pub fn flag(self, name: &str, values: impl IntoIterator<Item = impl Into<Option<bool>>>) -> Self {
        let array: BooleanArray = values.into_iter().map(Into::into).collect();
        self.put(name, Kind::Bool, Arc::new(array))
    }

    #[must_use]
    pub fn text<'t>(self, name: &str, values: impl IntoIterator<Item = Option<&'t str>>) -> Self {
        let array: StringArray = values.into_iter().collect();
        self.put(name, Kind::Text, Arc::new(array))
    }

    #[must_use]
    pub fn time(self, name: &str, values: impl IntoIterator<Item = i64>) -> Self {
        let array = TimestampNanosecondArray::from_iter_values(values).with_timezone("UTC");
        self.put(name, Kind::Time, Arc::new(array))
    }

    #[must_use]
    pub fn array(self, name: &str, array: ArrayRef) -> Self {
        match self.table.column(name).map(|c| c.kind) {
            Some(kind) => self.put(name, kind, array),
            None => self.put(name, Kind::F64, array),
        }
    }

    pub fn finish(self) -> Result<RecordBatch, BatchError> {
        if let Some(fault) = self.fault {
            return Err(fault);
        }
        let table = self.table.name.to_owned();
        let mut arrays = Vec::with_capacity(self.columns.len());
        for (column, array) in self.table.columns.iter().zip(self.columns) {
            let missing = || BatchError::NotFilled { table: table.clone(), column: column.name.to_owned() };
            arrays.push(array.ok_or_else(missing)?);
        }
        RecordBatch::try_new(self.table.schema(), arrays)
            .map_err(|error| BatchError::Arrow { table, message: error.to_string() })
    }

    fn put(mut self, name: &str, kind: Kind, array: ArrayRef) -> Self {
        let table = self.table.name.to_owned();
        match self.table.columns.iter().position(|c: &Column| c.name == name) {
            Some(at) if self.table.columns[at].kind == kind => self.columns[at] = Some(array),
            Some(_) => self.fault = Some(BatchError::WrongType { table, column: name.to_owned() }),
            None => self.fault = Some(BatchError::NoColumn { table, column: name.to_owned() }),
        }
        self
    }
}

/// Reads the columns of one batch by name, with the table named in every error.
#[derive(Clone, Copy)]
pub struct BatchView<'a> {
    table: &'a str,
    batch: &'a RecordBatch,
}

impl<'a> BatchView<'a> {
    pub fn new(table: &'static Table, batch: &'a RecordBatch) -> Self {
        Self { table: table.name, batch }
    }

    pub fn rows(&self) -> usize {
        self.batch.num_rows()
    }

    pub fn numbers(&self, name: &str) -> Result<&'a Float64Array, BatchError> {
        self.typed(name)
    }

    pub fn flags(&self, name: &str) -> Result<&'a BooleanArray, BatchError> {
        self.typed(name)
    }

    pub fn texts(&self, name: &str) -> Result<&'a StringArray, BatchError> {
        self.typed(name)
    }

    pub fn orders(&self, name: &str) -> Result<&'a UInt32Array, BatchError> {
        self.typed(name)
    }

    pub fn counts(&self, name: &str) -> Result<&'a UInt64Array, BatchError> {
        self.typed(name)
    }

    pub fn times(&self, name: &str) -> Result<&'a TimestampNanosecondArray, BatchError> {
        self.typed(name)
    }

    fn typed<A: Array + 'static>(&self, name: &str) -> Result<&'a A, BatchError> {
        let fault = |wrong: bool| {
            let (table, column) = (self.table.to_owned(), name.to_owned());
            if wrong { BatchError::WrongType { table, column } } else { BatchError::NoColumn { table, column } }
        };
        let array = self.batch.column_by_name(name).ok_or_else(|| fault(false))?;
        array.as_any().downcast_ref::<A>().ok_or_else(|| fault(true))
    }
}

/// The value of one cell, or `None` where it is null.
pub fn number_at(array: &Float64Array, row: usize) -> Option<f64> {
    array.is_valid(row).then(|| array.value(row))
}

/// The text of one cell, or `None` where it is null.
pub fn text_at(array: &StringArray, row: usize) -> Option<&str> {
    array.is_valid(row).then(|| array.value(row))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::STOPS;

    #[test]
    fn a_forgotten_column_is_named() {
        let fault = BatchBuilder::new(&STOPS).text("vehicle_id", [Some("T1")]).finish().unwrap_err();
        assert_eq!(fault, BatchError::NotFilled { table: "stops".into(), column: "trip_id".into() });
    }

    #[test]
    fn a_wrong_type_is_named() {
        let fault = BatchBuilder::new(&STOPS).number("vehicle_id", [1.0]).finish().unwrap_err();
        assert_eq!(fault, BatchError::WrongType { table: "stops".into(), column: "vehicle_id".into() });
    }
}
