//! The routes themselves.

use std::collections::BTreeSet;

use h3o::{CellIndex, Resolution};

use super::drafts::{ALIKE, Draft, Drafts};
use super::names;
use super::way::Way;
use crate::places::{Places, Position, centre, metres};

/// A found route needs as many rounds: what happened once is no route.
const ROUNDS_LEAST: u64 = 2;
/// A route's id is a coarser cell, so that a few metres do not rename it.
const ID: Resolution = Resolution::Nine;

/// Who says that it is a route.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Basis {
    Log,
    Map,
    Found,
}

impl Basis {
    pub fn as_str(self) -> &'static str {
        match self {
            Basis::Log => "log",
            Basis::Map => "map",
            Basis::Found => "found",
        }
    }
}

#[derive(Debug, Clone)]
pub struct Route {
    pub id: String,
    pub name: String,
    pub basis: Basis,
    /// What rounds are held against.
    pub core: Way,
    pub typical: Way,
}

/// All routes of a pilot, by id.
#[derive(Debug, Clone, Default)]
pub struct Routes {
    pub(super) routes: Vec<Route>,
}

impl Routes {
    /// Routes that logs or the pilot's map name, and what was driven again and again beside them. The replay matches trips
    /// with the lines of the map.
    pub fn find(drafts: Drafts, places: &Places) -> Self {
        let (mut routes, mut open) = (Vec::new(), Vec::new());
        for (label, draft) in drafts.merged() {
            match label {
                Some(label) => routes.push(named(label, draft)),
                None => open.push(draft),
            }
        }
        let known = routes.len();
        for draft in open.into_iter().filter(|draft| draft.rounds >= ROUNDS_LEAST) {
            let core = draft.core();
            if routes[..known].iter().all(|route| core.likeness(&route.core) < ALIKE) {
                let (id, name) = (id(&core, &draft.typical, places), String::new());
                routes.push(Route { id, name, basis: Basis::Found, core, typical: draft.typical });
            }
        }
        let mut found = Self { routes };
        found.tell_apart();
        names::name(&mut found.routes, places);
        found
    }

    /// Ids are in order and each is one route's: two whose farthest parts lie in one cell are numbered by what they pass.
    fn tell_apart(&mut self) {
        self.routes.sort_by(|a, b| {
            (a.basis, &a.id).cmp(&(b.basis, &b.id)).then_with(|| a.core.cells().cmp(b.core.cells()))
        });
        let mut seen = BTreeSet::new();
        for route in &mut self.routes {
            let plain = route.id.clone();
            let mut copy = 1;
            while !seen.insert(route.id.clone()) {
                copy += 1;
                route.id = format!("{plain}-{copy}");
            }
        }
        self.routes.sort_by(|a, b| a.id.cmp(&b.id));
    }
}

fn named(label: String, draft: Draft) -> Route {
    let basis = if draft.is_mapped { Basis::Map } else { Basis::Log };
    Route { id: label.clone(), name: label, basis, core: draft.core(), typical: draft.typical }
}

/// The cell of the part that is farthest from the depot, or from the middle where it touches none: it belongs to what the
/// route is, not to how often it was driven or by whom.
fn id(core: &Way, typical: &Way, places: &Places) -> String {
    let cells: Vec<CellIndex> =
        core.cells().iter().filter_map(|cell| CellIndex::try_from(*cell).ok()).collect();
    let ends = [typical.stops.first(), typical.stops.last()];
    let depot = ends.into_iter().flatten().find(|place| places.is_depot(**place));
    let from = depot.and_then(|place| places.get(*place)).map_or_else(|| middle(&cells), |place| place.middle);
    let apart = |cell: &CellIndex| metres(from, centre(*cell));
    let farthest = cells.iter().max_by(|a, b| apart(a).total_cmp(&apart(b)).then(b.cmp(a)));
    let cell = farthest.and_then(|cell| cell.parent(ID));
    cell.map_or_else(|| "found".to_owned(), |cell| format!("found-{cell}"))
}

fn middle(cells: &[CellIndex]) -> Position {
    let n = cells.len().max(1) as f64;
    let sum = cells.iter().map(|cell| centre(*cell)).fold((0.0, 0.0), |sum, at| (sum.0 + at.0, sum.1 + at.1));
    (sum.0 / n, sum.1 / n)
}
