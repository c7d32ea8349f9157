//! Rows of one vehicle while they are being read and sorted: one vector per signal.
//!
//! Inside a frame an absent number is NaN, because every reader of these vectors lives in this crate; on the way
//! out to Arrow it becomes null, and no other NaN can get in.

use std::collections::HashMap;

use arrow::array::{Array, RecordBatch, UInt32Array};
use arrow::compute::take_record_batch;
use backwatt_schema::{BatchBuilder, BatchError, BatchView, tables::SAMPLES};

use crate::shift::Shift;
use crate::signal::{ALTITUDE, FLAGS, LATITUDE, LONGITUDE, NUMBERS, SIGNALS, TEXTS};

/// Marks of one row.
pub mod mask {
    pub const FROZEN: u32 = 1;
    pub const SPEED_RANGE: u32 = 1 << 1;
    pub const CELL_REFUSED: u32 = 1 << 2;
    pub const FILLED: u32 = 1 << 3;
    pub const MERGED: u32 = 1 << 4;
    pub const RELATIVE: u32 = 1 << 5;
    pub const MANIFEST: u32 = 1 << 6;
    pub const SHIFT: u32 = 1 << 7;
    pub const WEATHER_TEMPERATURE: u32 = 1 << 8;
    pub const WEATHER_PRESSURE: u32 = 1 << 9;
    pub const WEATHER_HUMIDITY: u32 = 1 << 10;
    pub const WEATHER_WIND: u32 = 1 << 11;
    pub const RATE: u32 = 1 << 12;
    pub const POSITION_JUMP: u32 = 1 << 13;
    pub const SPEED_DISAGREES: u32 = 1 << 14;
    pub const SOC_REANCHORED: u32 = 1 << 15;
    pub const UNIT_SUSPECTED: u32 = 1 << 16;
    pub const SIGN_UNSETTLED: u32 = 1 << 17;
    pub const OUT_OF_ORDER: u32 = 1 << 18;
}

const NAMES: [(&str, u32); 19] = [
    ("mask_frozen", mask::FROZEN),
    ("mask_speed_range", mask::SPEED_RANGE),
    ("mask_cell_refused", mask::CELL_REFUSED),
    ("mask_filled", mask::FILLED),
    ("mask_merged", mask::MERGED),
    ("clock_relative", mask::RELATIVE),
    ("mask_manifest", mask::MANIFEST),
    ("mask_shift", mask::SHIFT),
    ("mask_weather_temperature", mask::WEATHER_TEMPERATURE),
    ("mask_weather_pressure", mask::WEATHER_PRESSURE),
    ("mask_weather_humidity", mask::WEATHER_HUMIDITY),
    ("mask_weather_wind", mask::WEATHER_WIND),
    ("mask_rate", mask::RATE),
    ("mask_position_jump", mask::POSITION_JUMP),
    ("mask_speed_disagrees", mask::SPEED_DISAGREES),
    ("mask_soc_reanchored", mask::SOC_REANCHORED),
    ("mask_unit_suspected", mask::UNIT_SUSPECTED),
    ("mask_sign_unsettled", mask::SIGN_UNSETTLED),
    ("mask_out_of_order", mask::OUT_OF_ORDER),
];

/// Marks of values held over from an earlier instant, by the signals they speak of.
const HELD: [(&str, u64); 3] = [
    ("mask_held", u64::MAX),
    ("mask_position_held", 1 << LATITUDE | 1 << LONGITUDE),
    ("mask_altitude_held", 1 << ALTITUDE),
];

/// Texts seen, each once; number 0 is "none".
#[derive(Debug, Clone)]
pub struct Pool {
    texts: Vec<String>,
    numbers: HashMap<String, u32>,
}

impl Default for Pool {
    fn default() -> Self {
        Self { texts: vec![String::new()], numbers: HashMap::new() }
    }
}

impl Pool {
    pub fn number(&mut self, text: &str) -> u32 {
        if let Some(&number) = self.numbers.get(text) {
            return number;
        }
        let number = u32::try_from(self.texts.len()).unwrap_or(0);
        self.texts.push(text.to_owned());
        self.numbers.insert(text.to_owned(), number);
        number
    }

    pub fn text(&self, number: u32) -> Option<&str> {
        if number == 0 { None } else { self.texts.get(number as usize).map(String::as_str) }
    }
}

/// One row on its way into a frame.
#[derive(Debug, Clone)]
pub struct Row {
    pub time_ns: i64,
    pub file: u32,
    pub line: u64,
    pub numbers: [f64; NUMBERS],
    pub flags: [Option<bool>; FLAGS],
    pub texts: [u32; TEXTS],
    pub mask: u32,
}

impl Default for Row {
    fn default() -> Self {
        Self {
            time_ns: 0,
            file: 0,
            line: 0,
            numbers: [f64::NAN; NUMBERS],
            flags: [None; FLAGS],
            texts: [0; TEXTS],
            mask: 0,
        }
    }
}

impl Row {
    /// Whether no cell of it had a value, good or bad.
    pub fn is_bare(&self) -> bool {
        let met = mask::CELL_REFUSED | mask::FILLED;
        self.mask & met == 0
            && self.numbers.iter().all(|n| n.is_nan())
            && self.flags.iter().all(Option::is_none)
    }
}

#[derive(Debug, Clone, Default)]
pub struct Frame {
    pub time_ns: Vec<i64>,
    pub file: Vec<u32>,
    pub line: Vec<u64>,
    pub mask: Vec<u32>,
    pub numbers: [Vec<f64>; NUMBERS],
    pub flags: [Vec<Option<bool>>; FLAGS],
    pub texts: [Vec<u32>; TEXTS],
    pub pool: Pool,
    /// One bit for each of [`SIGNALS`]: the value is that of an earlier instant. Empty until the second pass.
    pub held: Vec<u64>,
    /// Height of the terrain at each row; empty where the pilot names no tiles.
    pub terrain: Vec<Option<f64>>,
}

impl Frame {
    pub fn len(&self) -> usize {
        self.time_ns.len()
    }

    pub fn is_empty(&self) -> bool {
        self.time_ns.is_empty()
    }

    pub fn push(&mut self, row: &Row) {
        self.time_ns.push(row.time_ns);
        self.file.push(row.file);
        self.line.push(row.line);
        self.mask.push(row.mask);
        for (column, value) in self.numbers.iter_mut().zip(row.numbers) {
            column.push(value);
        }
        for (column, value) in self.flags.iter_mut().zip(row.flags) {
            column.push(value);
        }
        for (column, value) in self.texts.iter_mut().zip(row.texts) {
            column.push(value);
        }
    }

    /// As [`Frame::push`], with the signals whose values are those of an earlier instant.
    pub fn push_held(&mut self, row: &Row, held: u64) {
        self.push(row);
        self.held.push(held);
    }

    /// Signals of a row whose values are those of an earlier instant.
    pub fn held_at(&self, at: usize) -> u64 {
        self.held.get(at).copied().unwrap_or(0)
    }

    pub fn row(&self, at: usize) -> Row {
        Row {
            time_ns: self.time_ns[at],
            file: self.file[at],
            line: self.line[at],
            mask: self.mask[at],
            numbers: std::array::from_fn(|i| self.numbers[i][at]),
            flags: std::array::from_fn(|i| self.flags[i][at]),
            texts: std::array::from_fn(|i| self.texts[i][at]),
        }
    }

    /// Empties the rows and keeps the pool.
    pub fn clear(&mut self) {
        *self = Self { pool: std::mem::take(&mut self.pool), ..Self::default() };
    }

    /// The rows of `range` as a batch of `samples`.
    pub fn to_batch(&self, vehicle_id: &str, range: std::ops::Range<usize>) -> Result<RecordBatch, BatchError> {
        let r = || range.clone();
        let mut builder = BatchBuilder::new(&SAMPLES)
            .text("vehicle_id", r().map(|_| Some(vehicle_id)))
            .time("time_ns", r().map(|i| self.time_ns[i]))
            .text("source_file", r().map(|i| Some(self.pool.text(self.file[i]).unwrap_or(""))))
            .count("source_line", r().map(|i| self.line[i]))
            .number("terrain_height_m", r().map(|i| self.terrain.get(i).copied().flatten()));
        for (name, bit) in NAMES {
            builder = builder.flag(name, r().map(|i| self.mask[i] & bit != 0));
        }
        for (name, signals) in HELD {
            builder = builder.flag(name, r().map(|i| self.held_at(i) & signals != 0));
        }
        for (at, signal) in SIGNALS.iter().enumerate() {
            builder = if at < NUMBERS {
                let column = &self.numbers[at];
                builder.number(signal.column, r().map(|i| (!column[i].is_nan()).then_some(column[i])))
            } else if at < NUMBERS + FLAGS {
                let column = &self.flags[at - NUMBERS];
                builder.flag(signal.column, r().map(|i| column[i]))
            } else {
                let column = &self.texts[at - NUMBERS - FLAGS];
                builder.text(signal.column, r().map(|i| self.pool.text(column[i])))
            };
        }
        builder.finish()
    }

    /// Appends the rows of a batch of `samples` whose time, so much later, lies in a range.
    pub fn append(
        &mut self,
        batch: &RecordBatch,
        shift: &Shift,
        within_ns: std::ops::Range<i64>,
    ) -> Result<(), BatchError> {
        let all = BatchView::new(&SAMPLES, batch);
        let wanted: Vec<u32> = (0..)
            .zip(all.times("time_ns")?.values())
            .filter(|(_, time)| within_ns.contains(&shift.put(**time)))
            .map(|(row, _)| row)
            .collect();
        if wanted.len() < all.rows() {
            let taken = take_record_batch(batch, &UInt32Array::from(wanted)).map_err(|error| {
                BatchError::Arrow { table: SAMPLES.name.to_owned(), message: error.to_string() }
            })?;
            return self.append_all(&taken, shift);
        }
        self.append_all(batch, shift)
    }

    fn append_all(&mut self, batch: &RecordBatch, shift: &Shift) -> Result<(), BatchError> {
        let view = BatchView::new(&SAMPLES, batch);
        let times = view.times("time_ns")?;
        self.time_ns.extend(times.values().iter().map(|time| shift.put(*time)));
        let files = view.texts("source_file")?;
        self.file.extend((0..view.rows()).map(|i| self.pool.number(files.value(i))));
        self.line.extend_from_slice(view.counts("source_line")?.values());
        let mut masks = vec![0; view.rows()];
        for (name, bit) in NAMES {
            let flags = view.flags(name)?;
            for (i, mask) in masks.iter_mut().enumerate() {
                *mask |= if flags.value(i) { bit } else { 0 };
            }
        }
        self.mask.extend(masks);
        for (at, signal) in SIGNALS.iter().enumerate() {
            if at < NUMBERS {
                self.numbers[at].extend(view.numbers(signal.column)?.iter().map(|v| v.unwrap_or(f64::NAN)));
            } else if at < NUMBERS + FLAGS {
                self.flags[at - NUMBERS].extend(view.flags(signal.column)?.iter());
            } else {
                let texts = view.texts(signal.column)?;
                let column = &mut self.texts[at - NUMBERS - FLAGS];
                for i in 0..view.rows() {
                    column.push(if texts.is_null(i) { 0 } else { self.pool.number(texts.value(i)) });
                }
            }
        }
        Ok(())
    }
}
