//! How a delimited file is written: stated by the user, found by looking where it is not.

use encoding_rs::Encoding;

use crate::formats::{Fields, RowText, Rows};
use crate::value::{is_number, may_be_grouped};

/// What the user states of a dialect; everything else is found from the start of each file.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Stated {
    pub encoding: Option<&'static Encoding>,
    pub delimiter: Option<u8>,
    pub decimal_comma: Option<bool>,
    /// 1-based line of the header.
    pub header_line: Option<u64>,
    pub units_line: Option<bool>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dialect {
    pub encoding: &'static Encoding,
    pub delimiter: u8,
    pub decimal_comma: bool,
    pub header_line: u64,
    pub units_line: bool,
}

impl Dialect {
    /// As one line for receipts.
    pub fn describe(&self) -> String {
        let delimiter = match self.delimiter {
            b'\t' => "tab".to_owned(),
            other => format!("\"{}\"", char::from(other)),
        };
        format!(
            "{}, delimiter {delimiter}, decimal {}, header on line {}{}",
            self.encoding.name(),
            if self.decimal_comma { "comma" } else { "point" },
            self.header_line,
            if self.units_line { ", units row below it" } else { "" }
        )
    }
}

/// The encoding of a file from its first bytes: a byte-order mark, the NUL pattern of UTF-16, valid UTF-8, and
/// otherwise windows-1252, of which printable Latin-1 is a part.
pub fn find_encoding(head: &[u8]) -> &'static Encoding {
    if let Some((encoding, _)) = Encoding::for_bom(head) {
        return encoding;
    }
    let nul_at = |parity: usize| head.iter().skip(parity).step_by(2).filter(|b| **b == 0).count();
    let (even, odd) = (nul_at(0), nul_at(1));
    if odd * 4 > head.len() && even == 0 {
        return encoding_rs::UTF_16LE;
    }
    if even * 4 > head.len() && odd == 0 {
        return encoding_rs::UTF_16BE;
    }
    match std::str::from_utf8(head) {
        Ok(_) => encoding_rs::UTF_8,
        // The head may end inside a character.
        Err(error) if error.error_len().is_none() => encoding_rs::UTF_8,
        Err(_) => encoding_rs::WINDOWS_1252,
    }
}

/// Rows looked at.
const ROWS: usize = 200;

/// A row of the start of a file, and the line it begins on.
type Row = (u64, Vec<String>);

/// The dialect of a text from its first lines.
pub fn find_dialect(head: &str, encoding: &'static Encoding, stated: &Stated) -> Dialect {
    let delimiter = stated.delimiter.unwrap_or_else(|| find_delimiter(head));
    let rows = split(head, delimiter);
    let header = match stated.header_line {
        Some(line) => rows.iter().position(|(at, _)| *at >= line.max(1)).unwrap_or(rows.len()),
        None => find_header(&rows),
    };
    let units_line = stated.units_line.unwrap_or_else(|| is_units_row(&rows, header));
    let first_row = header + 1 + usize::from(units_line);
    let decimal_comma = stated
        .decimal_comma
        .unwrap_or_else(|| has_decimal_comma(rows.get(first_row..).unwrap_or_default(), delimiter));
    let header_line = stated.header_line.or_else(|| rows.get(header).map(|row| row.0)).unwrap_or(1).max(1);
    Dialect { encoding, delimiter, decimal_comma, header_line, units_line }
}

/// The first rows; a quoted field may run over several lines. Lines with quotes that do not fit are rows of one field.
fn split(head: &str, delimiter: u8) -> Vec<Row> {
    let mut rows = Rows::new(head.as_bytes(), 0, delimiter);
    let mut fields = Fields::default();
    let mut found = Vec::new();
    while found.len() < ROWS {
        match rows.next(&mut fields) {
            Ok(RowText::Row { line, .. }) => found.push((line, texts(&fields))),
            Ok(RowText::Refused { line, raw, .. }) => {
                found.push((line, vec![String::from_utf8_lossy(&raw).into_owned()]));
            }
            Ok(RowText::End) | Err(_) => break,
        }
    }
    found
}

/// The fields of a header on one line each.
pub fn texts(fields: &Fields) -> Vec<String> {
    let one_line = |field: &[u8]| {
        let text = String::from_utf8_lossy(field);
        if text.contains(['\n', '\r']) {
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        } else {
            text.trim().to_owned()
        }
    };
    fields.iter().map(one_line).collect()
}

/// The delimiter whose count per row is the same, and above zero, on the most rows; more fields win a tie.
fn find_delimiter(head: &str) -> u8 {
    let score = |delimiter: u8| {
        let counts: Vec<usize> = split(head, delimiter).iter().map(|(_, cells)| cells.len()).collect();
        let usual = most_frequent(&counts);
        if usual < 2 { (0, 0) } else { (counts.iter().filter(|c| **c == usual).count(), usual) }
    };
    [b';', b'\t', b',', b'|'].into_iter().max_by_key(|delimiter| score(*delimiter)).unwrap_or(b',')
}

fn most_frequent(counts: &[usize]) -> usize {
    let occurrences = |value: usize| counts.iter().filter(|c| **c == value).count();
    counts.iter().copied().max_by_key(|value| (occurrences(*value), *value)).unwrap_or(0)
}

/// The header is the first row of the usual width that holds names rather than numbers.
fn find_header(rows: &[Row]) -> usize {
    let counts: Vec<usize> = rows.iter().map(|(_, cells)| cells.len()).filter(|count| *count > 1).collect();
    let usual = most_frequent(&counts);
    let looks_like_names = |(_, cells): &Row| {
        cells.len() == usual
            && cells.iter().filter(|cell| !cell.is_empty()).all(|cell| !is_number(cell, false))
            && cells.iter().any(|cell| !cell.is_empty())
    };
    rows.iter().position(looks_like_names).unwrap_or(0)
}

/// A units row has the header's width and no cell that is a number or a date.
fn is_units_row(rows: &[Row], header: usize) -> bool {
    let (Some((_, names)), Some((_, row)), Some((_, next))) =
        (rows.get(header), rows.get(header + 1), rows.get(header + 2))
    else {
        return false;
    };
    let short = |cell: &String| cell.chars().count() <= 12 && !cell.chars().any(|c| c.is_ascii_digit());
    row.len() == names.len()
        && row.iter().any(|cell| !cell.is_empty())
        && row.iter().all(short)
        && row != names
        && next.iter().any(|cell| cell.chars().any(|c| c.is_ascii_digit()))
}

/// A mark that cannot part thousands is the decimal mark. Where all could, a comma is one unless it parts the fields as well.
fn has_decimal_comma(rows: &[Row], delimiter: u8) -> bool {
    let cells = || rows.iter().flat_map(|(_, cells)| cells);
    let sure = |mark: char, comma: bool| {
        cells()
            .filter(|cell| cell.contains(mark) && is_number(cell, comma) && !may_be_grouped(cell, mark))
            .count()
    };
    match (sure(',', true), sure('.', false)) {
        (0, 0) => delimiter != b',' && cells().any(|cell| cell.contains(',') && is_number(cell, true)),
        (comma, point) => comma > point,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str) -> Dialect {
        find_dialect(text, encoding_rs::UTF_8, &Stated::default())
    }

    #[test]
    fn preamble_semicolon_and_decimal_comma() {
        let dialect = found(
            "Logger 7\nMade 2026\nDatum;Zeit;v [km/h]\n01.02.2026;08:00:00;12,5\n01.02.2026;08:00:05;13,0\n",
        );
        assert_eq!((dialect.delimiter, dialect.decimal_comma, dialect.header_line), (b';', true, 3));
        assert!(!dialect.units_line);
    }

    #[test]
    fn units_row_and_tabs() {
        let dialect = found("time\tspeed\ns\tkm/h\n0\t1.5\n1\t2.5\n");
        assert_eq!((dialect.delimiter, dialect.units_line, dialect.decimal_comma), (b'\t', true, false));
    }

    #[test]
    fn a_quoted_header_may_run_over_lines() {
        let dialect = found("made by\n\ntime,\"speed\n(km/h)\",note\n1,2.5,\"a\nb\"\n2,3.5,c\n");
        assert_eq!((dialect.delimiter, dialect.header_line, dialect.units_line), (b',', 3, false));
    }

    #[test]
    fn commas_that_part_thousands_are_no_decimals() {
        let comma = |text: &str| found(text).decimal_comma;
        assert!(!comma("t,odo\n1,\"123,456\"\n2,\"123,457\"\n"), "the fields are parted by commas");
        assert!(!comma("t;v;odo\n1;2.5;123,456\n2;3.5;123,457\n"), "there is a decimal point");
        assert!(comma("t;v;odo\n1;2,5;123.456\n2;3,5;123.457\n"), "there is a decimal comma");
        assert!(comma("t,v\n1,\"2,5\"\n2,\"3,25\"\n"), "quoted, because the fields are parted by commas");
        assert!(comma("t;v\n1;12,500\n2;13,500\n"));
        assert!(!comma("t;v\n1;12.500\n2;13.500\n"));
    }

    #[test]
    fn encodings() {
        assert_eq!(find_encoding(b"Temp [\xB0C];x"), encoding_rs::WINDOWS_1252);
        assert_eq!(find_encoding("Temp [°C]".as_bytes()), encoding_rs::UTF_8);
        assert_eq!(find_encoding(b"a\0b\0,\0c\0"), encoding_rs::UTF_16LE);
        assert_eq!(find_encoding(b"\xEF\xBB\xBFa,b"), encoding_rs::UTF_8);
    }
}
