//! Batches of a table from the few columns a check is about, and sums over their columns.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchView, Kind, Table, number_at};

/// Values of one column.
pub enum Cells<'a> {
    Numbers(Vec<Option<f64>>),
    Texts(Vec<Option<&'a str>>),
    Times(Vec<i64>),
}

/// A batch of a table: the columns given, the others null, or where that is not allowed zero, false and "-".
pub fn filled(table: &'static Table, rows: usize, cells: &[(&str, Cells<'_>)]) -> RecordBatch {
    for (name, _) in cells {
        assert!(table.column(name).is_some(), "table {} has no column {name}", table.name);
    }
    let mut builder = BatchBuilder::new(table);
    for column in table.columns {
        let name = column.name;
        let given = cells.iter().find(|(given, _)| *given == name).map(|(_, cells)| cells);
        let text = (!column.nullable()).then_some("-");
        builder = match (given, column.kind) {
            (Some(Cells::Numbers(values)), _) => builder.number(name, values.iter().copied()),
            (Some(Cells::Texts(values)), _) => builder.text(name, values.iter().copied()),
            (Some(Cells::Times(values)), _) => builder.time(name, values.iter().copied()),
            (None, Kind::F64) => builder.number(name, vec![(!column.nullable()).then_some(0.0); rows]),
            (None, Kind::Bool) => builder.flag(name, vec![(!column.nullable()).then_some(false); rows]),
            (None, Kind::Text) => builder.text(name, vec![text; rows]),
            (None, Kind::Time) => builder.time(name, vec![0; rows]),
            (None, Kind::U32) => builder.order(name, 0..rows as u32),
            (None, Kind::U64) => builder.count(name, 0..rows as u64),
        };
    }
    builder.finish().unwrap_or_else(|e| panic!("{e}"))
}

/// One value for each of one row's columns.
pub fn one(value: f64) -> Cells<'static> {
    Cells::Numbers(vec![Some(value)])
}

pub fn numbers(table: &'static Table, batch: &RecordBatch, name: &str) -> Vec<Option<f64>> {
    let array = BatchView::new(table, batch).numbers(name).unwrap_or_else(|e| panic!("{e}"));
    (0..batch.num_rows()).map(|row| number_at(array, row)).collect()
}

/// Sum of the known values of a column.
pub fn sum(table: &'static Table, batch: &RecordBatch, name: &str) -> f64 {
    numbers(table, batch, name).into_iter().flatten().sum()
}

/// The largest known value of a column.
pub fn largest(table: &'static Table, batch: &RecordBatch, name: &str) -> f64 {
    numbers(table, batch, name).into_iter().flatten().fold(f64::NEG_INFINITY, f64::max)
}
