//! What two rounds have in common: road cells, and places in order.

use std::collections::BTreeSet;

use h3o::CellIndex;

/// Places weigh this much beside road cells. Two rounds of the same streets to other customers stay alike, and so do
/// rounds with a customer more or less. Common practice, no source.
const PLACES_WEIGHT: f64 = 0.25;
/// No round has more places to compare.
const PLACES_MOST: usize = 64;

/// A round as it is compared.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Way {
    /// Road cells in the order of the way.
    pub path: Vec<u64>,
    /// The same, each once, in order of their numbers; and with their neighbours.
    cells: Vec<u64>,
    near: Vec<u64>,
    /// Numbers of the places stood at, in the order of the way.
    pub stops: Vec<usize>,
}

impl Way {
    pub fn new(path: Vec<u64>, mut stops: Vec<usize>) -> Self {
        let cells: BTreeSet<u64> = path.iter().copied().collect();
        let neighbours = |cell: &u64| -> Vec<CellIndex> {
            CellIndex::try_from(*cell).map_or_else(|_| Vec::new(), |cell| cell.grid_disk(1))
        };
        let near: BTreeSet<u64> = cells.iter().flat_map(neighbours).map(u64::from).collect();
        stops.dedup();
        Self { path, cells: cells.into_iter().collect(), near: near.into_iter().collect(), stops }
    }

    pub fn len(&self) -> usize {
        self.cells.len()
    }

    pub fn cells(&self) -> &[u64] {
        &self.cells
    }

    /// How alike two rounds are, 0 to 1, whichever way round either was driven.
    ///
    /// Road: the share of the cells of both that lie in or beside a cell of the other, as Dice (1945) counts what two sets
    /// have in common. A neighbour counts because a road along the border of two cells falls now in one and now in the
    /// other, and because straight lines between slow fixes cut corners. Places: twice the longest common subsequence
    /// over both lengths, forward or backward, the better.
    pub fn likeness(&self, other: &Way) -> f64 {
        let both = self.len() + other.len();
        if both == 0 {
            return 0.0;
        }
        let road = (shared(&self.cells, &other.near) + shared(&other.cells, &self.near)) as f64 / both as f64;
        match places_alike(&self.stops, &other.stops) {
            Some(places) => (1.0 - PLACES_WEIGHT) * road + PLACES_WEIGHT * places,
            None => road,
        }
    }

    /// Share of this round's cells that lie in or beside a cell of the other: what a round cut short has left to tell.
    pub fn inside(&self, other: &Way) -> f64 {
        if self.cells.is_empty() { 0.0 } else { shared(&self.cells, &other.near) as f64 / self.len() as f64 }
    }
}

/// How many of `cells` are in `near`, both in order.
fn shared(cells: &[u64], near: &[u64]) -> usize {
    let mut rest = near.iter().peekable();
    let is_near = |cell: &&u64| {
        while rest.next_if(|next| next < cell).is_some() {}
        rest.peek() == Some(cell)
    };
    cells.iter().filter(is_near).count()
}

/// `None` where either stood at no known place between its ends: then places tell nothing.
fn places_alike(a: &[usize], b: &[usize]) -> Option<f64> {
    let (a, b) = (&a[..a.len().min(PLACES_MOST)], &b[..b.len().min(PLACES_MOST)]);
    if a.len() < 2 || b.len() < 2 {
        return None;
    }
    let back: Vec<usize> = b.iter().rev().copied().collect();
    let common = longest_common(a, b).max(longest_common(a, &back));
    Some(2.0 * common as f64 / (a.len() + b.len()) as f64)
}

/// Length of the longest common subsequence.
fn longest_common(a: &[usize], b: &[usize]) -> usize {
    let mut row = vec![0; b.len() + 1];
    for x in a {
        let mut diagonal = 0;
        for (at, y) in b.iter().enumerate() {
            let above = row[at + 1];
            row[at + 1] = if x == y { diagonal + 1 } else { above.max(row[at]) };
            diagonal = above;
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use h3o::{LatLng, Resolution};

    /// Cells along a line north, `from..to` in steps of 50 m.
    fn north(from: u32, to: u32, east: f64) -> Vec<u64> {
        let at = |step: u32| LatLng::new(50.0 + f64::from(step) * 4.5e-4, 8.0 + east).expect("a place");
        (from..to).map(|step| u64::from(at(step).to_cell(Resolution::Ten))).collect()
    }

    #[test]
    fn direction_does_not_matter() {
        let (out, mut back) = (north(0, 100, 0.0), north(0, 100, 0.0));
        back.reverse();
        let likeness = Way::new(out, vec![1, 2, 3]).likeness(&Way::new(back, vec![3, 2, 1]));
        assert!((likeness - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_detour_costs_about_its_share_and_another_road_all() {
        let plain = Way::new(north(0, 100, 0.0), vec![]);
        let mut path = north(0, 100, 0.0);
        path.extend(north(0, 20, 0.02));
        let detour = plain.likeness(&Way::new(path, vec![]));
        assert!((0.85..0.95).contains(&detour), "{detour}");
        assert!(plain.likeness(&Way::new(north(0, 100, 0.02), vec![])) == 0.0);
    }

    #[test]
    fn the_longest_common_subsequence_of_the_textbook() {
        // ABCBDAB and BDCABA: 4 (Cormen, Leiserson, Rivest, Stein, Introduction to Algorithms, 15.4).
        assert_eq!(longest_common(&[1, 2, 3, 2, 4, 1, 2], &[2, 4, 3, 1, 2, 1]), 4);
    }

    #[test]
    fn half_a_round_lies_inside_the_whole() {
        let (half, whole) = (Way::new(north(0, 50, 0.0), vec![]), Way::new(north(0, 100, 0.0), vec![]));
        assert!((half.inside(&whole) - 1.0).abs() < 1e-12 && whole.inside(&half) < 0.6);
    }
}
