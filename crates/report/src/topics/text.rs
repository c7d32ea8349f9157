//! The sections on a terminal, 80 columns wide.

use std::fmt::Write as _;

use comfy_table::{Cell as TableCell, CellAlignment, ContentArrangement, Table, presets};

use super::Topic;
use super::grid::Grid;
use crate::figure::plain;
use crate::text::{WIDTH, shortened, wrapped};

/// Rows of one table; the rest is in the CSV.
const ROWS: usize = 12;
/// Longest cell of words.
const WORDS: usize = 28;

pub fn text(topics: &[Topic]) -> String {
    let mut out = String::new();
    for topic in topics {
        let _ = writeln!(out, "{}\n{}", topic.heading, "-".repeat(topic.heading.chars().count()));
        let _ = writeln!(out, "{}", wrapped(topic.question));
        for told in topic.answer.iter().chain(&topic.missing) {
            let _ = writeln!(out, "{}", wrapped(&plain(told)));
        }
        for note in &topic.notes {
            let _ = writeln!(out, "{}", wrapped(note));
        }
        for grid in topic.grids.iter().filter(|grid| !grid.is_detail) {
            out.push('\n');
            out.push_str(&table(grid));
        }
        let _ = writeln!(out, "Method: notebooks-docs/method/{}\n", topic.method);
    }
    out
}

fn table(grid: &Grid) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_content_arrangement(ContentArrangement::Dynamic).set_width(WIDTH as u16);
    let shown = |at: &usize| grid.heads[*at].on_terminal;
    let columns: Vec<usize> = (0..grid.heads.len()).filter(shown).collect();
    let aligned = |text: String, is_words: bool| {
        let side = if is_words { CellAlignment::Left } else { CellAlignment::Right };
        TableCell::new(text).set_alignment(side)
    };
    table.set_header(columns.iter().map(|at| aligned(plain(&grid.heads[*at].text), grid.heads[*at].is_words)));
    for row in grid.rows.iter().take(ROWS) {
        table.add_row(
            columns.iter().map(|at| aligned(shortened(&plain(&row[*at].text), WORDS), row[*at].is_words)),
        );
    }
    let lines: Vec<String> = table.lines().map(|line| line.trim_end().to_owned()).collect();
    let more = grid.more + grid.rows.len().saturating_sub(ROWS);
    let rest = if more > 0 { format!("… {more} more in tables/{}.csv\n", grid.table) } else { String::new() };
    format!("{}\n{}\n{rest}", wrapped(&plain(&grid.caption)), lines.join("\n"))
}
