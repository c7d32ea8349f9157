//! Road cells of each trip in the order of the way, gaps bridged where they are short.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, tables, text_at};
use h3o::CellIndex;

/// Longest jump that is bridged by a straight line: about a kilometre. [cells]
const BRIDGED_MOST: i32 = 8;

/// Cells of each trip, none twice in a row.
pub fn paths(crossings: &RecordBatch) -> Result<BTreeMap<&str, Vec<u64>>, BatchError> {
    let view = BatchView::new(&tables::CROSSINGS, crossings);
    let (trips, cells) = (view.texts("trip_id")?, view.texts("cell")?);
    let mut paths: BTreeMap<&str, Vec<u64>> = BTreeMap::new();
    for row in 0..view.rows() {
        let cell = text_at(cells, row).and_then(|text| u64::from_str_radix(text, 16).ok());
        let Some((trip, cell)) = text_at(trips, row).zip(cell) else { continue };
        step(paths.entry(trip).or_default(), cell);
    }
    Ok(paths)
}

/// Goes on to a cell, by those in between.
pub fn step(path: &mut Vec<u64>, cell: u64) {
    match path.last() {
        Some(last) if *last == cell => {}
        Some(last) => {
            path.extend(bridge(*last, cell));
            path.push(cell);
        }
        None => path.push(cell),
    }
}

/// Cells strictly between two; none where they are neighbours or far apart.
fn bridge(from: u64, to: u64) -> Vec<u64> {
    let (Ok(from), Ok(to)) = (CellIndex::try_from(from), CellIndex::try_from(to)) else { return Vec::new() };
    if !from.grid_distance(to).is_ok_and(|apart| (2..=BRIDGED_MOST).contains(&apart)) {
        return Vec::new();
    }
    let Ok(line) = from.grid_path_cells(to) else { return Vec::new() };
    let line: Vec<u64> = line.filter_map(Result::ok).map(u64::from).collect();
    line.into_iter().filter(|cell| *cell != u64::from(from) && *cell != u64::from(to)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use h3o::{LatLng, Resolution};

    #[test]
    fn a_short_jump_is_bridged_and_a_long_one_is_not() {
        let cell = |lat: f64| u64::from(LatLng::new(lat, 8.0).expect("a place").to_cell(Resolution::Ten));
        let mut path = Vec::new();
        [50.0, 50.004, 50.4].into_iter().for_each(|lat| step(&mut path, cell(lat)));
        assert!(path.len() > 4 && path[path.len() - 2] == cell(50.004), "{path:?}");
    }
}
