//! Which trips get a page.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, tables};

/// What all pages together may take of the report's 50 MB. [bytes]
const BUDGET: u64 = 16_000_000;
/// A page without its trace, and what a bin takes with its share of events and segments, as measured on the demo. [bytes]
const PAGE: u64 = 34_000;
const BIN: u64 = 20;

/// The trips that get a page, and out of how many.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Chosen {
    pub by_vehicle: BTreeMap<String, Vec<String>>,
    pub chosen: usize,
    pub trips: usize,
}

impl Chosen {
    pub fn of(&self, vehicle_id: &str) -> &[String] {
        self.by_vehicle.get(vehicle_id).map_or(&[], Vec::as_slice)
    }

    pub fn holds(&self, vehicle_id: &str, trip_id: &str) -> bool {
        self.of(vehicle_id).iter().any(|trip| trip == trip_id)
    }

    /// The rule in words.
    pub fn rule(&self) -> String {
        if self.chosen == self.trips {
            return format!("Every trip has a page: {}.", self.trips);
        }
        format!(
            "{} of {} trips have a page. Vehicles take turns; each gives its trip with the most braking energy at the wheels \
             first, until the pages are expected to fill {} MB. The tables hold all trips.",
            self.chosen,
            self.trips,
            BUDGET / 1_000_000
        )
    }
}

/// Vehicles take turns, each giving its trip with the most braking energy first, until the expected size is used up.
/// Trips of equal energy go by their names: the same tables, the same pages.
pub fn choose(trips: &[(String, RecordBatch)]) -> Result<Chosen, BatchError> {
    choose_within(BUDGET, trips)
}

fn choose_within(budget: u64, trips: &[(String, RecordBatch)]) -> Result<Chosen, BatchError> {
    let mut turns: BTreeSet<(usize, Reverse<u64>, String, String, u64)> = BTreeSet::new();
    let mut chosen = Chosen::default();
    for (vehicle, batch) in trips {
        let mut of_vehicle = candidates(batch)?;
        chosen.trips += of_vehicle.len();
        of_vehicle.sort_by(|a, b| b.braking_mwh.cmp(&a.braking_mwh).then(a.trip_id.cmp(&b.trip_id)));
        turns.extend(of_vehicle.into_iter().enumerate().map(|(turn, trip)| {
            (turn, Reverse(trip.braking_mwh), vehicle.clone(), trip.trip_id, trip.expected_bytes)
        }));
    }
    let mut left = budget;
    for (_, _, vehicle, trip, bytes) in turns {
        let Some(rest) = left.checked_sub(bytes) else { break };
        left = rest;
        chosen.chosen += 1;
        chosen.by_vehicle.entry(vehicle).or_default().push(trip);
    }
    Ok(chosen)
}

struct Candidate {
    trip_id: String,
    /// Milliwatt hours: whole numbers have one order.
    braking_mwh: u64,
    expected_bytes: u64,
}

fn candidates(batch: &RecordBatch) -> Result<Vec<Candidate>, BatchError> {
    let view = BatchView::new(&tables::TRIPS, batch);
    let (ids, braking) = (view.texts("trip_id")?, view.numbers("energy_braking_kwh")?);
    let (logged, interval) = (view.numbers("logged_s")?, view.numbers("sample_interval_s")?);
    let one = |row: usize| {
        let bins = logged.value(row) / interval.value(row).max(super::bins::LEAST_S);
        Candidate {
            trip_id: ids.value(row).to_owned(),
            braking_mwh: (braking.value(row) * 1e6).max(0.0).round() as u64,
            expected_bytes: PAGE + BIN * bins.max(0.0) as u64,
        }
    };
    Ok((0..view.rows()).map(one).collect())
}

#[cfg(test)]
mod tests {
    use backwatt_schema::{BatchBuilder, Kind};

    use super::*;

    fn trips(vehicle: &str, kwh: &[f64]) -> (String, RecordBatch) {
        let ids: Vec<String> = (1..=kwh.len()).map(|n| format!("{vehicle}-{n}")).collect();
        let builder =
            tables::TRIPS.columns.iter().fold(BatchBuilder::new(&tables::TRIPS), |builder, column| {
                let rows = kwh.len();
                match (column.name, column.kind) {
                    ("trip_id", _) => builder.text("trip_id", ids.iter().map(|id| Some(id.as_str()))),
                    ("energy_braking_kwh", _) => builder.number("energy_braking_kwh", kwh.iter().copied()),
                    (name, Kind::F64) => builder.number(name, vec![Some(1.0); rows]),
                    (name, Kind::Bool) => builder.flag(name, vec![Some(false); rows]),
                    (name, Kind::Text) => builder.text(name, vec![Some("x"); rows]),
                    (name, Kind::Time) => builder.time(name, vec![0; rows]),
                    (name, Kind::U32) => builder.order(name, vec![0; rows]),
                    (name, Kind::U64) => builder.count(name, vec![Some(0); rows]),
                }
            });
        (vehicle.to_owned(), builder.finish().unwrap())
    }

    #[test]
    fn vehicles_take_turns_and_give_their_hardest_braking_first() {
        let trips = [trips("A", &[1.0, 9.0, 8.0, 7.0]), trips("B", &[0.1, 0.2])];
        let chosen = choose_within(3 * (PAGE + BIN), &trips).unwrap();
        assert_eq!((chosen.chosen, chosen.trips), (3, 6));
        assert_eq!(chosen.of("A"), ["A-2", "A-3"]);
        assert_eq!(chosen.of("B"), ["B-2"]);
        assert!(chosen.rule().starts_with("3 of 6 trips have a page."), "{}", chosen.rule());
        assert_eq!(choose(&trips).unwrap().rule(), "Every trip has a page: 6.");
    }
}
