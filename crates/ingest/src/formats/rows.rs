//! Rows out of lines: a quoted field may run over several, but never over the rest of the file.

use std::collections::VecDeque;
use std::io::{self, BufRead};

use super::RowText;
use super::fields::{Fields, Split};
use super::lines::{Line, next_line};

/// A quoted field may run over this many lines; beyond, the opening quote is taken for a fault.
const QUOTED_LINES: usize = 50;

enum Pulled {
    Line(u64, Vec<u8>),
    TooLong(u64, Vec<u8>),
    /// Reading stopped inside this line; why stands in `Rows::fault`.
    Cut(u64, Vec<u8>),
    End,
}

/// Reads rows, putting lines that were taken on trust back when the trust was misplaced.
pub struct Rows<R> {
    reader: R,
    waiting: VecDeque<Pulled>,
    line: u64,
    delimiter: u8,
    fault: Option<io::Error>,
}

impl<R: BufRead> Rows<R> {
    /// `line`: lines already read.
    pub fn new(reader: R, line: u64, delimiter: u8) -> Self {
        Self { reader, waiting: VecDeque::new(), line, delimiter, fault: None }
    }

    /// The next row that is not blank.
    pub fn next(&mut self, fields: &mut Fields) -> io::Result<RowText> {
        loop {
            let (line, raw) = match self.pull()? {
                Pulled::End => return Ok(RowText::End),
                Pulled::TooLong(line, raw) => {
                    let message = "the line is longer than 1 MiB".into();
                    return Ok(RowText::Refused { line, raw, reason: "line-too-long", message });
                }
                Pulled::Cut(line, raw) => {
                    let message = "reading stopped inside this row".into();
                    return Ok(RowText::Refused { line, raw, reason: "row-cut-short", message });
                }
                Pulled::Line(_, raw) if raw.iter().all(u8::is_ascii_whitespace) => continue,
                Pulled::Line(line, raw) => (line, raw),
            };
            return match fields.split(&raw, self.delimiter) {
                Split::Whole => Ok(RowText::Row { line, raw }),
                Split::Malformed => {
                    let message = "text follows a closing quote".into();
                    Ok(RowText::Refused { line, raw, reason: "stray-quote", message })
                }
                Split::Open => self.join(line, raw, fields),
            };
        }
    }

    /// Takes further lines until the quoted field ends. Where it does not, only the first line is refused and the
    /// others are rows of their own again.
    fn join(&mut self, line: u64, first: Vec<u8>, fields: &mut Fields) -> io::Result<RowText> {
        let mut taken = Vec::new();
        let mut whole = first.clone();
        while taken.len() < QUOTED_LINES {
            let pulled = self.pull()?;
            let Pulled::Line(_, more) = &pulled else {
                taken.push(pulled);
                break;
            };
            whole.push(b'\n');
            whole.extend_from_slice(more);
            taken.push(pulled);
            match fields.split(&whole, self.delimiter) {
                Split::Whole => return Ok(RowText::Row { line, raw: whole }),
                Split::Malformed => break,
                Split::Open => {}
            }
        }
        for pulled in taken.into_iter().rev() {
            self.waiting.push_front(pulled);
        }
        let message = "a quoted field does not end".into();
        Ok(RowText::Refused { line, raw: first, reason: "unclosed-quote", message })
    }

    fn pull(&mut self) -> io::Result<Pulled> {
        if let Some(waiting) = self.waiting.pop_front() {
            return Ok(waiting);
        }
        if let Some(fault) = self.fault.take() {
            return Err(fault);
        }
        let mut buffer = Vec::new();
        let line = match next_line(&mut self.reader, &mut buffer) {
            Ok(line) => line,
            Err(fault) if buffer.is_empty() => return Err(fault),
            Err(fault) => {
                self.fault = Some(fault);
                self.line += 1;
                return Ok(Pulled::Cut(self.line, buffer));
            }
        };
        self.line += 1;
        Ok(match line {
            Line::End => Pulled::End,
            Line::TooLong => Pulled::TooLong(self.line, buffer),
            Line::Whole { .. } => Pulled::Line(self.line, buffer),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each row or refusal as "line text" or "line! text".
    fn rows(text: &str) -> Vec<String> {
        let mut rows = Rows::new(text.as_bytes(), 0, b',');
        let mut fields = Fields::default();
        let mut seen = Vec::new();
        loop {
            match rows.next(&mut fields).unwrap() {
                RowText::End => return seen,
                RowText::Row { line, raw } => seen.push(format!("{line} {}", String::from_utf8(raw).unwrap())),
                RowText::Refused { line, raw, .. } => {
                    seen.push(format!("{line}! {}", String::from_utf8(raw).unwrap()));
                }
            }
        }
    }

    #[test]
    fn a_field_over_two_lines_is_one_row_even_at_the_end() {
        assert_eq!(rows("a,\"b\nc\",d\ne,f"), ["1 a,\"b\nc\",d", "3 e,f"]);
        assert_eq!(rows("a,\"b\nc\""), ["1 a,\"b\nc\""]);
    }

    #[test]
    fn a_stray_quote_costs_its_own_line_only() {
        assert_eq!(rows("1,\"Ana,11\n2,\"Bob\",12\n3,x,4\n"), ["1! 1,\"Ana,11", "2 2,\"Bob\",12", "3 3,x,4"]);
        assert_eq!(rows("a,\"b\nc,d\n"), ["1! a,\"b", "2 c,d"]);
    }
}
