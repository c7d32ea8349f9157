//! The data dictionary, generated from the tables so that it cannot fall behind.

use std::fmt::Write as _;

use crate::{Column, Kind, tables};

/// The dictionary as Markdown.
pub fn markdown() -> String {
    let mut out = String::from(
        "# Data dictionary\n\nGenerated from `crates/schema` by `scripts/generate-reference`; do not edit.\n\
         Every table is Parquet, zstd, with unit and meaning in the field metadata.\n",
    );
    for table in tables::ALL {
        let _ = write!(
            out,
            "\n## {}\n\nVersion {}. One row is {}. Sorted by {}.\n\n\
             | column | type | unit | null | range, sign | meaning |\n|---|---|---|---|---|---|\n",
            table.name, table.version, table.one_row_is, table.sorted_by
        );
        for column in table.columns {
            let _ = writeln!(out, "{}", row(column));
        }
    }
    out
}

fn row(column: &Column) -> String {
    let kind = match column.kind {
        Kind::F64 => "float64",
        Kind::U32 => "uint32",
        Kind::U64 => "uint64",
        Kind::Bool => "boolean",
        Kind::Text => "text",
        Kind::Time => "timestamp ns UTC",
    };
    let null = if column.nullable() { column.null } else { "never" };
    format!(
        "| `{}` | {} | {} | {} | {} | {} |",
        column.name, kind, column.unit, null, column.sign, column.meaning
    )
}
