//! The trips that were driven, under another level, payload, temperature, pack count or speed cap: model against model.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, BatchView, METRES_PER_MILE, number_at, tables};

use super::gap::DRIVEN;

/// What a scenario sets, each to one value; what it leaves as driven is `None`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Set {
    pub scenario: String,
    pub level: Option<String>,
    pub payload_kg: Option<f64>,
    pub temperature_k: Option<f64>,
    pub packs: Option<u64>,
    pub speed_cap_m_s: Option<f64>,
}

const CAUTION: &str = "both sides modelled on the same roads and stops; ends are the sheet's, a bound and no probability; a driver drives another truck otherwise";

/// Sums over the trips of all vehicles of a type, by scenario. Adds up over vehicles.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SameTrips {
    of: BTreeMap<(String, String), Sums>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Sums {
    vehicles: u64,
    trips: u64,
    distance_m: f64,
    driving_s: f64,
    energy_kwh: f64,
    recovered_kwh: f64,
    /// Least and most of the change in energy, and of that in what was recovered.
    change_kwh: (f64, f64),
    recovered_change_kwh: (f64, f64),
}

impl Sums {
    fn add(&mut self, other: &Sums) {
        self.vehicles += other.vehicles;
        self.trips += other.trips;
        self.distance_m += other.distance_m;
        self.driving_s += other.driving_s;
        self.energy_kwh += other.energy_kwh;
        self.recovered_kwh += other.recovered_kwh;
        for (sum, one) in [
            (&mut self.change_kwh, other.change_kwh),
            (&mut self.recovered_change_kwh, other.recovered_change_kwh),
        ] {
            *sum = (sum.0 + one.0, sum.1 + one.1);
        }
    }
}

impl SameTrips {
    /// One vehicle's `scenarios`.
    pub fn of(vehicle_type: &str, scenarios: &RecordBatch) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::SCENARIOS, scenarios);
        let names = view.texts("scenario")?;
        let columns = [
            "distance_m",
            "duration_driving_s",
            "energy_driving_kwh",
            "energy_standing_kwh",
            "energy_recovered_kwh",
            "energy_change_low_kwh",
            "energy_change_high_kwh",
            "energy_recovered_change_low_kwh",
            "energy_recovered_change_high_kwh",
        ];
        let mut numbers = Vec::new();
        for name in columns {
            numbers.push(view.numbers(name)?);
        }
        let mut found = Self::default();
        for row in 0..view.rows() {
            let at = |column: usize| number_at(numbers[column], row).unwrap_or(0.0);
            let sums = found.of.entry((vehicle_type.to_owned(), names.value(row).to_owned())).or_default();
            sums.add(&Sums {
                vehicles: 0,
                trips: 1,
                distance_m: at(0),
                driving_s: at(1),
                energy_kwh: at(2) + at(3),
                recovered_kwh: at(4),
                change_kwh: (at(5), at(6)),
                recovered_change_kwh: (at(7), at(8)),
            });
        }
        found.of.values_mut().for_each(|sums| sums.vehicles = 1);
        Ok(found)
    }

    pub fn add(&mut self, other: &SameTrips) {
        for (key, sums) in &other.of {
            self.of.entry(key.clone()).or_default().add(sums);
        }
    }
}

/// What each type's trips would have taken, and what would have come back, beside the same as driven.
///
/// Shape    one row per vehicle type and scenario of `asked`, in that order
/// Missing  a type without a trip has no row; `None` per mile where nothing was driven
/// Source   sums over trips of the ledger under each scenario ([`tables::SCENARIOS`])
pub fn same_trips(sums: &SameTrips, asked: &BTreeMap<String, Vec<Set>>) -> Result<RecordBatch, BatchError> {
    let mut rows: Vec<(&str, &Set, &Sums, &Sums)> = Vec::new();
    for (vehicle_type, sets) in asked {
        let of = |scenario: &str| sums.of.get(&(vehicle_type.clone(), scenario.to_owned()));
        let Some(driven) = of(DRIVEN) else { continue };
        rows.extend(
            sets.iter().filter_map(|set| Some((vehicle_type.as_str(), set, driven, of(&set.scenario)?))),
        );
    }
    let set = |of: fn(&Set) -> Option<f64>| rows.iter().map(|row| of(row.1)).collect::<Vec<_>>();
    let pair = |of: fn(&Sums, &Sums) -> f64| rows.iter().map(|row| of(row.2, row.3)).collect::<Vec<_>>();
    let per_mile = |of: fn(&Sums) -> f64, at: fn(&(&str, &Set, &Sums, &Sums)) -> Sums| {
        let one = |row| {
            let sums = at(row);
            (sums.distance_m > 0.0).then(|| of(&sums) / (sums.distance_m / METRES_PER_MILE))
        };
        rows.iter().map(one).collect::<Vec<_>>()
    };
    BatchBuilder::new(&tables::SAME_TRIPS)
        .text("vehicle_type", rows.iter().map(|row| Some(row.0)))
        .text("scenario", rows.iter().map(|row| Some(row.1.scenario.as_str())))
        .text("regen_level", rows.iter().map(|row| row.1.level.as_deref()))
        .number("payload_kg", set(|set| set.payload_kg))
        .number("temperature_ambient_k", set(|set| set.temperature_k))
        .count("packs", rows.iter().map(|row| row.1.packs))
        .number("speed_cap_m_s", set(|set| set.speed_cap_m_s))
        .count("vehicles", rows.iter().map(|row| row.2.vehicles))
        .count("trips", rows.iter().map(|row| row.2.trips))
        .number("distance_mi", pair(|driven, _| driven.distance_m / METRES_PER_MILE))
        .number("duration_change_s", pair(|driven, set| set.driving_s - driven.driving_s))
        .number("energy_driven_kwh", pair(|driven, _| driven.energy_kwh))
        .number("energy_kwh", pair(|_, set| set.energy_kwh))
        .number("energy_change_kwh", pair(|driven, set| set.energy_kwh - driven.energy_kwh))
        .number("energy_change_low_kwh", pair(|_, set| set.change_kwh.0))
        .number("energy_change_high_kwh", pair(|_, set| set.change_kwh.1))
        .number("consumption_driven_kwh_mi", per_mile(|sums| sums.energy_kwh, |row| *row.2))
        .number("consumption_kwh_mi", per_mile(|sums| sums.energy_kwh, |row| *row.3))
        .number("energy_recovered_driven_kwh", pair(|driven, _| driven.recovered_kwh))
        .number("energy_recovered_kwh", pair(|_, set| set.recovered_kwh))
        .number("energy_recovered_change_kwh", pair(|driven, set| set.recovered_kwh - driven.recovered_kwh))
        .number("energy_recovered_change_low_kwh", pair(|_, set| set.recovered_change_kwh.0))
        .number("energy_recovered_change_high_kwh", pair(|_, set| set.recovered_change_kwh.1))
        .text("evidence", rows.iter().map(|_| Some("modelled")))
        .text("caution", rows.iter().map(|_| Some(CAUTION)))
        .finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn vehicle(name: &str, rows: &[(&str, f64, f64)]) -> RecordBatch {
        let number = |of: fn(&(&str, f64, f64)) -> f64| rows.iter().map(of).collect::<Vec<_>>();
        BatchBuilder::new(&tables::SCENARIOS)
            .text("vehicle_id", rows.iter().map(|_| Some(name)))
            .text("trip_id", rows.iter().map(|_| Some("t")))
            .text("scenario", rows.iter().map(|row| Some(row.0)))
            .number("distance_m", number(|_| METRES_PER_MILE))
            .number("duration_driving_s", number(|row| if row.0 == "slow" { 150.0 } else { 120.0 }))
            .number("energy_driving_kwh", number(|row| row.1))
            .number("energy_standing_kwh", number(|_| 0.25))
            .number("energy_recovered_kwh", number(|row| row.2))
            .number("energy_total_low_kwh", number(|_| 0.0))
            .number("energy_total_high_kwh", number(|_| 0.0))
            .number("energy_change_low_kwh", number(|row| row.1 - 1.25))
            .number("energy_change_high_kwh", number(|row| row.1 - 0.75))
            .number("energy_recovered_low_kwh", number(|_| 0.0))
            .number("energy_recovered_high_kwh", number(|_| 0.0))
            .number("energy_recovered_change_low_kwh", number(|row| row.2 - 0.5))
            .number("energy_recovered_change_high_kwh", number(|row| row.2 - 0.25))
            .finish()
            .expect("a sound batch")
    }

    #[test]
    fn sums_of_two_trucks_in_either_order() {
        let one = SameTrips::of("van", &vehicle("a", &[(DRIVEN, 1.0, 0.5), ("slow", 0.5, 0.375)])).unwrap();
        let two = SameTrips::of("van", &vehicle("b", &[(DRIVEN, 2.0, 0.25), ("slow", 1.0, 0.125)])).unwrap();
        let (mut sum, mut other) = (one.clone(), two.clone());
        sum.add(&two);
        other.add(&one);
        assert_eq!(sum, other);
        let slow = Set { scenario: "slow".to_owned(), speed_cap_m_s: Some(10.0), ..Set::default() };
        let unknown = Set { scenario: "packs".to_owned(), ..Set::default() };
        let asked = [("lorry".to_owned(), vec![slow.clone()]), ("van".to_owned(), vec![slow, unknown])];
        let batch = same_trips(&sum, &asked.into_iter().collect()).unwrap();
        let view = BatchView::new(&tables::SAME_TRIPS, &batch);
        assert_eq!(view.rows(), 1, "no row for a type without trips, none for a scenario that was not run");
        let at = |name: &str| number_at(view.numbers(name).unwrap(), 0);
        assert_eq!((at("energy_driven_kwh"), at("energy_kwh")), (Some(3.5), Some(2.0)));
        assert_eq!((at("consumption_driven_kwh_mi"), at("consumption_kwh_mi")), (Some(1.75), Some(1.0)));
        assert_eq!((at("energy_change_low_kwh"), at("energy_change_high_kwh")), (Some(-1.0), Some(0.0)));
        assert_eq!((at("energy_recovered_driven_kwh"), at("energy_recovered_kwh")), (Some(0.75), Some(0.5)));
        assert_eq!((at("duration_change_s"), at("distance_mi")), (Some(60.0), Some(2.0)));
        assert_eq!((at("speed_cap_m_s"), at("payload_kg")), (Some(10.0), None));
    }
}
