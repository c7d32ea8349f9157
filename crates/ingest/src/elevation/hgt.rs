//! Height of the terrain from elevation tiles on disk.
//!
//! A tile covers one degree by one degree and is named by its south-west corner, as the shuttle radar topography mission
//! named its files (N47E008.hgt): rows from north to south of signed 16-bit metres, most significant byte first, the
//! edges shared with the neighbours; -32768 is a void. 1201 or 3601 values a side. Source: SRTM documentation, from
//! memory, not confirmed beyond the tests.

use std::path::{Path, PathBuf};
use std::rc::Rc;

use backwatt_schema::Problem;

const VOID: i16 = -32_768;
const SIDES: [usize; 2] = [1201, 3601];
/// Tiles kept at once: a vehicle is near one corner at most. 26 MB each.
const KEPT: usize = 4;

pub struct Tiles {
    folder: PathBuf,
    kept: Vec<(Corner, Option<Rc<Tile>>)>,
    pub problems: Vec<Problem>,
}

/// South and west edge. [deg]
type Corner = (i32, i32);

struct Tile {
    side: usize,
    heights: Vec<u8>,
}

impl Tiles {
    pub fn new(folder: &Path) -> Self {
        Self { folder: folder.to_owned(), kept: Vec::new(), problems: Vec::new() }
    }

    /// Height at a place, linear between the four values around it; `None` beyond the tiles and in voids. [m]
    pub fn height(&mut self, lat_deg: f64, lon_deg: f64) -> Option<f64> {
        let (south, west) = (lat_deg.floor(), lon_deg.floor());
        let tile = self.tile((south as i32, west as i32))?;
        let steps = (tile.side - 1) as f64;
        // Rows count from the north edge.
        let (row, column) = ((south + 1.0 - lat_deg) * steps, (lon_deg - west) * steps);
        let (north, left) = ((row as usize).min(tile.side - 2), (column as usize).min(tile.side - 2));
        let (down, right) = (row - north as f64, column - left as f64);
        let corners = [
            (north, left, (1.0 - down) * (1.0 - right)),
            (north, left + 1, (1.0 - down) * right),
            (north + 1, left, down * (1.0 - right)),
            (north + 1, left + 1, down * right),
        ];
        let mut height = 0.0;
        for (row, column, share) in corners.into_iter().filter(|corner| corner.2 > 0.0) {
            height += share * tile.at(row, column)?;
        }
        Some(height)
    }

    fn tile(&mut self, corner: Corner) -> Option<Rc<Tile>> {
        if let Some((_, tile)) = self.kept.iter().find(|(kept, _)| *kept == corner) {
            return tile.clone();
        }
        let tile = self.read(corner).map(Rc::new);
        if self.kept.len() >= KEPT {
            self.kept.remove(0);
        }
        self.kept.push((corner, tile.clone()));
        tile
    }

    fn read(&mut self, (south, west): Corner) -> Option<Tile> {
        let path = self.folder.join(name(south, west));
        let length = std::fs::metadata(&path).ok()?.len();
        let side = SIDES.into_iter().find(|side| length == (side * side * 2) as u64);
        let heights = side.and_then(|_| std::fs::read(&path).ok());
        let Some((side, heights)) = side.zip(heights) else {
            let message = format!(
                "an elevation tile of {length} bytes is none: 1201 or 3601 values a side, 2 bytes each"
            );
            let problem =
                Problem::warning("ingest-tile-unreadable", message).in_file(path.display().to_string());
            self.problems
                .push(problem.hint("unpack it, or take it out of the folder: heights there come from the log"));
            return None;
        };
        Some(Tile { side, heights })
    }
}

impl Tile {
    fn at(&self, row: usize, column: usize) -> Option<f64> {
        let from = 2 * (row * self.side + column);
        let bytes = self.heights.get(from..from + 2)?;
        let height = i16::from_be_bytes([bytes[0], bytes[1]]);
        (height != VOID).then(|| f64::from(height))
    }
}

/// N47E008.hgt, S34W070.hgt.
fn name(south: i32, west: i32) -> String {
    let (ns, ew) = (if south < 0 { 'S' } else { 'N' }, if west < 0 { 'W' } else { 'E' });
    format!("{ns}{:02}{ew}{:03}.hgt", south.abs(), west.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 100 m in the south-west corner, 2 m higher a step to the north and 1 m a step to the east.
    fn plane() -> Vec<u8> {
        let side = 1201;
        let height = |row: usize, column: usize| 100 + 2 * (side - 1 - row) as i16 + column as i16;
        (0..side).flat_map(|row| (0..side).flat_map(move |column| height(row, column).to_be_bytes())).collect()
    }

    #[test]
    fn heights_lie_on_the_plane_between_the_values() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("S34W071.hgt"), plane()).unwrap();
        let mut tiles = Tiles::new(folder.path());
        for (lat, lon) in [(-34.0, -71.0), (-33.25, -70.5), (-33.000_1, -70.000_1), (-33.7777, -70.1234)] {
            let expected = 100.0 + 1200.0 * (2.0 * (lat + 34.0) + (lon + 71.0));
            let found = tiles.height(lat, lon).unwrap();
            assert!((found - expected).abs() < 1e-6, "{lat} {lon}: {found} {expected}");
        }
        assert_eq!(tiles.height(-32.5, -70.5), None, "no tile there");
        assert!(tiles.problems.is_empty());
    }

    #[test]
    fn voids_and_torn_tiles_give_no_height() {
        let folder = tempfile::tempdir().unwrap();
        let mut bytes = plane();
        bytes[..2].copy_from_slice(&VOID.to_be_bytes());
        std::fs::write(folder.path().join("N47E008.hgt"), &bytes).unwrap();
        std::fs::write(folder.path().join("N48E008.hgt"), &bytes[..1000]).unwrap();
        let mut tiles = Tiles::new(folder.path());
        assert_eq!(tiles.height(47.999_9, 8.000_1), None, "beside the void in the north-west corner");
        assert!(tiles.height(47.5, 8.5).is_some());
        assert_eq!(tiles.height(48.5, 8.5), None);
        assert_eq!(tiles.problems.len(), 1);
        assert_eq!(tiles.height(48.6, 8.5), None);
        assert_eq!(tiles.problems.len(), 1, "said once");
    }
}
