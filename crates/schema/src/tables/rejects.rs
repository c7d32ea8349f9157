use crate::column::{Column, Table, count, text};

/// Everything that was refused, so that nothing is lost.
pub static REJECTS: Table = Table {
    name: "rejects",
    version: 1,
    one_row_is: "one refused row, or one refused cell of a row that was kept",
    sorted_by: "source_file, source_line",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 8] = [
    text("source_file", "", "file, relative to the pilot file"),
    count("source_line", "", "line, counted from 1, preamble and header included"),
    text("scope", "", "row: the whole row was refused; cell: one cell was, the rest was kept"),
    text("reason", "", "code of the rule that refused it"),
    text("column", "the reason concerns the row", "column of the log"),
    text("value", "the reason concerns the row", "the text that was refused, at most 200 characters of it"),
    text("message", "", "what happened"),
    text("raw", "the scope is a cell", "the row as it stood, at most 2000 characters of it"),
];
