//! A table of the page and the terminal, built from rows by a list of columns.

use backwatt_schema::Table;

use super::rows::{Read, Row};
use super::units::Units;

/// Rows of one table on the page; the rest is in the CSV beside it.
const ROWS: usize = 60;

/// One column: its heading, whether the terminal shows it too, whether it holds words, and how a row fills it.
pub struct Column {
    pub head: &'static str,
    pub on_terminal: bool,
    pub is_words: bool,
    pub cell: fn(&Row<'_>, Units) -> Read<String>,
}

/// A column of figures, on page and terminal.
pub const fn figure(head: &'static str, cell: fn(&Row<'_>, Units) -> Read<String>) -> Column {
    Column { head, on_terminal: true, is_words: false, cell }
}

/// A column of words, on page and terminal.
pub const fn words(head: &'static str, cell: fn(&Row<'_>, Units) -> Read<String>) -> Column {
    Column { head, on_terminal: true, is_words: true, cell }
}

/// The same column on the page alone.
pub const fn page_only(column: Column) -> Column {
    Column { on_terminal: false, ..column }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Head {
    pub text: String,
    pub on_terminal: bool,
    pub is_words: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    pub text: String,
    pub is_words: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    pub caption: String,
    /// Of the CSV that holds all of it.
    pub table: &'static str,
    pub heads: Vec<Head>,
    pub rows: Vec<Vec<Cell>>,
    pub more: usize,
    /// Folded on the page and left out on the terminal.
    pub is_detail: bool,
}

impl Grid {
    pub fn new(
        caption: impl Into<String>,
        table: &'static Table,
        rows: &[Row<'_>],
        columns: &[Column],
        units: Units,
    ) -> Read<Self> {
        let cells = |row: &Row<'_>| -> Read<Vec<Cell>> {
            let cell =
                |column: &Column| Ok(Cell { text: (column.cell)(row, units)?, is_words: column.is_words });
            columns.iter().map(cell).collect()
        };
        Ok(Self {
            caption: units.heading(&caption.into()),
            table: table.name,
            heads: columns
                .iter()
                .map(|column| Head {
                    text: units.heading(column.head),
                    on_terminal: column.on_terminal,
                    is_words: column.is_words,
                })
                .collect(),
            rows: rows.iter().take(ROWS).map(cells).collect::<Read<_>>()?,
            more: rows.len().saturating_sub(ROWS),
            is_detail: false,
        })
    }

    #[must_use]
    pub fn as_detail(mut self) -> Self {
        self.is_detail = true;
        self
    }
}
