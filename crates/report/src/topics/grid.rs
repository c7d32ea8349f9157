//! A table of the page and the terminal, built from rows by a list of columns.

use backwatt_schema::Table;

use super::rows::{Read, Row, UNKNOWN};
use super::units::Units;

/// Rows of one table on the page; the rest is in the CSV beside it.
const ROWS: usize = 60;

/// What a column holds, by which it is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    Figures,
    Words,
    /// Sentences: told once below the table, with a number in the cell.
    Remarks,
}

/// One column: its heading, whether the terminal shows it too, what it holds, and how a row fills it.
#[derive(Clone, Copy)]
pub struct Column {
    pub head: &'static str,
    pub on_terminal: bool,
    pub holds: Holds,
    pub cell: fn(&Row<'_>, Units) -> Read<String>,
}

/// A column of figures, on page and terminal.
pub const fn figure(head: &'static str, cell: fn(&Row<'_>, Units) -> Read<String>) -> Column {
    Column { head, on_terminal: true, holds: Holds::Figures, cell }
}

/// A column of words, on page and terminal.
pub const fn words(head: &'static str, cell: fn(&Row<'_>, Units) -> Read<String>) -> Column {
    Column { head, on_terminal: true, holds: Holds::Words, cell }
}

/// The same column on the page alone.
pub const fn page_only(column: Column) -> Column {
    Column { on_terminal: false, ..column }
}

/// Remarks on the rows, numbered below the table; page alone.
pub const fn remarks(head: &'static str, cell: fn(&Row<'_>, Units) -> Read<String>) -> Column {
    Column { head, on_terminal: false, holds: Holds::Remarks, cell }
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
    /// What the numbers in a column of remarks stand for, from 1 on.
    pub remarks: Vec<String>,
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
        let mut remarks = Vec::new();
        let mut filled = Vec::new();
        for row in rows.iter().take(ROWS) {
            let mut cells = Vec::new();
            for column in columns {
                let text = (column.cell)(row, units)?;
                let text = if column.holds == Holds::Remarks { numbered(&mut remarks, text) } else { text };
                cells.push(Cell { text, is_words: column.holds == Holds::Words });
            }
            filled.push(cells);
        }
        Ok(Self {
            caption: units.heading(&caption.into()),
            table: table.name,
            heads: columns
                .iter()
                .map(|column| Head {
                    text: units.heading(column.head),
                    on_terminal: column.on_terminal,
                    is_words: column.holds == Holds::Words,
                })
                .collect(),
            rows: filled,
            remarks,
            more: rows.len().saturating_sub(ROWS),
            is_detail: false,
        })
    }

    /// A column that takes more than its rows to fill, before the others: page and terminal.
    pub fn put_first(&mut self, head: &str, is_words: bool, cells: Vec<String>) {
        self.heads.insert(0, Head { text: head.to_owned(), on_terminal: true, is_words });
        for (row, text) in self.rows.iter_mut().zip(cells) {
            row.insert(0, Cell { text, is_words });
        }
    }

    /// A column of figures that takes more than its rows to fill, after the others; page alone.
    pub fn put_last(&mut self, head: &str, cells: Vec<String>) {
        self.heads.push(Head { text: head.to_owned(), on_terminal: false, is_words: false });
        for (row, text) in self.rows.iter_mut().zip(cells) {
            row.push(Cell { text, is_words: false });
        }
    }

    #[must_use]
    pub fn folded(mut self) -> Self {
        self.is_detail = true;
        self
    }
}

/// The number of a remark among those known; a new one is added.
fn numbered(remarks: &mut Vec<String>, text: String) -> String {
    if text.is_empty() || text == UNKNOWN {
        return String::new();
    }
    let known = remarks.iter().position(|remark| *remark == text);
    let at = known.unwrap_or_else(|| {
        remarks.push(text);
        remarks.len() - 1
    });
    (at + 1).to_string()
}
