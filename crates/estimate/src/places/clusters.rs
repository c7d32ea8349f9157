//! Spots that belong together: density clustering over the cells of a grid.
//!
//! A spot is dense where it and those within reach of it were visited often enough; dense spots within reach of each other
//! are one cluster, and a spot within reach of a dense one joins the nearest. Ties go to the lower cell, so that the
//! outcome depends on no order.
//!
//! Source: Ester, Kriegel, Sander, Xu (1996), "A density-based algorithm for discovering clusters in large spatial
//! databases with noise", KDD-96, definitions 1 to 5. Departures: a point is a cell with the number of its visits; border
//! points join the nearest cluster, where the paper leaves them to the first that comes by; clusters too broad to be one
//! place are taken apart with a shorter reach.

use std::collections::{BTreeMap, BTreeSet};

use h3o::CellIndex;

use super::dwells::Spot;
use super::metres;

/// Reach in cells, 19 m from one to the next: 56 m, the error of two positions and a loading bay. Then shorter.
const REACHES: [u32; 3] = [3, 2, 1];
/// A place was visited at least so often. Common practice, no source.
pub const VISITS_LEAST: u64 = 3;
/// Broader than this is no one place: a yard is smaller, a street with a stop at every house is not one. [m]
const BROADEST_M: f64 = 250.0;

/// Clusters of cells, each in order, by their first cell.
pub fn clusters(spots: &BTreeMap<u64, Spot>) -> Vec<Vec<u64>> {
    let mut done = Vec::new();
    let mut open: Vec<(Vec<u64>, usize)> = vec![(spots.keys().copied().collect(), 0)];
    while let Some((cells, step)) = open.pop() {
        for cluster in within_reach(spots, &cells, REACHES[step]) {
            let last = step + 1 == REACHES.len();
            if last || radius_m(spots, &cluster) <= BROADEST_M {
                done.push(cluster);
            } else {
                open.push((cluster, step + 1));
            }
        }
    }
    done.sort();
    done
}

/// From the middle of all visits to the farthest spot. [m]
pub fn radius_m(spots: &BTreeMap<u64, Spot>, cells: &[u64]) -> f64 {
    let mut all = Spot::default();
    cells.iter().filter_map(|cell| spots.get(cell)).for_each(|spot| all.add(spot));
    let middle = all.middle();
    cells
        .iter()
        .filter_map(|cell| spots.get(cell))
        .map(|spot| metres(middle, spot.middle()))
        .fold(0.0, f64::max)
}

fn within_reach(spots: &BTreeMap<u64, Spot>, cells: &[u64], reach: u32) -> Vec<Vec<u64>> {
    let here: BTreeSet<u64> = cells.iter().copied().collect();
    let near = |cell: u64| -> Vec<u64> {
        let Ok(index) = CellIndex::try_from(cell) else { return Vec::new() };
        let disk: Vec<CellIndex> = index.grid_disk(reach);
        disk.into_iter().map(u64::from).filter(|cell| here.contains(cell)).collect()
    };
    let visits = |cell: u64| spots.get(&cell).map_or(0, |spot| spot.visits);
    let is_dense = |cell: &u64| near(*cell).into_iter().map(visits).sum::<u64>() >= VISITS_LEAST;
    let dense: BTreeSet<u64> = here.iter().copied().filter(is_dense).collect();
    let mut cluster_of: BTreeMap<u64, usize> = BTreeMap::new();
    let mut clusters: Vec<Vec<u64>> = Vec::new();
    for first in &dense {
        if cluster_of.contains_key(first) {
            continue;
        }
        let (number, mut open) = (clusters.len(), vec![*first]);
        clusters.push(Vec::new());
        while let Some(cell) = open.pop() {
            if cluster_of.insert(cell, number).is_none() {
                clusters[number].push(cell);
                open.extend(near(cell).into_iter().filter(|next| dense.contains(next)));
            }
        }
    }
    for cell in here.difference(&dense) {
        let apart = |other: &u64| metres(spots[cell].middle(), spots[other].middle());
        let neighbours = near(*cell).into_iter().filter(|next| dense.contains(next));
        if let Some(nearest) = neighbours.min_by(|a, b| apart(a).total_cmp(&apart(b)).then(a.cmp(b))) {
            clusters[cluster_of[&nearest]].push(*cell);
        }
    }
    clusters.iter_mut().for_each(|cluster| cluster.sort_unstable());
    clusters
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::{SPOT, point};

    const NORTH: f64 = 1.0 / 111_195.0;

    /// Spots visited so often at places north of a corner. [m]
    fn spots(at: &[(f64, u64)]) -> BTreeMap<u64, Spot> {
        let mut spots: BTreeMap<u64, Spot> = BTreeMap::new();
        for (metres, visits) in at {
            let place = (50.0 + metres * NORTH, 8.0);
            let cell = u64::from(point(place).expect("a place").to_cell(SPOT));
            spots.entry(cell).or_default().add(&Spot::visited(place, *visits));
        }
        spots
    }

    #[test]
    fn two_yards_are_two_places_and_a_single_visit_is_none() {
        let spots = spots(&[(0.0, 5), (20.0, 1), (400.0, 4), (900.0, 1), (1500.0, 2)]);
        let sizes: Vec<usize> = clusters(&spots).iter().map(Vec::len).collect();
        assert_eq!(sizes.iter().sum::<usize>(), 3, "{sizes:?}");
        assert_eq!(sizes.len(), 2);
    }

    #[test]
    fn scattered_visits_within_reach_are_one_place() {
        assert_eq!(clusters(&spots(&[(0.0, 1), (25.0, 1), (45.0, 1)])).len(), 1);
    }

    /// A kilometre of street with a delivery every 40 m: within the first reach of each other, and no one place.
    #[test]
    fn a_street_of_stops_is_not_one_place() {
        let street: Vec<(f64, u64)> = (0..25).map(|house| (40.0 * f64::from(house), 4)).collect();
        let spots = spots(&street);
        let clusters = clusters(&spots);
        assert!(clusters.len() > 10, "{}", clusters.len());
        assert!(clusters.iter().all(|cluster| radius_m(&spots, cluster) <= BROADEST_M));
    }
}
