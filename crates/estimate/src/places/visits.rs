//! Visits of one vehicle: where it stood, how long, and whether over night.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, number_at, tables, text_at};

use super::{Position, metres};

/// Shorter stands are traffic: a light's whole cycle is about as long. [s] Common practice, no source, as are the others.
pub const SHORTEST_S: f64 = 90.0;
/// A vehicle that sets off this near to where it stopped did not move in between. [m]
const SAME_M: f64 = 300.0;
/// Stops this near, with no more than a trip's longest pause between, are one: the key was off for a while. [m]
const ONE_STOP_M: f64 = 50.0;
const PAUSE_S: f64 = 300.0;
/// A night is at least this long, over the cut of the service day. [s]
pub const NIGHT_S: f64 = 4.0 * 3600.0;

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Visit {
    pub at: Position,
    /// `None` where the log does not see both ends.
    pub length_s: Option<f64>,
    pub is_night: bool,
    /// A trip begins or ends there.
    pub ends_trip: bool,
    /// Row of the trip it ends, lies in, or else the one that it begins.
    pub trip: usize,
}

/// Visits in the order of time.
pub(crate) fn visits(trips: &RecordBatch, stops: &RecordBatch) -> Result<Vec<Visit>, BatchError> {
    let ends = Ends::of(trips)?;
    let within = within_trips(stops, &ends)?;
    let mut found = Vec::new();
    for row in 0..ends.rows() {
        if row == 0 {
            found.extend(ends.start[row].map(|at| Visit::unseen(at, row)));
        }
        found.extend(within.get(&row).into_iter().flatten().copied());
        match (row + 1 < ends.rows()).then(|| ends.stay(row)) {
            Some(between) => found.extend(between),
            None => found.extend(ends.end[row].map(|at| Visit::unseen(at, row))),
        }
    }
    Ok(found)
}

impl Visit {
    fn unseen(at: Position, trip: usize) -> Self {
        Self { at, length_s: None, is_night: false, ends_trip: true, trip }
    }
}

/// Where and when trips begin and end.
pub(crate) struct Ends<'a> {
    pub ids: Vec<&'a str>,
    pub start: Vec<Option<Position>>,
    pub end: Vec<Option<Position>>,
    pub days: Vec<Option<&'a str>>,
    times: (&'a [i64], &'a [i64]),
}

impl<'a> Ends<'a> {
    pub fn of(trips: &'a RecordBatch) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::TRIPS, trips);
        let texts = |name| -> Result<Vec<Option<&'a str>>, BatchError> {
            let array = view.texts(name)?;
            Ok((0..view.rows()).map(|row| text_at(array, row)).collect())
        };
        let positions = |lat, lon| -> Result<Vec<Option<Position>>, BatchError> {
            let (lat, lon) = (view.numbers(lat)?, view.numbers(lon)?);
            Ok((0..view.rows()).map(|row| number_at(lat, row).zip(number_at(lon, row))).collect())
        };
        Ok(Self {
            ids: texts("trip_id")?.into_iter().map(Option::unwrap_or_default).collect(),
            start: positions("lat_start_deg", "lon_start_deg")?,
            end: positions("lat_end_deg", "lon_end_deg")?,
            days: texts("service_day")?,
            times: (view.times("time_start_ns")?.values(), view.times("time_end_ns")?.values()),
        })
    }

    pub fn rows(&self) -> usize {
        self.ids.len()
    }

    /// The stay between a trip and the next: one visit, or two where the vehicle was moved unseen.
    fn stay(&self, row: usize) -> Vec<Visit> {
        let (from, to) = (self.end[row], self.start[row + 1]);
        let moved = from.zip(to).is_some_and(|(a, b)| metres(a, b) > SAME_M);
        let days = self.days[row].zip(self.days[row + 1]);
        if moved {
            let two = [(from, row), (to, row + 1)];
            return two.into_iter().filter_map(|(at, trip)| Some(Visit::unseen(at?, trip))).collect();
        }
        let Some(at) = from.or(to) else { return Vec::new() };
        // Clocks of their own do not say how long one log ended before the next began.
        let known = days.filter(|_| from.is_some() && to.is_some());
        let length_s =
            known.map(|_| (self.times.0[row + 1] - self.times.1[row]) as f64 * 1e-9).filter(|s| *s >= 0.0);
        let is_night = length_s.is_some_and(|s| s >= NIGHT_S) && known.is_some_and(|(a, b)| a != b);
        vec![Visit { at, length_s, is_night, ends_trip: true, trip: row }]
    }
}

/// Stops of some length within trips, by row of the trip.
fn within_trips(stops: &RecordBatch, ends: &Ends<'_>) -> Result<BTreeMap<usize, Vec<Visit>>, BatchError> {
    let rows: BTreeMap<&str, usize> = ends.ids.iter().enumerate().map(|(row, id)| (*id, row)).collect();
    let view = BatchView::new(&tables::STOPS, stops);
    let (ids, lat, lon) = (view.texts("trip_id")?, view.numbers("lat_deg")?, view.numbers("lon_deg")?);
    let (starts, stops_end) = (view.times("time_start_ns")?.values(), view.times("time_end_ns")?.values());
    let mut stands: Vec<(usize, Position, i64, i64)> = Vec::new();
    for row in 0..view.rows() {
        let trip = text_at(ids, row).and_then(|id| rows.get(id).copied());
        let at = number_at(lat, row).zip(number_at(lon, row));
        let Some((trip, at)) = trip.zip(at) else { continue };
        match stands.last_mut() {
            Some(last)
                if last.0 == trip
                    && metres(last.1, at) <= ONE_STOP_M
                    && (starts[row] - last.3) as f64 * 1e-9 <= PAUSE_S =>
            {
                last.3 = stops_end[row];
            }
            _ => stands.push((trip, at, starts[row], stops_end[row])),
        }
    }
    let mut visits: BTreeMap<usize, Vec<Visit>> = BTreeMap::new();
    for (trip, at, start, end) in stands {
        let length_s = (end - start) as f64 * 1e-9;
        if length_s >= SHORTEST_S {
            let visit = Visit { at, length_s: Some(length_s), is_night: false, ends_trip: false, trip };
            visits.entry(trip).or_default().push(visit);
        }
    }
    Ok(visits)
}
