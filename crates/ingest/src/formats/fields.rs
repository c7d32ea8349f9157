//! Splits one row of delimited text into its fields (RFC 4180 quoting).

/// The fields of one row, unquoted, in one buffer that is used again for the next row.
#[derive(Debug, Default)]
pub struct Fields {
    bytes: Vec<u8>,
    ends: Vec<usize>,
}

/// How a row came apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Split {
    Whole,
    /// A quoted field does not end: the row goes on in the next line, or a quote stands where none belongs.
    Open,
    /// Text follows a closing quote.
    Malformed,
}

impl Fields {
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    pub fn get(&self, at: usize) -> Option<&[u8]> {
        let end = *self.ends.get(at)?;
        let start = if at == 0 { 0 } else { self.ends[at - 1] };
        self.bytes.get(start..end)
    }

    pub fn iter(&self) -> impl Iterator<Item = &[u8]> {
        (0..self.len()).filter_map(|at| self.get(at))
    }

    pub fn clear(&mut self) {
        self.bytes.clear();
        self.ends.clear();
    }

    /// Adds a field at the end.
    pub fn push(&mut self, field: &[u8]) {
        self.bytes.extend_from_slice(field);
        self.ends.push(self.bytes.len());
    }

    /// The fields as one line, for the eyes of whoever reads the rejects.
    pub fn joined(&self) -> Vec<u8> {
        self.iter().collect::<Vec<_>>().join(&b',')
    }

    /// Splits a row into its fields.
    pub fn split(&mut self, row: &[u8], delimiter: u8) -> Split {
        self.clear();
        if memchr::memchr(b'"', row).is_none() {
            let mut start = 0;
            for at in memchr::memchr_iter(delimiter, row).chain(std::iter::once(row.len())) {
                self.bytes.extend_from_slice(&row[start..at]);
                self.ends.push(self.bytes.len());
                start = at + 1;
            }
            return Split::Whole;
        }
        self.split_quoted(row, delimiter)
    }

    fn split_quoted(&mut self, row: &[u8], delimiter: u8) -> Split {
        let (mut at, mut quoted, mut at_start, mut closed) = (0, false, true, false);
        while at < row.len() {
            let byte = row[at];
            match (quoted, byte) {
                (true, b'"') if row.get(at + 1) == Some(&b'"') => {
                    self.bytes.push(b'"');
                    at += 1;
                }
                (true, b'"') => (quoted, closed) = (false, true),
                (false, b'"') if at_start => {
                    quoted = true;
                    at_start = false;
                }
                (false, b) if b == delimiter => {
                    self.ends.push(self.bytes.len());
                    (at_start, closed) = (true, false);
                }
                // Text after a closing quote: a quote stands where none belongs, and the fields are a guess.
                (false, b) if closed && !b.is_ascii_whitespace() => return Split::Malformed,
                _ => {
                    self.bytes.push(byte);
                    at_start = false;
                }
            }
            at += 1;
        }
        self.ends.push(self.bytes.len());
        if quoted { Split::Open } else { Split::Whole }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn split(row: &str, delimiter: u8) -> Vec<String> {
        let mut fields = Fields::default();
        assert_eq!(fields.split(row.as_bytes(), delimiter), Split::Whole);
        fields.iter().map(|f| String::from_utf8(f.to_vec()).unwrap()).collect()
    }

    #[test]
    fn rfc_4180_rows() {
        // RFC 4180, section 2, rules 5 to 7.
        assert_eq!(split(r#""aaa","b,b","c""c""#, b','), ["aaa", "b,b", "c\"c"]);
        assert_eq!(split("a;;b;", b';'), ["a", "", "b", ""]);
        assert_eq!(split("", b','), [""]);
        assert_eq!(split(r#"5" pipe,x"#, b','), ["5\" pipe", "x"], "a quote inside a field is text");
    }

    #[test]
    fn an_open_quote_is_told() {
        assert_eq!(Fields::default().split(b"a,\"b", b','), Split::Open);
        assert_eq!(Fields::default().split(b"a,\"b\"c,d", b','), Split::Malformed);
    }
}
