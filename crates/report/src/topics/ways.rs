//! Where on its routes a road cell lies: how far into the round, and where a map may name them.

use std::collections::{BTreeMap, BTreeSet};
use std::str::FromStr as _;

use backwatt_schema::METRES_PER_MILE;
use h3o::{CellIndex, LatLng};

use super::map::Label;
use super::places::{Places, metres};
use super::rows::{Read, Row};
use super::units::Units;
use crate::figure::{Kind, name};

/// The typical round of a route as cells, in order.
struct Way {
    name: String,
    rounds: u64,
    cells: Vec<CellIndex>,
    /// Driven from the start of the round to where a cell is first entered. [m]
    into_m: BTreeMap<CellIndex, f64>,
    round_m: f64,
}

/// All routes, those with most rounds first.
pub struct Ways {
    ways: Vec<Way>,
    places: Places,
}

impl Ways {
    pub fn of(routes: &[Row<'_>], places: Places) -> Read<Self> {
        let mut ways = Vec::new();
        for row in routes {
            let cells: Vec<CellIndex> =
                row.text("way")?.split(' ').filter_map(|cell| CellIndex::from_str(cell).ok()).collect();
            let round_m = METRES_PER_MILE * row.number("round_distance_median_mi")?.unwrap_or(0.0);
            if !cells.is_empty() && round_m > 0.0 {
                let into_m = into(&cells, round_m);
                let rounds = row.count("rounds")?.unwrap_or(0);
                ways.push(Way { name: row.text("name")?.to_owned(), rounds, cells, into_m, round_m });
            }
        }
        ways.sort_by_key(|way| std::cmp::Reverse(way.rounds));
        Ok(Self { ways, places })
    }

    /// "old-town at 0.9 of 3.6 miles, near stop 38"; its position where no route and no place is known.
    pub fn told(&self, cell: CellIndex, units: Units) -> String {
        let [route, into, near] = self.parts(cell, units);
        let mut parts = Vec::new();
        if !route.is_empty() {
            parts.push(format!("{route} at {into} {}", units.distance()));
        }
        if !near.is_empty() {
            parts.push(format!("near {near}"));
        }
        if parts.is_empty() { position(LatLng::from(cell)) } else { parts.join(", ") }
    }

    /// Route, how far into how long a round, and the nearest place; empty where it is not known.
    pub fn parts(&self, cell: CellIndex, units: Units) -> [String; 3] {
        let mut on = self.ways.iter().filter_map(|way| Some((way, way.into_m.get(&cell)?)));
        let of = |si: f64| units.figure(si, Kind::Distance, 1);
        let (route, into) = on.next().map_or((String::new(), String::new()), |(way, into_m)| {
            (name(&way.name), format!("{} of {}", of(*into_m), of(way.round_m)))
        });
        let at = LatLng::from(cell);
        let near = self.places.near(at.lat(), at.lng()).map_or(String::new(), name);
        [route, into, near]
    }

    /// Where each route's name may be written, among the cells drawn: along its longest stretch that no other route shares,
    /// from the middle outwards, then anywhere on it.
    pub fn labels(&self, drawn: &BTreeSet<CellIndex>) -> Vec<Label> {
        let mut on: BTreeMap<CellIndex, usize> = BTreeMap::new();
        for cell in self.ways.iter().flat_map(|way| way.into_m.keys()) {
            *on.entry(*cell).or_default() += 1;
        }
        let label = |way: &Way| {
            let is_own = |cell: &CellIndex| on.get(cell) == Some(&1) && drawn.contains(cell);
            let own = way.cells.split(|cell| !is_own(cell)).max_by_key(|stretch| stretch.len());
            let mut cells: Vec<CellIndex> = own.unwrap_or_default().to_vec();
            let middle = cells.len() / 2;
            let mut order: Vec<usize> = (0..cells.len()).collect();
            order.sort_by_key(|at| at.abs_diff(middle));
            cells = order.into_iter().map(|at| cells[at]).collect();
            cells.extend(way.cells.iter().filter(|cell| drawn.contains(cell)));
            let at = cells.into_iter().map(LatLng::from).map(|at| (at.lng(), at.lat())).collect();
            Label { at, text: way.name.clone() }
        };
        self.ways.iter().map(label).collect()
    }
}

/// How far into the round each cell is first entered: along the centres, drawn to the length of the round. What goes back and
/// forth between two cells, as a position does at a stop, is no way.
fn into(cells: &[CellIndex], round_m: f64) -> BTreeMap<CellIndex, f64> {
    let at = |cell: CellIndex| {
        let at = LatLng::from(cell);
        (at.lat(), at.lng())
    };
    let mut along = Vec::with_capacity(cells.len());
    let mut sum = 0.0;
    for (n, cell) in cells.iter().enumerate() {
        let is_back = n >= 2 && cells[n - 2] == *cell;
        if n > 0 && !is_back {
            sum += metres(at(cells[n - 1]), at(*cell));
        }
        along.push(sum);
    }
    let scale = if sum > 0.0 { round_m / sum } else { 0.0 };
    let mut into = BTreeMap::new();
    for (cell, m) in cells.iter().zip(along) {
        into.entry(*cell).or_insert(scale * m);
    }
    into
}

pub fn position(at: LatLng) -> String {
    let side = |deg: f64, [plus, minus]: [&str; 2]| {
        format!("{:.3} {}", deg.abs(), if deg < 0.0 { minus } else { plus })
    };
    format!("{}, {}", side(at.lat(), ["N", "S"]), side(at.lng(), ["E", "W"]))
}

#[cfg(test)]
mod tests {
    use h3o::Resolution;

    use super::*;

    fn cells(lons: &[f64]) -> Vec<CellIndex> {
        lons.iter().map(|lon| LatLng::new(38.6, -38.9 + lon).unwrap().to_cell(Resolution::Ten)).collect()
    }

    fn way(name: &str, rounds: u64, cells: Vec<CellIndex>) -> Way {
        let into_m = into(&cells, 3218.688);
        Way { name: name.to_owned(), rounds, cells, into_m, round_m: 3218.688 }
    }

    #[test]
    fn back_and_forth_at_a_stop_is_no_way() {
        let [a, b, c] = cells(&[0.0, 0.0015, 0.003])[..] else { panic!("three cells") };
        let straight = into(&[a, b, c], 1000.0);
        let jittered = into(&[a, b, a, b, a, b, c], 1000.0);
        assert!((jittered[&b] - straight[&b]).abs() < 150.0, "{jittered:?} {straight:?}");
        assert!((straight[&c] - 1000.0).abs() < 1e-9 && straight[&a] == 0.0);
    }

    #[test]
    fn a_cell_is_told_by_its_route_and_named_where_no_other_goes() {
        let shared = cells(&[0.0, 0.0015, 0.003, 0.0045, 0.006]);
        let ways = Ways {
            ways: vec![way("north", 9, shared.clone()), way("short", 2, shared[..2].to_vec())],
            places: Places::default(),
        };
        let units = Units { metric: false };
        assert_eq!(crate::figure::plain(&ways.told(shared[4], units)), "north at 2.0 of 2.0 miles");
        let labels = ways.labels(&shared.iter().copied().collect());
        let at = |text: &str| labels.iter().find(|label| label.text == text).unwrap().at[0].0;
        assert!(at("north") > LatLng::from(shared[2]).lng(), "{labels:?}");
        let elsewhere = cells(&[0.5]);
        assert!(ways.told(elsewhere[0], units).contains(" N, 38.4"), "{}", ways.told(elsewhere[0], units));
    }
}
