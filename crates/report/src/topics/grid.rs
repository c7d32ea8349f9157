//! A table of the page and the terminal, built from rows by a list of columns.

use backwatt_schema::Table;

use super::rows::{Read, Row, UNKNOWN};
use super::units::Units;

/// Rows of one table on the page; the rest is in the CSV beside it.
const ROWS: usize = 60;

/// Headings of remarks that say no more than that a remark is one.
const MERE_NOTES: [&str; 5] = ["", "note", "why", "how", "in words"];

/// What a column holds, by which it is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    Figures,
    Words,
    /// What rows that follow each other share: told once above them on the page, a column of words on the terminal.
    Shared,
    /// Sentences: told once below the table, with a number at the cell that carries notes. No column of their own.
    Remarks,
}

/// One column: its heading, whether the terminal shows it too, what it holds, and how a row fills it.
#[derive(Clone, Copy)]
pub struct Column {
    pub head: &'static str,
    pub on_terminal: bool,
    pub holds: Holds,
    /// True of the column at whose cells the numbers of the remarks stand; the first one where no column says so.
    pub carries_notes: bool,
    pub cell: fn(&Row<'_>, Units) -> Read<String>,
}

type Fill = fn(&Row<'_>, Units) -> Read<String>;

const fn column(head: &'static str, holds: Holds, cell: Fill) -> Column {
    Column { head, on_terminal: true, holds, carries_notes: false, cell }
}

/// A column of figures, on page and terminal.
pub const fn figure(head: &'static str, cell: Fill) -> Column {
    column(head, Holds::Figures, cell)
}

/// A column of words, on page and terminal.
pub const fn words(head: &'static str, cell: Fill) -> Column {
    column(head, Holds::Words, cell)
}

/// What rows that follow each other share.
pub const fn shared(head: &'static str, cell: Fill) -> Column {
    column(head, Holds::Shared, cell)
}

/// The same column on the page alone.
pub const fn page_only(column: Column) -> Column {
    Column { on_terminal: false, ..column }
}

/// The same column with the numbers of the remarks at its cells.
pub const fn noted(column: Column) -> Column {
    Column { carries_notes: true, ..column }
}

/// Remarks on the rows, numbered below the table; page alone.
pub const fn remarks(head: &'static str, cell: Fill) -> Column {
    Column { on_terminal: false, ..column(head, Holds::Remarks, cell) }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Head {
    pub text: String,
    pub on_terminal: bool,
    pub is_words: bool,
    /// Above the rows on the page, instead of in a column.
    pub is_shared: bool,
}

impl Head {
    pub fn figures(text: impl Into<String>) -> Self {
        Self { text: text.into(), on_terminal: true, is_words: false, is_shared: false }
    }

    pub fn words(text: impl Into<String>) -> Self {
        Self { is_words: true, ..Self::figures(text) }
    }

    #[must_use]
    pub fn page_only(self) -> Self {
        Self { on_terminal: false, ..self }
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    pub text: String,
    pub is_words: bool,
    /// Numbers of remarks, from 1 on.
    pub notes: Vec<usize>,
}

impl Cell {
    pub fn figures(text: impl Into<String>) -> Self {
        Self { text: text.into(), is_words: false, notes: Vec::new() }
    }

    pub fn words(text: impl Into<String>) -> Self {
        Self { is_words: true, ..Self::figures(text) }
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    pub caption: String,
    /// Of the CSV that holds all of it.
    pub table: &'static str,
    pub heads: Vec<Head>,
    pub rows: Vec<Vec<Cell>>,
    pub more: usize,
    /// What the numbers at the cells stand for, from 1 on.
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
        let own: Vec<&Column> = columns.iter().filter(|column| column.holds != Holds::Remarks).collect();
        let carrier = own
            .iter()
            .position(|column| column.carries_notes)
            .or_else(|| own.iter().position(|column| column.holds != Holds::Shared));
        let mut remarks = Vec::new();
        let mut filled = Vec::new();
        for row in rows.iter().take(ROWS) {
            let mut cells = Vec::new();
            for column in &own {
                let text = (column.cell)(row, units)?;
                cells.push(Cell { is_words: column.holds != Holds::Figures, ..Cell::figures(text) });
            }
            for column in columns.iter().filter(|column| column.holds == Holds::Remarks) {
                let number = numbered(&mut remarks, column.head, (column.cell)(row, units)?);
                if let Some(cell) = carrier.and_then(|at| cells.get_mut(at)) {
                    cell.notes.extend(number);
                }
            }
            filled.push(cells);
        }
        let heads = own.iter().map(|column| Head {
            text: units.heading(column.head),
            on_terminal: column.on_terminal,
            is_words: column.holds != Holds::Figures,
            is_shared: column.holds == Holds::Shared,
        });
        let more = rows.len().saturating_sub(ROWS);
        let mut grid = Self::made(units.heading(&caption.into()), table, heads.collect(), filled);
        grid.drop_empty();
        Ok(Self { remarks, more, ..grid })
    }

    /// Without the figures of which no row has any: the files hold those columns too.
    fn drop_empty(&mut self) {
        let is_empty = |text: &str| text.chars().all(|c| matches!(c, '–' | ' ' | ',' | '(' | ')'));
        for at in (0..self.heads.len()).rev() {
            let none = self.rows.iter().all(|row| is_empty(&row[at].text) && row[at].notes.is_empty());
            if none && !self.rows.is_empty() && !self.heads[at].is_words {
                self.heads.remove(at);
                self.rows.iter_mut().for_each(|row| {
                    row.remove(at);
                });
            }
        }
    }

    /// A table whose cells come from several rows each.
    pub fn made(
        caption: impl Into<String>,
        table: &'static Table,
        heads: Vec<Head>,
        mut rows: Vec<Vec<Cell>>,
    ) -> Self {
        let more = rows.len().saturating_sub(ROWS);
        rows.truncate(ROWS);
        Self {
            caption: caption.into(),
            table: table.name,
            heads,
            rows,
            more,
            remarks: Vec::new(),
            is_detail: false,
        }
    }

    /// A column that takes more than its rows to fill, before the others: page and terminal.
    pub fn put_first(&mut self, head: &str, is_words: bool, cells: Vec<String>) {
        self.heads.insert(0, Head { text: head.to_owned(), on_terminal: true, is_words, is_shared: false });
        for (row, text) in self.rows.iter_mut().zip(cells) {
            row.insert(0, Cell { text, is_words, notes: Vec::new() });
        }
    }

    /// A column of figures that takes more than its rows to fill, after the others; page alone.
    pub fn put_last(&mut self, head: &str, cells: Vec<String>) {
        self.heads.push(Head { text: head.to_owned(), on_terminal: false, is_words: false, is_shared: false });
        for (row, text) in self.rows.iter_mut().zip(cells) {
            row.push(Cell { text, is_words: false, notes: Vec::new() });
        }
    }

    #[must_use]
    pub fn folded(mut self) -> Self {
        self.is_detail = true;
        self
    }
}

/// The number of a remark among those known; a new one is added. None where nothing is remarked.
fn numbered(remarks: &mut Vec<String>, head: &str, text: String) -> Option<usize> {
    if text.is_empty() || text == UNKNOWN {
        return None;
    }
    let text = if MERE_NOTES.contains(&head) { text } else { format!("{head}: {text}") };
    let known = remarks.iter().position(|remark| *remark == text);
    let at = known.unwrap_or_else(|| {
        remarks.push(text);
        remarks.len() - 1
    });
    Some(at + 1)
}
