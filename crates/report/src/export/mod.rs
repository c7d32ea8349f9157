//! Tables as CSV, safe to open in a spreadsheet, as JSON, as GeoJSON.

mod geojson;

use std::io::Write;

use arrow::array::{
    Array, BooleanArray, Float64Array, RecordBatch, StringArray, TimestampNanosecondArray, UInt32Array,
    UInt64Array,
};
use backwatt_schema::{Kind, Table};

pub use geojson::{SHAPED, geojson};

/// Writes a batch as CSV (RFC 4180): names as header, UTC times, empty cells for null.
pub fn csv(out: &mut dyn Write, table: &Table, batches: &[RecordBatch]) -> std::io::Result<()> {
    let header: Vec<&str> = table.columns.iter().map(|column| column.name).collect();
    writeln!(out, "{}", header.join(","))?;
    for batch in batches {
        for row in 0..batch.num_rows() {
            let cells: Vec<String> = table
                .columns
                .iter()
                .zip(batch.columns())
                .map(|(column, array)| cell(array.as_ref(), column.kind, row))
                .collect();
            writeln!(out, "{}", cells.join(","))?;
        }
    }
    Ok(())
}

/// Writes batches as JSON: an array with an object for each row, null for null, UTC times.
pub fn json(out: &mut dyn Write, table: &Table, batches: &[RecordBatch]) -> std::io::Result<()> {
    out.write_all(b"[")?;
    let mut is_first = true;
    for batch in batches {
        for row in 0..batch.num_rows() {
            out.write_all(if is_first { b"\n" } else { b",\n" })?;
            is_first = false;
            let pairs = table.columns.iter().zip(batch.columns());
            let object: serde_json::Map<String, serde_json::Value> = pairs
                .map(|(column, array)| (column.name.to_owned(), value(array.as_ref(), column.kind, row)))
                .collect();
            serde_json::to_writer(&mut *out, &object)?;
        }
    }
    out.write_all(b"\n]\n")
}

fn value(array: &dyn Array, kind: Kind, row: usize) -> serde_json::Value {
    if array.is_null(row) {
        return serde_json::Value::Null;
    }
    let any = array.as_any();
    let value = match kind {
        Kind::F64 => any.downcast_ref::<Float64Array>().map(|a| a.value(row).into()),
        Kind::U32 => any.downcast_ref::<UInt32Array>().map(|a| a.value(row).into()),
        Kind::U64 => any.downcast_ref::<UInt64Array>().map(|a| a.value(row).into()),
        Kind::Bool => any.downcast_ref::<BooleanArray>().map(|a| a.value(row).into()),
        Kind::Text => any.downcast_ref::<StringArray>().map(|a| a.value(row).into()),
        Kind::Time => any.downcast_ref::<TimestampNanosecondArray>().map(|a| time(a.value(row)).into()),
    };
    value.unwrap_or(serde_json::Value::Null)
}

fn cell(array: &dyn Array, kind: Kind, row: usize) -> String {
    if array.is_null(row) {
        return String::new();
    }
    let any = array.as_any();
    let text = match kind {
        Kind::F64 => any.downcast_ref::<Float64Array>().map(|a| a.value(row).to_string()),
        Kind::U32 => any.downcast_ref::<UInt32Array>().map(|a| a.value(row).to_string()),
        Kind::U64 => any.downcast_ref::<UInt64Array>().map(|a| a.value(row).to_string()),
        Kind::Bool => any.downcast_ref::<BooleanArray>().map(|a| a.value(row).to_string()),
        Kind::Text => any.downcast_ref::<StringArray>().map(|a| quoted(a.value(row))),
        Kind::Time => any.downcast_ref::<TimestampNanosecondArray>().map(|a| time(a.value(row))),
    };
    text.unwrap_or_default()
}

/// Nanoseconds as RFC 3339 in UTC, with as many decimals as it takes.
fn time(nanoseconds: i64) -> String {
    let moment = arrow::temporal_conversions::timestamp_ns_to_datetime(nanoseconds);
    moment.map_or_else(String::new, |moment| format!("{}Z", moment.format("%Y-%m-%dT%H:%M:%S%.f")))
}

/// A text a spreadsheet would take for a formula is made plain with an apostrophe; quotes are doubled.
pub fn quoted(text: &str) -> String {
    // Some spreadsheets take the full-width signs for the plain ones, and pass over blanks before them.
    let first = text.trim_start_matches([' ', '\u{a0}', '\u{feff}', '\0']);
    let risky = text.starts_with(['\t', '\r', '\n'])
        || first.starts_with(['=', '+', '-', '@', '|', '%', '＝', '＋', '－', '＠']);
    let body = if risky { format!("'{text}") } else { text.to_owned() };
    if body.contains([',', '"', '\n', '\r']) || risky {
        format!("\"{}\"", body.replace('"', "\"\""))
    } else {
        body
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_made_plain() {
        assert_eq!(quoted("=1+1"), "\"'=1+1\"");
        assert_eq!(quoted("a,\"b\""), "\"a,\"\"b\"\"\"");
        assert_eq!(quoted("Ana"), "Ana");
        for risky in [" =1", "\n=1", "\u{feff}@SUM(A1)", "＝1", "|calc"] {
            assert!(quoted(risky).starts_with("\"'"), "{risky:?}");
        }
    }

    #[test]
    fn times_are_utc() {
        assert_eq!(time(1_627_271_607_500_000_000), "2021-07-26T03:53:27.500Z");
    }
}
