//! Which trips get a page.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, tables, text_at};

use crate::topics::shown_events;

/// What all pages together may take of the report's 50 MB. [bytes]
const BUDGET: u64 = 16_000_000;
/// A page without its trace, and what a bin takes with its share of events and segments, as measured on the demo. [bytes]
const PAGE: u64 = 34_000;
const BIN: u64 = 20;

/// Of that, the share that trips named by coaching sheets may take before all others. (ours, no source)
const NAMED_SHARE: f64 = 0.5;

/// The trips that get a page, and out of how many.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Chosen {
    pub by_vehicle: BTreeMap<String, Vec<String>>,
    pub chosen: usize,
    pub trips: usize,
    /// Of those chosen, because a coaching sheet names them.
    pub named: usize,
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
        let named = match self.named {
            0 => String::new(),
            n => format!(" {n} of them are named by coaching sheets and come first."),
        };
        format!(
            "{} of {} trips have a page.{named} Vehicles take turns; each gives its trip with the most braking energy at the wheels \
             first, until the pages are expected to fill {} MB. The tables hold all trips.",
            self.chosen,
            self.trips,
            BUDGET / 1_000_000
        )
    }
}

/// First the trips with the braking events that coaching sheets show, dearest first; then vehicles take turns, each giving its
/// trip with the most braking energy first, until the expected size is used up.
/// Trips of equal energy go by their names: the same tables, the same pages.
pub fn choose(trips: &[(String, RecordBatch)], habits: Option<&RecordBatch>) -> Result<Chosen, BatchError> {
    let named = habits.map(named).transpose()?.unwrap_or_default();
    choose_within(BUDGET, trips, &named)
}

/// Trips that sheets name: the dearest event of every habit, then the second of every one, and so on.
fn named(habits: &RecordBatch) -> Result<Vec<String>, BatchError> {
    let view = BatchView::new(&tables::HABITS, habits);
    let examples = view.texts("examples")?;
    let events: Vec<Vec<String>> =
        (0..view.rows()).map(|row| shown_events(text_at(examples, row).unwrap_or_default())).collect();
    let most = events.iter().map(Vec::len).max().unwrap_or(0);
    let ranked = (0..most).flat_map(|rank| events.iter().filter_map(move |of| of.get(rank)));
    Ok(ranked.filter_map(|event| event.rsplit_once('#')).map(|(trip, _)| trip.to_owned()).collect())
}

fn choose_within(budget: u64, trips: &[(String, RecordBatch)], named: &[String]) -> Result<Chosen, BatchError> {
    let mut turns: BTreeSet<(usize, Reverse<u64>, String, String, u64)> = BTreeSet::new();
    let mut sizes: BTreeMap<String, (String, u64)> = BTreeMap::new();
    let mut chosen = Chosen::default();
    for (vehicle, batch) in trips {
        let mut of_vehicle = candidates(batch)?;
        chosen.trips += of_vehicle.len();
        of_vehicle.sort_by(|a, b| b.braking_mwh.cmp(&a.braking_mwh).then(a.trip_id.cmp(&b.trip_id)));
        sizes.extend(
            of_vehicle.iter().map(|trip| (trip.trip_id.clone(), (vehicle.clone(), trip.expected_bytes))),
        );
        turns.extend(of_vehicle.into_iter().enumerate().map(|(turn, trip)| {
            (turn, Reverse(trip.braking_mwh), vehicle.clone(), trip.trip_id, trip.expected_bytes)
        }));
    }
    let mut left = budget;
    let kept_back = ((1.0 - NAMED_SHARE) * budget as f64) as u64;
    for trip in named {
        // Taken out once chosen: a trip may be named more than once.
        let Some((vehicle, bytes)) = sizes.remove(trip) else { continue };
        let Some(rest) = left.checked_sub(bytes).filter(|rest| *rest >= kept_back) else { break };
        left = rest;
        chosen.named += 1;
        chosen.chosen += 1;
        chosen.by_vehicle.entry(vehicle).or_default().push(trip.clone());
    }
    for (_, _, vehicle, trip, bytes) in turns {
        if chosen.holds(&vehicle, &trip) {
            continue;
        }
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
        let chosen = choose_within(3 * (PAGE + BIN), &trips, &[]).unwrap();
        assert_eq!((chosen.chosen, chosen.trips), (3, 6));
        assert_eq!(chosen.of("A"), ["A-2", "A-3"]);
        assert_eq!(chosen.of("B"), ["B-2"]);
        assert!(chosen.rule().starts_with("3 of 6 trips have a page."), "{}", chosen.rule());
        assert_eq!(choose(&trips, None).unwrap().rule(), "Every trip has a page: 6.");
    }

    #[test]
    fn trips_that_sheets_name_come_first_and_take_half_at_most() {
        let trips = [trips("A", &[1.0, 9.0, 8.0, 7.0]), trips("B", &[0.1, 0.2])];
        let named = ["A-4", "A-4", "B-1", "A-1", "gone-1"].map(str::to_owned);
        let chosen = choose_within(4 * (PAGE + BIN), &trips, &named).unwrap();
        assert_eq!((chosen.chosen, chosen.named), (4, 2));
        assert_eq!(chosen.of("A"), ["A-4", "A-2"]);
        assert_eq!(chosen.of("B"), ["B-1", "B-2"]);
        assert!(chosen.rule().contains("2 of them are named by coaching sheets"), "{}", chosen.rule());
    }
}
