//! Delimited text: a header, perhaps a preamble above and a row of units below it, then rows.

use std::io::{self, BufReader, Read};

use encoding_rs_io::DecodeReaderBytesBuilder;

use super::fields::Fields;
use super::lines::{Line, next_line};
use super::rows::Rows;
use super::{Opened, Records, RowText};
use crate::dialect::{Dialect, Stated, find_dialect, find_encoding, texts};
use crate::input::Input;

type TextReader = BufReader<Box<dyn Read>>;

pub fn open(stated: &Stated, input: Input) -> io::Result<Opened> {
    let encoding = stated.encoding.unwrap_or_else(|| find_encoding(input.head()));
    let (head, used, _) = encoding.decode(input.head());
    let dialect = find_dialect(&head, used, stated);
    let (records, units) = Delimited::new(decoded(input, &dialect), &dialect)?;
    Ok(Opened {
        description: dialect.describe(),
        decimal_comma: dialect.decimal_comma,
        units,
        ..Opened::new(Box::new(records))
    })
}

fn decoded(input: Input, dialect: &Dialect) -> TextReader {
    let decoded: Box<dyn Read> = if dialect.encoding == encoding_rs::UTF_8 {
        Box::new(WithoutMark::new(input))
    } else {
        Box::new(DecodeReaderBytesBuilder::new().encoding(Some(dialect.encoding)).build(input))
    };
    BufReader::with_capacity(1 << 16, decoded)
}

/// Rows below a header.
struct Delimited {
    rows: Rows<TextReader>,
    header: Vec<u8>,
    names: Vec<String>,
}

impl Delimited {
    /// The rows, and the row of units below their header.
    fn new(mut reader: TextReader, dialect: &Dialect) -> io::Result<(Self, Vec<String>)> {
        let mut skipped = Vec::new();
        let mut line = 0;
        while line + 1 < dialect.header_line {
            line += 1;
            if next_line(&mut reader, &mut skipped)? == Line::End {
                break;
            }
        }
        let mut rows = Rows::new(reader, line, dialect.delimiter);
        let mut fields = Fields::default();
        let header = match rows.next(&mut fields)? {
            RowText::Row { raw, .. } | RowText::Refused { raw, .. } => raw,
            RowText::End => return Err(io::Error::other("the file is empty, or ends before its header")),
        };
        let names = texts(&fields);
        let mut units = Vec::new();
        if dialect.units_line {
            rows.next(&mut fields)?;
            units = texts(&fields);
        }
        Ok((Self { rows, header, names }, units))
    }
}

impl Records for Delimited {
    fn names(&self) -> &[String] {
        &self.names
    }

    fn next(&mut self, fields: &mut Fields) -> io::Result<RowText> {
        let (line, raw) = match self.rows.next(fields)? {
            RowText::Row { line, raw } => (line, raw),
            other => return Ok(other),
        };
        if raw == self.header {
            let message = "the header line again".into();
            return Ok(RowText::Refused { line, raw, reason: "repeated-header", message });
        }
        let wanted = self.names.len();
        let spare = fields.len() == wanted + 1 && fields.get(wanted).is_some_and(<[u8]>::is_empty);
        if fields.len() != wanted && !spare {
            let message = format!("{} fields where the header has {wanted}", fields.len()).into();
            return Ok(RowText::Refused { line, raw, reason: "ragged-row", message });
        }
        Ok(RowText::Row { line, raw })
    }
}

/// Drops a UTF-8 byte-order mark; other bytes pass as they are, so that a broken character costs one cell.
struct WithoutMark<R> {
    inner: R,
    start: Vec<u8>,
    checked: bool,
}

impl<R: Read> WithoutMark<R> {
    fn new(inner: R) -> Self {
        Self { inner, start: Vec::new(), checked: false }
    }
}

impl<R: Read> Read for WithoutMark<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if !self.checked {
            self.checked = true;
            self.inner.by_ref().take(3).read_to_end(&mut self.start)?;
            if self.start == [0xEF, 0xBB, 0xBF] {
                self.start.clear();
            }
        }
        if self.start.is_empty() {
            return self.inner.read(buffer);
        }
        let taken = self.start.len().min(buffer.len());
        buffer[..taken].copy_from_slice(&self.start[..taken]);
        self.start.drain(..taken);
        Ok(taken)
    }
}
