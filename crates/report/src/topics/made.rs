//! Rows for tests: the cells that matter, everything else as little as the column allows.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanArray, Float64Array, RecordBatch, StringArray, TimestampNanosecondArray, UInt32Array,
    UInt64Array,
};
use backwatt_schema::{BatchBuilder, Kind, Table};

/// A cell as it would be typed.
pub type Typed<'a> = &'a [(&'a str, &'a str)];

/// A table of which each row states some cells.
pub fn batch(table: &'static Table, rows: &[Typed<'_>]) -> RecordBatch {
    let mut builder = BatchBuilder::new(table);
    for column in table.columns {
        let stated = |row: &Typed<'_>| {
            row.iter().find(|(name, _)| *name == column.name).map(|(_, text)| (*text).to_owned())
        };
        let cells: Vec<Option<String>> = rows.iter().map(stated).collect();
        let least = |text: &str| (!column.nullable()).then(|| text.to_owned());
        let each = |text: &'static str| cells.iter().map(move |cell| cell.clone().or_else(|| least(text)));
        let array: ArrayRef = match column.kind {
            Kind::F64 => Arc::new(
                each("0").map(|cell| cell.and_then(|cell| cell.parse().ok())).collect::<Float64Array>(),
            ),
            Kind::U32 => {
                Arc::new(each("0").map(|cell| cell.and_then(|cell| cell.parse().ok())).collect::<UInt32Array>())
            }
            Kind::U64 => {
                Arc::new(each("0").map(|cell| cell.and_then(|cell| cell.parse().ok())).collect::<UInt64Array>())
            }
            Kind::Bool => Arc::new(
                each("false").map(|cell| cell.and_then(|cell| cell.parse().ok())).collect::<BooleanArray>(),
            ),
            Kind::Text => Arc::new(each("").collect::<StringArray>()),
            Kind::Time => Arc::new(
                each("0")
                    .map(|cell| cell.and_then(|cell| cell.parse().ok()))
                    .collect::<TimestampNanosecondArray>()
                    .with_timezone("UTC"),
            ),
        };
        builder = builder.array(column.name, array);
    }
    builder.finish().expect("a batch of the table's columns")
}
