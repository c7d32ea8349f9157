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
    pub way: Way,
    pub distance_mi: f64,
    pub day: Option<&'a str>,
    /// The log's own name of the route.
    pub label: Option<&'a str>,
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
            rounds.push(Round { trips: row..row, way: Way::default(), distance_mi: 0.0, day, label });
        }
        if let Some(round) = rounds.last_mut() {
            round.trips.end = row + 1;
            round.distance_mi += distance.value(row) / METRES_PER_MILE;
        }
    }
    for round in &mut rounds {
        let (mut path, mut places_met) = (Vec::new(), Vec::new());
        for row in round.trips.clone() {
            let cells = paths.get(ends.ids[row]).into_iter().flatten();
            cells.for_each(|cell| step(&mut path, *cell));
            let place = |at: Option<_>| at.and_then(|at| places.at(at));
            places_met.extend(place(ends.start[row]));
            places_met.append(&mut stood[row]);
            places_met.extend(place(ends.end[row]));
        }
        round.way = Way::new(path, places_met);
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
