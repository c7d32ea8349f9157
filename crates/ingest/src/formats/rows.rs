//! Rows out of lines: a quoted field may run over several, but never over the rest of the file.

use std::collections::VecDeque;
use std::io::{self, BufRead};

use super::RowText;
use super::fields::{Fields, Split};
use super::lines::{Lines, Pulled};

/// A quoted field may run over this many lines; beyond, the opening quote is taken for a fault.
const QUOTED_LINES: usize = 50;

/// Reads rows, putting lines that were taken on trust back when the trust was misplaced.
pub struct Rows<R> {
    lines: Lines<R>,
    waiting: VecDeque<Pulled>,
    delimiter: u8,
}

impl<R: BufRead> Rows<R> {
    /// `line`: lines already read.
    pub fn new(reader: R, line: u64, delimiter: u8) -> Self {
        Self { lines: Lines::new(reader, line), waiting: VecDeque::new(), delimiter }
    }

    /// The next row that is not blank.
    pub fn next(&mut self, fields: &mut Fields) -> io::Result<RowText> {
        loop {
            let (line, raw) = match self.pull()? {
                Pulled::End => return Ok(RowText::End),
                Pulled::Refused(refused) => return Ok(refused),
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
            let pulled = match self.pull() {
                Ok(pulled) => pulled,
                Err(fault) => {
                    self.lines.fail(fault);
                    break;
                }
            };
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
        self.waiting.pop_front().map_or_else(|| self.lines.next(), Ok)
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
