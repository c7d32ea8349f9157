//! Each round held against the routes.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};

use super::drafts::CELLS_LEAST;
use super::driven::Driven;
use super::found::{Basis, Route, Routes};
use super::rounds::{Round, rounds};
use crate::places::{Ends, Places};

/// A round of a route may be less like it than its fellows are like each other on the mean.
const LIKE: f64 = 0.5;
/// As like another route to within this is like neither.
const MARGIN: f64 = 0.02;
/// A round cut short: nearly all of it lies on one route, and by far not on another; and it is long enough to tell.
const INSIDE: f64 = 0.9;
const OUTSIDE: f64 = 0.7;
const PART_CELLS: usize = 10;

/// One vehicle's trips with their routes, and what it drove on each.
#[derive(Debug, Clone)]
pub struct Assigned {
    pub trip_routes: RecordBatch,
    pub driven: Driven,
}

/// What a round came to.
pub(super) struct Verdict {
    /// Number of the route.
    pub route: Option<usize>,
    pub basis: &'static str,
    pub likeness: Option<f64>,
}

impl Routes {
    /// The routes of one vehicle's trips.
    pub fn assign(
        &self,
        trips: &RecordBatch,
        stops: &RecordBatch,
        crossings: &RecordBatch,
        places: &Places,
    ) -> Result<Assigned, BatchError> {
        let rounds = rounds(trips, stops, crossings, places)?;
        let verdicts: Vec<Verdict> = rounds.iter().map(|round| self.judge(round)).collect();
        let ends = Ends::of(trips)?;
        let driven = Driven::of(self, &rounds, &verdicts, &ends, places);
        let of_trip: Vec<(u32, &Verdict)> = rounds
            .iter()
            .zip(&verdicts)
            .enumerate()
            .flat_map(|(at, (round, verdict))| round.trips.clone().map(move |_| (at as u32, verdict)))
            .collect();
        let each = || of_trip.iter();
        let place = |at: Option<(f64, f64)>| places.get(places.at(at?)?).map(|place| place.id.as_str());
        let vehicles = backwatt_schema::BatchView::new(&tables::TRIPS, trips).texts("vehicle_id")?;
        let trip_routes = BatchBuilder::new(&tables::TRIP_ROUTES)
            .text("vehicle_id", (0..ends.rows()).map(|row| Some(vehicles.value(row))))
            .text("trip_id", ends.ids.iter().map(|id| Some(*id)))
            .order("round_order", each().map(|(round, _)| *round))
            .text("route_id", each().map(|(_, v)| v.route.map(|route| self.routes[route].id.as_str())))
            .text("basis", each().map(|(_, v)| Some(v.basis)))
            .number("similarity_frac", each().map(|(_, v)| v.likeness))
            .text("place_start_id", ends.start.iter().map(|at| place(*at)))
            .text("place_end_id", ends.end.iter().map(|at| place(*at)))
            .finish()?;
        Ok(Assigned { trip_routes, driven })
    }

    fn judge(&self, round: &Round<'_>) -> Verdict {
        let way = round.way();
        let tells = way.len() >= CELLS_LEAST;
        if let Some(label) = round.label {
            let is_named = |route: &Route| route.basis != Basis::Found && route.name == label;
            let route = self.routes.iter().position(is_named);
            let likeness = route.filter(|_| tells).map(|route| way.likeness(&self.routes[route].core));
            let basis = if round.is_mapped { Basis::Map } else { Basis::Log };
            return Verdict { route, basis: basis.as_str(), likeness };
        }
        let none = |basis, likeness| Verdict { route: None, basis, likeness };
        if way.len() == 0 {
            return none("no position", None);
        }
        if !tells {
            return none("short", None);
        }
        let (best, second) = two_best(self.routes.iter().map(|route| way.likeness(&route.core)));
        let Some((likeness, at)) = best else { return none("once", None) };
        let rival = second.map_or(0.0, |(likeness, _)| likeness);
        if likeness >= LIKE && rival < likeness - MARGIN {
            return Verdict { route: Some(at), basis: "found", likeness: Some(likeness) };
        }
        if likeness >= LIKE {
            return none("ambiguous", Some(likeness));
        }
        let (whole, other) = two_best(self.routes.iter().map(|route| way.inside(&route.core)));
        match whole {
            Some((inside, at))
                if inside >= INSIDE
                    && other.is_none_or(|(other, _)| other < OUTSIDE)
                    && way.len() >= PART_CELLS =>
            {
                let likeness = Some(way.likeness(&self.routes[at].core));
                Verdict { route: Some(at), basis: "part", likeness }
            }
            _ => none("once", Some(likeness)),
        }
    }
}

type Scored = Option<(f64, usize)>;

/// The highest and the next, each with its place; of equals the first.
fn two_best(values: impl Iterator<Item = f64>) -> (Scored, Scored) {
    let (mut best, mut second): (Scored, Scored) = (None, None);
    for (at, value) in values.enumerate() {
        if best.is_none_or(|(known, _)| value > known) {
            (best, second) = (Some((value, at)), best);
        } else if second.is_none_or(|(known, _)| value > known) {
            second = Some((value, at));
        }
    }
    (best, second)
}
