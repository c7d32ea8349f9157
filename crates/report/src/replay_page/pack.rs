//! Series of a trip as text that a page holds and its script unpacks: whole steps, differences, DEFLATE, base64.
//!
//! Sums are rounded, not what is summed: a span's ledger is the difference of two rounded sums, at most one step off,
//! however long the span. Each series is `count` differences as variable-length whole numbers (7 bits a byte, lowest
//! first; the sign in the lowest bit). A series with blanks begins with the lengths of its known and blank stretches.

use std::io::Write as _;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use flate2::Compression;
use flate2::write::DeflateEncoder;
use serde::Serialize;

/// One series as the script has to read it: its name, steps in a unit, and whether stretches without a value come first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series(pub String, pub u32, pub bool);

#[derive(Debug, Default)]
pub struct Packer {
    pub series: Vec<Series>,
    bytes: Vec<u8>,
}

impl Packer {
    pub fn whole(&mut self, name: &str, values: impl IntoIterator<Item = i64>) {
        self.series.push(Series(name.to_owned(), 1, false));
        self.differences(values);
    }

    /// Values as multiples of a step, of which a whole number make a unit.
    pub fn numbers(&mut self, name: &str, per_unit: u32, values: &[f64]) {
        self.series.push(Series(name.to_owned(), per_unit, false));
        self.differences(values.iter().map(|value| steps(*value, per_unit)));
    }

    /// The same where values may be unknown.
    pub fn known(&mut self, name: &str, per_unit: u32, values: &[Option<f64>]) {
        self.series.push(Series(name.to_owned(), per_unit, true));
        self.stretches(values);
        let mut last = 0;
        self.differences(values.iter().map(|value| {
            last = value.map_or(last, |value| steps(value, per_unit));
            last
        }));
    }

    /// Base64 of the DEFLATE stream (RFC 1951, RFC 4648).
    pub fn finish(self) -> std::io::Result<(Vec<Series>, String)> {
        let mut encoder = DeflateEncoder::new(Vec::new(), Compression::best());
        encoder.write_all(&self.bytes)?;
        Ok((self.series, STANDARD.encode(encoder.finish()?)))
    }

    /// Lengths of known and blank stretches in turn, the first known.
    fn stretches(&mut self, values: &[Option<f64>]) {
        let (mut is_known, mut length) = (true, 0);
        for value in values {
            if value.is_some() != is_known {
                self.unsigned(length);
                (is_known, length) = (!is_known, 0);
            }
            length += 1;
        }
        self.unsigned(length);
    }

    fn differences(&mut self, values: impl IntoIterator<Item = i64>) {
        let mut last = 0_i64;
        for value in values {
            let difference = value.wrapping_sub(last);
            self.unsigned(((difference << 1) ^ (difference >> 63)) as u64);
            last = value;
        }
    }

    fn unsigned(&mut self, mut value: u64) {
        while value >= 0x80 {
            self.bytes.push(value as u8 | 0x80);
            value >>= 7;
        }
        self.bytes.push(value as u8);
    }
}

/// Nearest whole number of steps; a script counts whole numbers up to 2^53.
fn steps(value: f64, per_unit: u32) -> i64 {
    const MOST: f64 = 9_007_199_254_740_991.0;
    (value * f64::from(per_unit)).round().clamp(-MOST, MOST) as i64
}

#[cfg(test)]
mod tests {
    use std::io::Read as _;

    use super::*;

    fn unpacked(packer: Packer) -> Vec<u8> {
        let (_, text) = packer.finish().unwrap();
        let mut bytes = Vec::new();
        let deflated = STANDARD.decode(text).unwrap();
        flate2::read::DeflateDecoder::new(deflated.as_slice()).read_to_end(&mut bytes).unwrap();
        bytes
    }

    #[test]
    fn differences_in_as_few_bytes_as_they_need() {
        let mut packer = Packer::default();
        packer.whole("x", [0, 1, 0, 100, 100]);
        assert_eq!(unpacked(packer), [0, 2, 1, 200, 1, 0]);
    }

    #[test]
    fn blanks_are_stretches_and_move_nothing() {
        let mut packer = Packer::default();
        packer.known("x", 10, &[None, Some(0.1), Some(0.2), None]);
        assert_eq!(unpacked(packer), [0, 1, 2, 1, 0, 2, 2, 0]);
    }
}
