//! Values of grids, unpacked strip by strip or tile by tile as they are asked for.

use std::collections::{BTreeMap, HashMap};
use std::fs::File;
use std::io::BufReader;

use backwatt_schema::Problem;
use tiff::decoder::{Decoder, DecodingResult};

use super::geotiff::{self, Grid};
use super::unreadable;

/// Unpacked values kept for one vehicle. A chunk may be as large as the half of it.
const KEPT_BYTES: usize = 128 << 20;
/// Files kept open.
const KEPT_OPEN: usize = 8;
/// No road lies lower or higher; an undeclared void does. Common practice, no source. [m]
const ON_EARTH_M: std::ops::RangeInclusive<f64> = -500.0..=9000.0;

pub struct Chunks<'g> {
    grids: &'g [Grid],
    open: Vec<(usize, Decoder<BufReader<File>>)>,
    kept: HashMap<(usize, u32), Chunk>,
    kept_bytes: usize,
    /// What could not be read, said once a file.
    pub(super) refused: BTreeMap<usize, String>,
}

struct Chunk {
    columns: usize,
    values: Values,
}

enum Values {
    I16(Vec<i16>),
    U16(Vec<u16>),
    F32(Vec<f32>),
    F64(Vec<f64>),
}

impl<'g> Chunks<'g> {
    pub fn new(grids: &'g [Grid]) -> Self {
        Self { grids, open: Vec::new(), kept: HashMap::new(), kept_bytes: 0, refused: BTreeMap::new() }
    }

    /// One value of a grid, `None` in a void and where the file is torn.
    pub fn value(&mut self, number: usize, row: usize, column: usize) -> Option<f64> {
        let grid = &self.grids[number];
        let (high, wide) = grid.chunk;
        let across = grid.columns.div_ceil(wide);
        let at = u32::try_from(row / high * across + column / wide).ok()?;
        let chunk = self.chunk(number, at)?;
        let height = chunk.values.get(row % high * chunk.columns + column % wide)?;
        let is_void = grid.void.is_some_and(|void| height == void || (void as f32) == (height as f32));
        (!is_void && ON_EARTH_M.contains(&height)).then_some(height)
    }

    fn chunk(&mut self, number: usize, at: u32) -> Option<&Chunk> {
        if self.refused.contains_key(&number) {
            return None;
        }
        if !self.kept.contains_key(&(number, at)) {
            match geotiff::guarded(|| self.read(number, at)) {
                Ok(chunk) => self.keep((number, at), chunk),
                Err(message) => {
                    self.refused.insert(number, message);
                    return None;
                }
            }
        }
        self.kept.get(&(number, at))
    }

    fn keep(&mut self, key: (usize, u32), chunk: Chunk) {
        let bytes = chunk.values.bytes();
        if self.kept_bytes + bytes > KEPT_BYTES {
            self.kept.clear();
            self.kept_bytes = 0;
        }
        self.kept_bytes += bytes;
        self.kept.insert(key, chunk);
    }

    fn read(&mut self, number: usize, at: u32) -> Result<Chunk, String> {
        let place = self.open.iter().position(|(open, _)| *open == number);
        let place = match place {
            Some(place) => place,
            None => {
                if self.open.len() >= KEPT_OPEN {
                    self.open.remove(0);
                }
                self.open.push((number, geotiff::open(&self.grids[number].path)?));
                self.open.len() - 1
            }
        };
        let decoder = &mut self.open[place].1;
        let (columns, _) = decoder.chunk_data_dimensions(at);
        let values = match decoder.read_chunk(at).map_err(|error| format!("its strip or tile {at}: {error}"))? {
            DecodingResult::I16(values) => Values::I16(values),
            DecodingResult::U16(values) => Values::U16(values),
            DecodingResult::F32(values) => Values::F32(values),
            DecodingResult::F64(values) => Values::F64(values),
            _ => return Err("its values are neither 16-bit integers nor floats of 32 or 64 bits".to_owned()),
        };
        Ok(Chunk { columns: columns as usize, values })
    }

    pub fn into_problems(self) -> Vec<Problem> {
        let grids = self.grids;
        self.refused.into_iter().map(|(number, message)| unreadable(&grids[number].path, message)).collect()
    }
}

impl Values {
    fn get(&self, at: usize) -> Option<f64> {
        match self {
            Self::I16(values) => values.get(at).map(|value| f64::from(*value)),
            Self::U16(values) => values.get(at).map(|value| f64::from(*value)),
            Self::F32(values) => values.get(at).map(|value| f64::from(*value)),
            Self::F64(values) => values.get(at).copied(),
        }
    }

    fn bytes(&self) -> usize {
        match self {
            Self::I16(values) => 2 * values.len(),
            Self::U16(values) => 2 * values.len(),
            Self::F32(values) => 4 * values.len(),
            Self::F64(values) => 8 * values.len(),
        }
    }
}
