//! Places as found: their names, their kinds, and which of them a position lies in.

use std::collections::{BTreeMap, BTreeSet};

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};
use h3o::{CellIndex, Resolution};

use super::clusters::{VISITS_LEAST, clusters, radius_m};
use super::dwells::{Dwells, Spot};
use super::{Position, metres, point};

/// A place's name is the cell of 29 m edge of its most visited spot.
const ID: Resolution = Resolution::Eleven;
/// Places are looked up by cells of 531 m edge.
const LOOKUP: Resolution = Resolution::Eight;
const LOOKUP_M: f64 = 900.0;
/// A position this far off is still there. [m]
const LEAST_RADIUS_M: f64 = 50.0;
/// A place is called a depot from this many nights. Common practice, no source.
pub const NIGHTS_LEAST: u64 = 2;
/// Within this distance of where a vehicle spent a night the map tells of a home. [m] Common practice, no source.
pub const NIGHT_NEAR_M: f64 = 300.0;

/// A place that the pilot file names.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownPlace {
    pub name: String,
    pub lat_deg: f64,
    pub lon_deg: f64,
    pub radius_m: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    pub id: String,
    /// Short enough to stand in the name of a route.
    pub name: String,
    pub is_named: bool,
    pub is_depot: bool,
    pub middle: Position,
    pub radius_m: f64,
    spot: Spot,
}

/// All places, by id.
#[derive(Debug, Clone, Default)]
pub struct Places {
    places: Vec<Place>,
    by_cell: BTreeMap<u64, Vec<usize>>,
    /// Where nights were spent, and how far around them a map tells of it.
    nights: BTreeMap<u64, Vec<(Position, f64)>>,
}

impl Places {
    /// Places out of the visits of all vehicles. A place the pilot file names holds what lies within its radius; the
    /// rest is clustered.
    pub fn find(dwells: &Dwells, known: &[KnownPlace]) -> Self {
        let (named, rest) = split(dwells, known);
        let mut groups: Vec<(Option<&KnownPlace>, Vec<u64>)> =
            named.into_iter().map(|(at, cells)| (Some(&known[at]), cells)).collect();
        groups.extend(clusters(&rest).into_iter().map(|cells| (None, cells)));
        let is_depot = depots(&groups, dwells);
        let mut places: Vec<Place> = groups
            .iter()
            .zip(is_depot)
            .map(|((known, cells), depot)| place(*known, cells, depot, dwells))
            .collect();
        places.sort_by(|a, b| a.id.cmp(&b.id).then(a.middle.0.total_cmp(&b.middle.0)));
        number(&mut places);
        let mut found = Self { places, ..Self::default() };
        found.index(dwells);
        found
    }

    pub fn iter(&self) -> impl Iterator<Item = &Place> {
        self.places.iter()
    }

    pub fn get(&self, number: usize) -> Option<&Place> {
        self.places.get(number)
    }

    /// The place a position lies in, the nearest where several hold it.
    pub fn at(&self, position: Position) -> Option<usize> {
        let cell = u64::from(point(position)?.to_cell(LOOKUP));
        let near = self.by_cell.get(&cell)?.iter().copied();
        let inside = near.map(|at| (metres(self.places[at].middle, position), at));
        let inside = inside.filter(|(apart, at)| *apart <= self.places[*at].radius_m);
        inside.min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))).map(|(_, at)| at)
    }

    pub fn is_depot(&self, number: usize) -> bool {
        self.places.get(number).is_some_and(|place| place.is_depot)
    }

    /// Whether a position tells where somebody, or a vehicle, spends the night.
    pub fn is_near_night(&self, position: Position) -> bool {
        let Some(here) = point(position) else { return false };
        let nights = self.nights.get(&u64::from(here.to_cell(LOOKUP)));
        nights.is_some_and(|all| all.iter().any(|(night, reach_m)| metres(*night, position) <= *reach_m))
    }

    fn index(&mut self, dwells: &Dwells) {
        for (at, place) in self.places.iter().enumerate() {
            for cell in around(place.middle, place.radius_m) {
                self.by_cell.entry(cell).or_default().push(at);
            }
        }
        let spots = dwells.spots.values().filter(|spot| spot.nights > 0);
        let spots = spots.map(|spot| (spot.middle(), NIGHT_NEAR_M));
        let depots = self.places.iter().filter(|place| place.is_depot);
        for (middle, reach_m) in spots.chain(depots.map(|depot| (depot.middle, NIGHT_NEAR_M + depot.radius_m)))
        {
            for cell in around(middle, reach_m) {
                self.nights.entry(cell).or_default().push((middle, reach_m));
            }
        }
    }

    /// The table `places`.
    pub fn batch(&self) -> Result<RecordBatch, BatchError> {
        let each = || self.places.iter();
        let names: Vec<String> = each().map(Place::full_name).collect();
        let share = |spot: &Spot| spot.nights as f64 / spot.visits.max(1) as f64;
        BatchBuilder::new(&tables::PLACES)
            .text("place_id", each().map(|p| Some(p.id.as_str())))
            .text("name", names.iter().map(|name| Some(name.as_str())))
            .text("name_basis", each().map(|p| Some(if p.is_named { "named" } else { "found" })))
            .text("kind", each().map(|p| Some(if p.is_depot { "depot" } else { "stop" })))
            .number("lat_deg", each().map(|p| p.middle.0))
            .number("lon_deg", each().map(|p| p.middle.1))
            .number("radius_m", each().map(|p| p.radius_m))
            .count("visits", each().map(|p| p.spot.visits))
            .count("vehicles", each().map(|p| p.spot.vehicles.len() as u64))
            .count("overnight_visits", each().map(|p| p.spot.nights))
            .number("standing_s", each().map(|p| p.spot.standing_s()))
            .number("visit_median_s", each().map(|p| p.spot.median_s()))
            .number("overnight_share_frac", each().map(|p| share(&p.spot)))
            .finish()
    }
}

impl Place {
    /// With its position, coarse: a hundredth of a degree is a kilometre.
    fn full_name(&self) -> String {
        if self.is_named { self.name.clone() } else { format!("{} ({})", self.name, coarse(self.middle)) }
    }
}

pub(crate) fn coarse((lat, lon): Position) -> String {
    let (north, east) = (if lat < 0.0 { "S" } else { "N" }, if lon < 0.0 { "W" } else { "E" });
    format!("{:.2} {north}, {:.2} {east}", lat.abs(), lon.abs())
}

/// Cells in which a place may be looked up.
fn around(middle: Position, radius_m: f64) -> Vec<u64> {
    let rings = ((radius_m / LOOKUP_M).ceil() + 1.0).min(12.0) as u32;
    let disk: Vec<CellIndex> = point(middle).map_or_else(Vec::new, |at| at.to_cell(LOOKUP).grid_disk(rings));
    disk.into_iter().map(u64::from).collect()
}

/// Spots within the radius of a named place, by its number, and the rest.
fn split(dwells: &Dwells, known: &[KnownPlace]) -> (BTreeMap<usize, Vec<u64>>, BTreeMap<u64, Spot>) {
    let mut by_cell: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
    for (at, place) in known.iter().enumerate() {
        for cell in around((place.lat_deg, place.lon_deg), place.radius_m) {
            by_cell.entry(cell).or_default().push(at);
        }
    }
    let (mut named, mut rest) = (BTreeMap::<usize, Vec<u64>>::new(), BTreeMap::new());
    for (cell, spot) in &dwells.spots {
        let middle = spot.middle();
        let key = point(middle).map(|at| u64::from(at.to_cell(LOOKUP)));
        let near = key.and_then(|key| by_cell.get(&key)).into_iter().flatten().copied();
        let apart = |at: usize| metres((known[at].lat_deg, known[at].lon_deg), middle);
        let inside = near.map(|at| (apart(at), at)).filter(|(apart, at)| *apart <= known[*at].radius_m);
        match inside.min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))) {
            Some((_, at)) => named.entry(at).or_default().push(*cell),
            None => {
                rest.insert(*cell, spot.clone());
            }
        }
    }
    (named, rest)
}

/// Places of at least two nights; where no vehicle was seen over night, the place where most trips begin and end.
fn depots(groups: &[(Option<&KnownPlace>, Vec<u64>)], dwells: &Dwells) -> Vec<bool> {
    let sum = |cells: &[u64], of: fn(&Spot) -> u64| -> u64 {
        cells.iter().filter_map(|cell| dwells.spots.get(cell)).map(of).sum()
    };
    let nights: Vec<bool> = groups.iter().map(|(_, cells)| sum(cells, |s| s.nights) >= NIGHTS_LEAST).collect();
    if nights.contains(&true) {
        return nights;
    }
    let ends: Vec<u64> = groups.iter().map(|(_, cells)| sum(cells, |s| s.trip_ends)).collect();
    let most = ends.iter().copied().max().filter(|most| *most >= VISITS_LEAST);
    // Of several, the one with the lowest cell: groups are in that order.
    let first = most.and_then(|most| {
        let like = (0..groups.len()).filter(|at| ends[*at] == most);
        like.min_by_key(|at| groups[*at].1.first().copied())
    });
    (0..groups.len()).map(|at| first == Some(at)).collect()
}

fn place(known: Option<&KnownPlace>, cells: &[u64], is_depot: bool, dwells: &Dwells) -> Place {
    let mut spot = Spot::default();
    cells.iter().filter_map(|cell| dwells.spots.get(cell)).for_each(|one| spot.add(one));
    let visits = |cell: &u64| dwells.spots.get(cell).map_or(0, |spot| spot.visits);
    let most = cells.iter().max_by(|a, b| visits(a).cmp(&visits(b)).then(b.cmp(a)));
    let id = most.and_then(|cell| CellIndex::try_from(*cell).ok()?.parent(ID));
    let id = id.map_or_else(String::new, |cell| cell.to_string());
    let found_radius_m = radius_m(&dwells.spots, cells).max(LEAST_RADIUS_M);
    let (middle, radius_m) = match known {
        Some(known) => ((known.lat_deg, known.lon_deg), known.radius_m.max(LEAST_RADIUS_M)),
        None => (spot.middle(), found_radius_m),
    };
    let name = known.map_or_else(String::new, |known| known.name.clone());
    Place { id, name, is_named: known.is_some(), is_depot, middle, radius_m, spot }
}

/// Found places are numbered by kind in the order of their ids; two in one cell are told apart by a number.
fn number(places: &mut [Place]) {
    let mut seen: BTreeSet<String> = BTreeSet::new();
    let (mut depots, mut stops) = (0, 0);
    for place in places {
        let plain = place.id.clone();
        let mut copy = 1;
        while !seen.insert(place.id.clone()) {
            copy += 1;
            place.id = format!("{plain}-{copy}");
        }
        let (count, word) = if place.is_depot { (&mut depots, "depot") } else { (&mut stops, "stop") };
        if !place.is_named {
            *count += 1;
            place.name = format!("{word} {count}");
        }
    }
}
