//! Plain names of found routes, from the places of their typical rounds.

use std::collections::BTreeMap;

use h3o::CellIndex;

use super::found::{Basis, Route};
use super::way::Way;
use crate::places::{Places, Position, centre, coarse, metres};

/// Names every found route; routes of one name are numbered in the order of their ids.
pub fn name(routes: &mut [Route], places: &Places) {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for route in routes.iter_mut().filter(|route| route.basis == Basis::Found) {
        let plain = plain(&route.typical, places);
        let count = seen.entry(plain.clone()).or_default();
        *count += 1;
        route.name = if *count == 1 { plain } else { format!("{plain}, {count}") };
    }
}

/// First place, farthest place or part, last place.
fn plain(typical: &Way, places: &Places) -> String {
    let stops: Vec<_> = typical.stops.iter().filter_map(|place| places.get(*place)).collect();
    let cells = typical.path.iter().filter_map(|cell| CellIndex::try_from(*cell).ok());
    let way: Vec<Position> = cells.map(centre).collect();
    let from = stops.first().map(|place| place.middle).or(way.first().copied()).unwrap_or_default();
    let between = stops.iter().skip(1).filter(|place| metres(place.middle, from) > place.radius_m);
    let farthest =
        between.max_by(|a, b| metres(a.middle, from).total_cmp(&metres(b.middle, from)).then(b.id.cmp(&a.id)));
    let turn = || {
        let far = way.iter().max_by(|a, b| metres(**a, from).total_cmp(&metres(**b, from)));
        coarse(far.copied().unwrap_or(from))
    };
    let first = stops.first().map_or_else(|| coarse(from), |place| place.name.clone());
    let last =
        stops.last().map_or_else(|| way.last().map_or_else(String::new, |at| coarse(*at)), |p| p.name.clone());
    let turn = farthest.map_or_else(turn, |place| place.name.clone());
    if turn == last { format!("{first} – {last}") } else { format!("{first} – {turn} – {last}") }
}

/// Names of the places of a round in order.
pub fn sequence(typical: &Way, places: &Places) -> Option<String> {
    let names: Vec<&str> =
        typical.stops.iter().filter_map(|place| Some(places.get(*place)?.name.as_str())).collect();
    (!names.is_empty()).then(|| names.join(" – "))
}
