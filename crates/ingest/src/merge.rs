//! Rows of one instant made one: blanks are filled from the later row; a later row that says the same is a duplicate, and one
//! that contradicts is refused.

use crate::IngestError;
use crate::frame::{Frame, Row, mask};
use crate::rejects::{Refusal, RejectWriter};
use crate::signal::{FLAGS, NUMBERS, SIGNALS, TEXTS};
use crate::vehicle::Tallies;
use crate::window::Window;

/// Sorts by time and merges. What is refused and merged is told of the window's own rows.
pub fn sort_and_merge(
    frame: &Frame,
    window: &Window,
    tallies: &mut Tallies,
    rejects: &mut RejectWriter,
) -> Result<Frame, IngestError> {
    let mut order: Vec<usize> = (0..frame.len()).collect();
    let name = |at: usize| frame.pool.text(frame.file[at]).unwrap_or("");
    order.sort_by(|&a, &b| {
        (frame.time_ns[a], name(a), frame.line[a]).cmp(&(frame.time_ns[b], name(b), frame.line[b]))
    });
    let mut merged = Frame { pool: frame.pool.clone(), ..Frame::default() };
    let mut current: Option<Row> = None;
    for at in order {
        let row = frame.row(at);
        match &mut current {
            Some(kept) if kept.time_ns == row.time_ns => {
                let met = merge(kept, &row);
                if window.holds(row.time_ns) {
                    account(&met, name(at), &row, tallies, rejects)?;
                }
            }
            _ => {
                if let Some(kept) = current.replace(row) {
                    merged.push(&kept);
                }
            }
        }
    }
    if let Some(kept) = current {
        merged.push(&kept);
    }
    Ok(merged)
}

fn account(
    met: &Merge,
    file: &str,
    row: &Row,
    tallies: &mut Tallies,
    rejects: &mut RejectWriter,
) -> Result<(), IngestError> {
    let message = match met {
        Merge::Filled => {
            tallies.of(file).rows_merged += 1;
            return Ok(());
        }
        Merge::Same => "the same instant again, nothing new in it".to_owned(),
        Merge::Contradicts(signal) => format!("the same instant again with another {}", SIGNALS[*signal].name),
    };
    tallies.of(file).refuse_row("duplicate-time", row.line);
    rejects.push(Refusal {
        file: file.to_owned(),
        line: row.line,
        reason: "duplicate-time",
        cell: None,
        message,
        raw: None,
    })
}

#[derive(Clone, Copy)]
enum Merge {
    Filled,
    Same,
    Contradicts(usize),
}

fn merge(kept: &mut Row, row: &Row) -> Merge {
    let clash = (0..NUMBERS).find(|&i| {
        let (a, b) = (kept.numbers[i], row.numbers[i]);
        !a.is_nan() && !b.is_nan() && a != b
    });
    let text_clash =
        (0..TEXTS).find(|&i| kept.texts[i] != 0 && row.texts[i] != 0 && kept.texts[i] != row.texts[i]);
    let flag_clash =
        (0..FLAGS).find(|&i| matches!((kept.flags[i], row.flags[i]), (Some(a), Some(b)) if a != b));
    let clash = clash.or(flag_clash.map(|i| NUMBERS + i)).or(text_clash.map(|i| NUMBERS + FLAGS + i));
    if let Some(signal) = clash {
        return Merge::Contradicts(signal);
    }
    let mut filled = false;
    for i in 0..NUMBERS {
        if kept.numbers[i].is_nan() && !row.numbers[i].is_nan() {
            kept.numbers[i] = row.numbers[i];
            filled = true;
        }
    }
    for i in 0..FLAGS {
        if kept.flags[i].is_none() && row.flags[i].is_some() {
            kept.flags[i] = row.flags[i];
            filled = true;
        }
    }
    for i in 0..TEXTS {
        if kept.texts[i] == 0 && row.texts[i] != 0 {
            kept.texts[i] = row.texts[i];
            filled = true;
        }
    }
    if !filled {
        return Merge::Same;
    }
    kept.mask |= row.mask | mask::MERGED;
    Merge::Filled
}
