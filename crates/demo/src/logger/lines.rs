//! A log file under construction: lines, their numbers, and harm done to text.

use super::columns::LineWriter;
use super::defects::{HarmedDay, Scar};
use super::text::latin_1;
use crate::fleet::trucks::{Format, Truck};

/// What a cell reads after a logger's converter gave up.
const GARBAGE: &[u8] = b"#ERR";

/// A file's bytes and how many lines they hold.
pub struct LogText<'a> {
    pub bytes: Vec<u8>,
    pub rows: u64,
    lines: u64,
    writer: LineWriter<'a>,
    header: Vec<u8>,
}

impl<'a> LogText<'a> {
    /// Starts a file: upland files open with two lines of preamble.
    pub fn new(spec: &'a Truck, week: &str) -> LogText<'a> {
        let writer = LineWriter::new(spec);
        let header = encode(spec, &writer.header());
        let mut text = LogText { bytes: Vec::new(), rows: 0, lines: 0, writer, header };
        if spec.format == Format::Upland {
            text.push_whole_line(&latin_1(&format!("Aufzeichnung;Fahrzeug {};Woche {week}", spec.id)));
            text.push_whole_line(&latin_1(&format!("Zeitbasis;Ortszeit;Raster {} s", spec.period_s)));
        }
        let header = text.header.clone();
        text.push_whole_line(&header);
        text
    }

    /// Appends a day; answers the line number of each row, counted from 1.
    pub fn push_day(&mut self, day: &HarmedDay) -> Vec<u64> {
        let mut line_of_row = Vec::with_capacity(day.readings.len());
        let mut scars = day.scars.iter().peekable();
        for (row, reading) in day.readings.iter().enumerate() {
            let scar = scars.next_if(|scar| scar.0 == row).map(|scar| scar.1);
            if scar == Some(Scar::HeaderBefore) {
                let header = self.header.clone();
                self.push_whole_line(&header);
            }
            let start = self.bytes.len();
            self.writer.push_line(&mut self.bytes, reading);
            self.lines += 1;
            self.rows += 1;
            line_of_row.push(self.lines);
            if let Some(scar) = scar {
                self.harm_line(start, scar);
            }
            if scar != Some(Scar::CutShort) {
                self.bytes.push(b'\n');
            }
        }
        line_of_row
    }

    fn harm_line(&mut self, start: usize, scar: Scar) {
        match scar {
            Scar::HeaderBefore => {}
            Scar::Garbage(signal) => self.overwrite(start, signal, GARBAGE),
            Scar::Spike if self.writer.separator() == b';' => self.overwrite(start, "speed", b"655,35"),
            Scar::Spike => self.overwrite(start, "speed", b"655.35"),
            Scar::Duplicate => {
                let again = self.bytes[start..].to_vec();
                self.bytes.push(b'\n');
                self.bytes.extend(again);
                self.lines += 1;
                self.rows += 1;
            }
            // The last three cells are gone.
            Scar::Ragged => {
                let cuts = self.separators(start);
                self.bytes.truncate(cuts[cuts.len() - 3]);
            }
            Scar::CutShort => self.bytes.truncate(start + (self.bytes.len() - start) / 2),
        }
    }

    /// Replaces a signal's cell in the line that begins at `start`.
    fn overwrite(&mut self, start: usize, signal: &str, with: &[u8]) {
        let place = self.writer.place_of(signal);
        let cuts = self.separators(start);
        let from = if place == 0 { start } else { cuts[place - 1] + 1 };
        let to = cuts.get(place).copied().unwrap_or(self.bytes.len());
        self.bytes.splice(from..to, with.iter().copied());
    }

    fn separators(&self, start: usize) -> Vec<usize> {
        let separator = self.writer.separator();
        (start..self.bytes.len()).filter(|&place| self.bytes[place] == separator).collect()
    }

    fn push_whole_line(&mut self, line: &[u8]) {
        self.bytes.extend_from_slice(line);
        self.bytes.push(b'\n');
        self.lines += 1;
    }
}

/// Harbour files are UTF-8, upland files windows-1252.
fn encode(spec: &Truck, text: &str) -> Vec<u8> {
    if spec.format == Format::Harbour { text.as_bytes().to_vec() } else { latin_1(text) }
}
