use std::path::PathBuf;

use arrow::array::RecordBatch;
use arrow::compute::concat_batches;
use backwatt_schema::{BatchView, Table as Described, number_at, text_at};
use backwatt_store::read_table;

/// A table in memory, for tests: columns by name, panicking where a test names a wrong one.
pub struct Table {
    described: &'static Described,
    pub batch: RecordBatch,
}

impl Table {
    pub fn new(batch: RecordBatch, described: &'static Described) -> Self {
        Self { described, batch }
    }

    pub fn read(paths: &[PathBuf], described: &'static Described) -> Self {
        let batches: Vec<RecordBatch> =
            paths.iter().map(|path| read_table(path, described).unwrap_or_else(|e| panic!("{e}"))).collect();
        let batch = concat_batches(&described.schema(), &batches).unwrap_or_else(|e| panic!("{e}"));
        Self::new(batch, described)
    }

    pub fn rows(&self) -> usize {
        self.batch.num_rows()
    }

    fn view(&self) -> BatchView<'_> {
        BatchView::new(self.described, &self.batch)
    }

    pub fn numbers(&self, name: &str) -> Vec<Option<f64>> {
        let array = self.view().numbers(name).unwrap_or_else(|e| panic!("{e}"));
        (0..self.rows()).map(|row| number_at(array, row)).collect()
    }

    pub fn counts(&self, name: &str) -> Vec<u64> {
        let array = self.view().counts(name).unwrap_or_else(|e| panic!("{e}"));
        (0..self.rows()).map(|row| array.value(row)).collect()
    }

    /// False where a flag is null.
    pub fn flags(&self, name: &str) -> Vec<bool> {
        let array = self.view().flags(name).unwrap_or_else(|e| panic!("{e}"));
        array.iter().map(|flag| flag.unwrap_or(false)).collect()
    }

    pub fn texts(&self, name: &str) -> Vec<Option<String>> {
        let array = self.view().texts(name).unwrap_or_else(|e| panic!("{e}"));
        (0..self.rows()).map(|row| text_at(array, row).map(str::to_owned)).collect()
    }

    pub fn times(&self, name: &str) -> Vec<i64> {
        let array = self.view().times(name).unwrap_or_else(|e| panic!("{e}"));
        array.values().to_vec()
    }

    /// Sum of the known values of a column.
    pub fn sum(&self, name: &str) -> f64 {
        self.numbers(name).into_iter().flatten().sum()
    }

    /// Sum over the rows whose text column has this value.
    pub fn sum_where(&self, name: &str, column: &str, value: &str) -> f64 {
        let rows = self.texts(column);
        self.numbers(name)
            .into_iter()
            .zip(rows)
            .filter(|(_, text)| text.as_deref() == Some(value))
            .filter_map(|(number, _)| number)
            .sum()
    }
}

/// Asserts agreement to a tolerance in the quantity's own unit.
#[track_caller]
pub fn close(what: &str, got: f64, expected: f64, tolerance: f64) {
    assert!(
        (got - expected).abs() <= tolerance,
        "{what}: got {got}, expected {expected} +- {tolerance} (off by {:e})",
        got - expected
    );
}

/// Asserts agreement to a share of the expected value.
#[track_caller]
pub fn within(what: &str, got: f64, expected: f64, share: f64) {
    close(what, got, expected, share * expected.abs());
}
