//! Rounds of one vehicle: its trips from one visit to a depot to the next.

use std::ops::Range;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, METRES_PER_MILE, tables, text_at};

use super::path::{paths, step};
use super::way::Way;
use crate::places::{Ends, Places, visits};

/// Trips of one vehicle that are one round.
#[derive(Debug, Clone)]
pub struct Round<'a> {
    /// Rows of `trips`.
    pub trips: Range<usize>,
    /// Road cells and places in order.
    pub path: Vec<u64>,
    pub stops: Vec<usize>,
    pub distance_mi: f64,
    pub day: Option<&'a str>,
    /// Its route as the log, or the replay from the pilot's map, names it; and whether it was the map.
    pub label: Option<&'a str>,
    pub is_mapped: bool,
}

impl Round<'_> {
    /// As it is compared. It takes four times the memory of the path, so it is made when it is needed.
    pub fn way(&self) -> Way {
        Way::new(self.path.clone(), self.stops.clone())
    }
}

/// Rounds in the order of time: cut at depots, at the service day, and where the log's route changes.
pub fn rounds<'a>(
    trips: &'a RecordBatch,
    stops: &RecordBatch,
    crossings: &RecordBatch,
    places: &Places,
) -> Result<Vec<Round<'a>>, BatchError> {
    let view = BatchView::new(&tables::TRIPS, trips);
    let (labels, distance) = (view.texts("route_id")?, view.numbers("distance_m")?);
    let label = |row: usize| text_at(labels, row).filter(|label| !label.is_empty());
    let bases = view.texts("route_basis")?;
    let ends = Ends::of(trips)?;
    let mut stood: Vec<Vec<usize>> = vec![Vec::new(); ends.rows()];
    for visit in visits(trips, stops)? {
        if let Some(place) = places.at(visit.at).filter(|_| !visit.ends_trip) {
            stood[visit.trip].push(place);
        }
    }
    let paths = paths(crossings)?;
    let mut rounds: Vec<Round<'a>> = Vec::new();
    for row in 0..ends.rows() {
        let cut = row == 0
            || at_depot(&ends, places, row - 1)
            || ends.days[row - 1] != ends.days[row]
            || ends.days[row].is_none()
            || label(row - 1) != label(row);
        if cut {
            let (day, label) = (ends.days[row], label(row));
            let (path, stops) = (Vec::new(), Vec::new());
            let is_mapped = text_at(bases, row) == Some("map");
            rounds.push(Round { trips: row..row, path, stops, distance_mi: 0.0, day, label, is_mapped });
        }
        if let Some(round) = rounds.last_mut() {
            round.trips.end = row + 1;
            round.distance_mi += distance.value(row) / METRES_PER_MILE;
        }
    }
    for round in &mut rounds {
        for row in round.trips.clone() {
            let cells = paths.get(ends.ids[row]).into_iter().flatten();
            cells.for_each(|cell| step(&mut round.path, *cell));
            let place = |at: Option<_>| at.and_then(|at| places.at(at));
            round.stops.extend(place(ends.start[row]));
            round.stops.append(&mut stood[row]);
            round.stops.extend(place(ends.end[row]));
        }
    }
    Ok(rounds)
}

/// Whether the stay after a trip was at a depot.
fn at_depot(ends: &Ends<'_>, places: &Places, row: usize) -> bool {
    [ends.end[row], ends.start[row + 1]]
        .into_iter()
        .flatten()
        .any(|at| places.at(at).is_some_and(|place| places.is_depot(place)))
}
