//! Height of the terrain from elevation tiles on disk: GeoTIFF grids, and one-degree .hgt tiles.

mod chunks;
mod geotiff;
mod hgt;

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use backwatt_schema::Problem;

use chunks::Chunks;
use geotiff::Grid;
use hgt::Tiles;

/// More files than this are a map of the world.
const MOST_GRIDS: usize = 20_000;
/// A grid over more one-degree cells than this is asked wherever a vehicle is.
const MOST_CELLS: usize = 4096;

/// What tiles there are: their headers, read once for all vehicles.
#[derive(Debug, Default)]
pub struct Survey {
    /// Where .hgt tiles may lie.
    folder: Option<PathBuf>,
    /// The finest first, then by name.
    grids: Vec<Grid>,
    /// Grids by the one-degree cells they reach into, by place in `grids`.
    by_cell: HashMap<(i32, i32), Vec<usize>>,
    wide: Vec<usize>,
    pub problems: Vec<Problem>,
}

impl Survey {
    /// One GeoTIFF, or a folder of GeoTIFF and .hgt tiles.
    pub fn of(path: &Path) -> Self {
        let mut survey = Self::default();
        let mut files = if path.is_dir() {
            survey.folder = Some(path.to_owned());
            grids_in(path)
        } else {
            vec![path.to_owned()]
        };
        if files.len() > MOST_GRIDS {
            let message = format!("{} elevation grids, of which the first {MOST_GRIDS} are read", files.len());
            survey.problems.push(unreadable(path, message));
            files.truncate(MOST_GRIDS);
        }
        for file in files {
            match Grid::open(&file) {
                Ok(grid) => survey.grids.push(grid),
                Err(message) => survey.problems.push(unreadable(&file, message)),
            }
        }
        survey.grids.sort_by(|a, b| a.step_deg().total_cmp(&b.step_deg()).then(a.path.cmp(&b.path)));
        survey.index();
        survey
    }

    fn index(&mut self) {
        for (number, grid) in self.grids.iter().enumerate() {
            let [south, west, north, east] = grid.bounds_deg().map(|edge| edge.floor() as i32);
            let cells = (i64::from(north - south) + 1) * (i64::from(east - west) + 1);
            if cells > MOST_CELLS as i64 {
                self.wide.push(number);
                continue;
            }
            for cell in (south..=north).flat_map(|lat| (west..=east).map(move |lon| (lat, lon))) {
                self.by_cell.entry(cell).or_default().push(number);
            }
        }
    }

    /// Grids that a place may lie in, the finest first.
    fn near(&self, lat_deg: f64, lon_deg: f64) -> Vec<usize> {
        let cell = (lat_deg.floor() as i32, lon_deg.floor() as i32);
        let mut near: Vec<usize> = self.by_cell.get(&cell).into_iter().flatten().copied().collect();
        near.extend(&self.wide);
        near.sort_unstable();
        near
    }
}

fn grids_in(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut files: Vec<PathBuf> = entries.map(|entry| entry.path()).filter(|path| is_grid(path)).collect();
    files.sort();
    files
}

/// True for a name that a GeoTIFF goes by.
pub fn is_grid(path: &Path) -> bool {
    let extension = path.extension().map(|e| e.to_string_lossy().to_ascii_lowercase());
    extension.is_some_and(|extension| extension == "tif" || extension == "tiff")
}

fn unreadable(path: &Path, message: String) -> Problem {
    Problem::warning("ingest-tile-unreadable", message)
        .in_file(path.display().to_string())
        .hint("mend it as said, or take it away: heights there come from the log")
}

/// Heights for one vehicle, with what it read last.
pub struct Heights<'s> {
    survey: &'s Survey,
    tiles: Option<Tiles>,
    chunks: Chunks<'s>,
}

impl<'s> Heights<'s> {
    pub fn new(survey: &'s Survey) -> Self {
        let tiles = survey.folder.as_deref().map(Tiles::new);
        Self { survey, tiles, chunks: Chunks::new(&survey.grids) }
    }

    /// Height at a place, linear between the four values around it, from the finest grid that has it; `None` beyond all tiles
    /// and in voids. [m]
    pub fn height(&mut self, lat_deg: f64, lon_deg: f64) -> Option<f64> {
        for number in self.survey.near(lat_deg, lon_deg) {
            let chunks = &mut self.chunks;
            let found = self.survey.grids[number]
                .between(lat_deg, lon_deg)
                .and_then(|four| four.height(|row, column| chunks.value(number, row, column)));
            if found.is_some() {
                return found;
            }
        }
        self.tiles.as_mut().and_then(|tiles| tiles.height(lat_deg, lon_deg))
    }

    /// What was found unreadable on the way.
    pub fn into_problems(self) -> Vec<Problem> {
        let mut problems = self.chunks.into_problems();
        problems.extend(self.tiles.into_iter().flat_map(|tiles| tiles.problems));
        problems
    }
}

/// A place among the four values around it.
struct Four {
    north: usize,
    west: usize,
    south: usize,
    east: usize,
    /// Shares of the way to the south and to the east.
    down: f64,
    right: f64,
}

impl Four {
    /// `row` and `column` count values from the north-western one; beyond the outermost values theirs hold.
    fn around(row: f64, column: f64, rows: usize, columns: usize) -> Self {
        let (row, column) = (row.clamp(0.0, (rows - 1) as f64), column.clamp(0.0, (columns - 1) as f64));
        let (north, west) = (row as usize, column as usize);
        Self {
            north,
            west,
            south: (north + 1).min(rows - 1),
            east: (west + 1).min(columns - 1),
            down: row - north as f64,
            right: column - west as f64,
        }
    }

    /// Linear both ways; a value that weighs nothing may be void.
    fn height(&self, mut value: impl FnMut(usize, usize) -> Option<f64>) -> Option<f64> {
        let corners = [
            (self.north, self.west, (1.0 - self.down) * (1.0 - self.right)),
            (self.north, self.east, (1.0 - self.down) * self.right),
            (self.south, self.west, self.down * (1.0 - self.right)),
            (self.south, self.east, self.down * self.right),
        ];
        let mut height = 0.0;
        for (row, column, share) in corners.into_iter().filter(|corner| corner.2 > 0.0) {
            height += share * value(row, column)?;
        }
        Some(height)
    }
}

#[cfg(test)]
mod tests;
