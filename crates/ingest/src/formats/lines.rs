//! Lines of a text, bounded in length: a file without a newline must not eat the memory.

use std::io::{self, BufRead};

use super::RowText;

/// Longest line that is read; anything longer is refused as a row.
pub const LINE_LIMIT_BYTES: usize = 1 << 20;

/// A line with its number, or why it is none.
pub enum Pulled {
    Line(u64, Vec<u8>),
    /// Too long, or reading stopped inside it.
    Refused(RowText),
    End,
}

/// Numbered lines. Where reading stops inside a line, what was read of it is refused first and the error told next.
pub struct Lines<R> {
    reader: R,
    line: u64,
    fault: Option<io::Error>,
}

impl<R: BufRead> Lines<R> {
    /// `line`: lines already read.
    pub fn new(reader: R, line: u64) -> Self {
        Self { reader, line, fault: None }
    }

    /// Tells this error at the next call: it came where it could not be told.
    pub fn fail(&mut self, fault: io::Error) {
        self.fault = Some(fault);
    }

    pub fn next(&mut self) -> io::Result<Pulled> {
        if let Some(fault) = self.fault.take() {
            return Err(fault);
        }
        let mut raw = Vec::new();
        let met = next_line(&mut self.reader, &mut raw);
        let line = self.line + 1;
        let refused = |raw, reason, message: &'static str| {
            Pulled::Refused(RowText::Refused { line, raw, reason, message: message.into() })
        };
        let pulled = match met {
            Ok(Line::End) => return Ok(Pulled::End),
            Ok(Line::Whole { .. }) => Pulled::Line(line, raw),
            Ok(Line::TooLong) => refused(raw, "line-too-long", "the line is longer than 1 MiB"),
            Err(fault) if raw.is_empty() => return Err(fault),
            Err(fault) => {
                self.fault = Some(fault);
                refused(raw, "row-cut-short", "reading stopped inside this row")
            }
        };
        self.line = line;
        Ok(pulled)
    }
}

#[derive(Debug, PartialEq, Eq)]
pub enum Line {
    /// A line, without its ending; `ended` is false for a last line that has no newline.
    Whole {
        ended: bool,
    },
    /// A line beyond the limit: its start was kept, the rest skipped.
    TooLong,
    End,
}

/// Reads the next line into `buffer`.
pub fn next_line(reader: &mut impl BufRead, buffer: &mut Vec<u8>) -> io::Result<Line> {
    buffer.clear();
    let mut too_long = false;
    loop {
        let chunk = match reader.fill_buf() {
            Ok(chunk) => chunk,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(error),
        };
        if chunk.is_empty() {
            return Ok(match (too_long, buffer.is_empty()) {
                (true, _) => Line::TooLong,
                (false, true) => Line::End,
                (false, false) => Line::Whole { ended: false },
            });
        }
        let newline = memchr::memchr(b'\n', chunk);
        let taken = newline.unwrap_or(chunk.len());
        let room = LINE_LIMIT_BYTES - buffer.len();
        too_long |= taken > room;
        buffer.extend_from_slice(&chunk[..taken.min(room)]);
        reader.consume(taken + usize::from(newline.is_some()));
        if newline.is_some() {
            if buffer.last() == Some(&b'\r') {
                buffer.pop();
            }
            return Ok(if too_long { Line::TooLong } else { Line::Whole { ended: true } });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn endings_and_the_last_line() {
        let mut reader = io::Cursor::new("a\r\nb\n\nc");
        let mut buffer = Vec::new();
        let mut seen = Vec::new();
        loop {
            match next_line(&mut reader, &mut buffer).unwrap() {
                Line::End => break,
                line => seen.push((String::from_utf8(buffer.clone()).unwrap(), line)),
            }
        }
        let texts: Vec<_> = seen.iter().map(|(text, _)| text.as_str()).collect();
        assert_eq!(texts, ["a", "b", "", "c"]);
        assert_eq!(seen[3].1, Line::Whole { ended: false });
    }

    #[test]
    fn a_line_without_end_is_bounded() {
        let endless = io::Read::take(io::repeat(b'x'), 50 << 20);
        let mut reader = io::BufReader::new(endless);
        let mut buffer = Vec::new();
        assert_eq!(next_line(&mut reader, &mut buffer).unwrap(), Line::TooLong);
        assert_eq!(buffer.len(), LINE_LIMIT_BYTES);
        assert_eq!(next_line(&mut reader, &mut buffer).unwrap(), Line::End);
    }
}
