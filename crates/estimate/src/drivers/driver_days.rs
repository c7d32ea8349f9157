//! First pass: what one vehicle's tables say of each driver, day by day. Adds up over vehicles.

use std::collections::{BTreeMap, HashMap};

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, METRES_PER_MILE, number_at, tables, text_at};

use super::occasions::{Example, Habit, occasions};
use crate::correction::{Band, bands};
use crate::windows::rounded_difference_kwh;

/// One driver on one vehicle, one route and one service day.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key {
    pub driver: String,
    pub vehicle: String,
    /// Empty where the log names none.
    pub route: String,
    pub day: String,
}

/// Sums of one key.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DriverDay {
    pub distance_mi: f64,
    pub braking_kwh: f64,
    /// Distance of trips sampled well enough for stops to be judged, and what was avoidable on it.
    pub judged_mi: f64,
    pub avoidable_kwh: f64,
    /// Net energy and distance where battery power is measured.
    pub net_kwh: f64,
    pub net_mi: f64,
    /// Drawn by the state of charge over whole trips, with the variance that its steps leave.
    pub drawn_kwh: f64,
    pub drawn_mi: f64,
    pub drawn_variance_kwh2: f64,
    /// What is not the driver's doing, each times the distance it is known for.
    pub payload_kg_mi: f64,
    pub payload_known_mi: f64,
    pub cold_k_mi: f64,
    pub hot_k_mi: f64,
    pub temperature_known_mi: f64,
    pub hour_h_mi: f64,
    pub habits_kwh: [f64; Habit::ALL.len()],
    pub occasions: [u64; Habit::ALL.len()],
}

/// Days of all drivers, and the dearest occasions of each.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DriverDays {
    pub(super) days: BTreeMap<Key, DriverDay>,
    /// Vehicle to type.
    pub(super) types: BTreeMap<String, String>,
    pub(super) examples: BTreeMap<(String, Habit), Vec<Example>>,
}

/// One vehicle's tables.
#[derive(Debug, Clone, Copy)]
pub struct DriverTables<'a> {
    pub vehicle: &'a str,
    pub vehicle_type: &'a str,
    pub segments: &'a RecordBatch,
    pub battery: &'a RecordBatch,
    pub trips: &'a RecordBatch,
    pub losses: &'a RecordBatch,
    pub events: &'a RecordBatch,
    /// Between state of charge 0 and 1, where the sheet states it.
    pub capacity_kwh: Option<f64>,
}

/// Heating begins below, cooling above: hinges for what weather does to consumption. From memory. [K]
const COLD_K: f64 = 288.15;
const HOT_K: f64 = 295.15;
/// Examples kept of each habit.
const EXAMPLES: usize = 5;

/// What one vehicle's tables say of its drivers. `hour` gives the local hour of an instant.
///
/// Driving without a named driver or without a date has no row: nobody is compared on it.
pub fn driver_days(of: DriverTables<'_>, hour: &dyn Fn(i64) -> f64) -> Result<DriverDays, BatchError> {
    let trips = Trips::read(of.trips)?;
    let mut found = DriverDays::default();
    found.types.insert(of.vehicle.to_owned(), of.vehicle_type.to_owned());
    add_segments(&mut found, &of, &trips, hour)?;
    add_state_of_charge(&mut found, &of)?;
    for occasion in occasions(&of, &trips)? {
        if occasion.counts {
            let day = found.days.entry(occasion.key.clone()).or_default();
            day.add_habit(occasion.habit, occasion.kwh);
            if occasion.is_stop() {
                day.avoidable_kwh += occasion.kwh;
            }
        }
        if let Some(event) = occasion.event.filter(|_| occasion.kwh > 0.0) {
            let kept = found.examples.entry((occasion.key.driver, occasion.habit)).or_default();
            keep(kept, Example { kwh: occasion.kwh, event });
        }
    }
    Ok(found)
}

impl DriverDays {
    /// Adds those of another vehicle.
    pub fn add(&mut self, other: DriverDays) {
        for (key, day) in other.days {
            self.days.entry(key).or_default().add(&day);
        }
        self.types.extend(other.types);
        for (whose, examples) in other.examples {
            let kept = self.examples.entry(whose).or_default();
            examples.into_iter().for_each(|example| keep(kept, example));
        }
    }
}

fn keep(kept: &mut Vec<Example>, example: Example) {
    let at = kept.partition_point(|other| (other.kwh, &example.event) > (example.kwh, &other.event));
    kept.insert(at, example);
    kept.truncate(EXAMPLES);
}

impl DriverDay {
    fn add_habit(&mut self, habit: Habit, kwh: f64) {
        self.habits_kwh[habit.place()] += kwh;
        self.occasions[habit.place()] += 1;
    }

    pub fn add(&mut self, other: &DriverDay) {
        macro_rules! add {
            ($($field:ident),*) => { $(self.$field += other.$field;)* };
        }
        add!(
            distance_mi,
            braking_kwh,
            judged_mi,
            avoidable_kwh,
            net_kwh,
            net_mi,
            drawn_kwh,
            drawn_mi,
            drawn_variance_kwh2,
            payload_kg_mi,
            payload_known_mi,
            cold_k_mi,
            hot_k_mi,
            temperature_known_mi,
            hour_h_mi
        );
        self.habits_kwh.iter_mut().zip(&other.habits_kwh).for_each(|(sum, more)| *sum += more);
        self.occasions.iter_mut().zip(&other.occasions).for_each(|(sum, more)| *sum += more);
    }
}

/// What of a trip decides whether its driving may be judged.
pub(super) struct Trips<'a> {
    by_id: HashMap<&'a str, Trip<'a>>,
}

#[derive(Clone, Copy)]
struct Trip<'a> {
    day: Option<&'a str>,
    is_judged: bool,
}

impl<'a> Trips<'a> {
    fn read(trips: &'a RecordBatch) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::TRIPS, trips);
        let (ids, days, claims) =
            (view.texts("trip_id")?, view.texts("service_day")?, view.texts("braking_claim")?);
        let trip = |row: usize| Trip {
            day: text_at(days, row),
            // Speeds drawn from a library say nothing of the person who drove.
            is_judged: matches!(claims.value(row), "full" | "banded"),
        };
        Ok(Self { by_id: (0..view.rows()).map(|row| (ids.value(row), trip(row))).collect() })
    }

    pub fn is_judged(&self, trip: &str) -> bool {
        self.by_id.get(trip).is_some_and(|trip| trip.is_judged)
    }

    pub fn day(&self, trip: &str) -> Option<&'a str> {
        self.by_id.get(trip)?.day
    }
}

fn add_segments(
    found: &mut DriverDays,
    of: &DriverTables<'_>,
    trips: &Trips<'_>,
    hour: &dyn Fn(i64) -> f64,
) -> Result<(), BatchError> {
    let segments = Segments::read(of)?;
    for row in 0..segments.view.rows() {
        let Some((key, trip)) = segments.key(row) else { continue };
        let sums = found.days.entry(key).or_default();
        if segments.is_driving(row) {
            segments.add_driving(sums, row, hour(segments.start_ns(row)));
            if trips.is_judged(trip) {
                segments.add_judged(sums, row);
            }
        } else {
            sums.add_habit(Habit::Standing, segments.number("energy_auxiliary_kwh", row).unwrap_or(0.0));
        }
    }
    Ok(())
}

/// Columns of one vehicle's segments.
struct Segments<'a> {
    view: BatchView<'a>,
    battery: BatchView<'a>,
    bands: Vec<Option<Band>>,
}

impl<'a> Segments<'a> {
    fn read(of: &DriverTables<'a>) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::SEGMENTS, of.segments);
        let battery = BatchView::new(&tables::SEGMENT_BATTERY, of.battery);
        Ok(Self { bands: bands(of.trips, view.texts("trip_id")?)?, view, battery })
    }

    fn text(&self, name: &str, row: usize) -> Option<&'a str> {
        self.view.texts(name).ok().and_then(|array| text_at(array, row))
    }

    fn number(&self, name: &str, row: usize) -> Option<f64> {
        self.view.numbers(name).ok().and_then(|array| number_at(array, row))
    }

    /// Whose driving it is, and its trip; `None` outside trips, and where nobody or no date is named.
    fn key(&self, row: usize) -> Option<(Key, &'a str)> {
        let key = Key {
            driver: self.text("driver_id", row)?.to_owned(),
            vehicle: self.text("vehicle_id", row)?.to_owned(),
            route: self.text("route_id", row).unwrap_or_default().to_owned(),
            day: self.text("service_day", row)?.to_owned(),
        };
        Some((key, self.text("trip_id", row)?))
    }

    fn is_driving(&self, row: usize) -> bool {
        self.text("kind", row) == Some("driving")
    }

    fn start_ns(&self, row: usize) -> i64 {
        self.view.times("time_start_ns").map_or(0, |array| array.value(row))
    }

    fn miles(&self, row: usize) -> f64 {
        self.number("distance_m", row).unwrap_or(0.0) / METRES_PER_MILE
    }

    fn add_driving(&self, sums: &mut DriverDay, row: usize, hour: f64) {
        let miles = self.miles(row);
        sums.distance_mi += miles;
        let band = self.bands[row].map_or(0.0, Band::middle);
        sums.braking_kwh += self.number("energy_braking_kwh", row).unwrap_or(0.0) * band;
        sums.hour_h_mi += hour * miles;
        if let Some(payload) = self.number("payload_kg", row) {
            sums.payload_kg_mi += payload * miles;
            sums.payload_known_mi += miles;
        }
        if let Some(kelvin) = self.number("temperature_ambient_k", row) {
            sums.cold_k_mi += (COLD_K - kelvin).max(0.0) * miles;
            sums.hot_k_mi += (kelvin - HOT_K).max(0.0) * miles;
            sums.temperature_known_mi += miles;
        }
        let battery = |name| self.battery.numbers(name).ok().and_then(|array| number_at(array, row));
        let evidence = self.battery.texts("evidence").ok().and_then(|array| text_at(array, row));
        if evidence == Some("measured") {
            sums.net_kwh += battery("energy_net_p50_kwh").unwrap_or(0.0);
            sums.net_mi += miles;
        }
        // Drag at the wheels as the battery pays for it.
        let number = |name| self.number(name, row).unwrap_or(0.0);
        let tractive = number("energy_tractive_kwh");
        if tractive > 0.0 {
            sums.add_habit(Habit::Speed, number("energy_aero_kwh") * number("energy_drive_dc_kwh") / tractive);
        }
    }

    fn add_judged(&self, sums: &mut DriverDay, row: usize) {
        sums.judged_mi += self.miles(row);
        if self.text("level_basis", row) == Some("logged") {
            let number = |name| self.number(name, row).unwrap_or(0.0);
            sums.add_habit(Habit::LowLevel, number("energy_attainable_kwh") - number("energy_recoverable_kwh"));
        }
    }
}

/// Trips read by the state of charge at both ends: no pooled figure, which would be shrunken twice.
fn add_state_of_charge(found: &mut DriverDays, of: &DriverTables<'_>) -> Result<(), BatchError> {
    let Some(capacity_kwh) = of.capacity_kwh else { return Ok(()) };
    let view = BatchView::new(&tables::TRIPS, of.trips);
    let (vehicles, drivers, routes) =
        (view.texts("vehicle_id")?, view.texts("driver_id")?, view.texts("route_id")?);
    let (days, checks) = (view.texts("service_day")?, view.texts("recovery_check")?);
    let (start, end) = (view.numbers("soc_start_frac")?, view.numbers("soc_end_frac")?);
    let (step, distance) = (view.numbers("soc_step_frac")?, view.numbers("distance_m")?);
    for row in 0..view.rows() {
        let (Some(driver), Some(day)) = (text_at(drivers, row), text_at(days, row)) else { continue };
        let (Some(from), Some(to), Some(step)) =
            (number_at(start, row), number_at(end, row), number_at(step, row))
        else {
            continue;
        };
        if checks.value(row) == "engine" {
            continue;
        }
        let key = Key {
            driver: driver.to_owned(),
            vehicle: vehicles.value(row).to_owned(),
            route: text_at(routes, row).unwrap_or_default().to_owned(),
            day: day.to_owned(),
        };
        let sums = found.days.entry(key).or_default();
        sums.drawn_kwh += (from - to) * capacity_kwh;
        sums.drawn_mi += distance.value(row) / METRES_PER_MILE;
        sums.drawn_variance_kwh2 += rounded_difference_kwh(step, capacity_kwh).powi(2);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(miles: f64) -> DriverDay {
        DriverDay { distance_mi: miles, habits_kwh: [miles; 6], ..DriverDay::default() }
    }

    fn key(driver: &str) -> Key {
        Key { driver: driver.into(), vehicle: "T1".into(), route: String::new(), day: "2026-02-02".into() }
    }

    fn of(driver: &str, miles: f64, kwh: f64) -> DriverDays {
        let example = Example { kwh, event: format!("{driver} {kwh}") };
        DriverDays {
            days: BTreeMap::from([(key(driver), day(miles))]),
            types: BTreeMap::new(),
            examples: BTreeMap::from([((driver.to_owned(), Habit::TookFriction), vec![example])]),
        }
    }

    #[test]
    fn vehicles_add_up_in_any_order() {
        let parts: Vec<DriverDays> =
            (0..8).map(|i| of(["A", "B"][i % 2], 1.0 + i as f64, (i as f64 * 3.0) % 5.0)).collect();
        let mut forth = DriverDays::default();
        parts.iter().cloned().for_each(|part| forth.add(part));
        let mut back = DriverDays::default();
        parts.iter().rev().cloned().for_each(|part| back.add(part));
        assert_eq!(forth, back);
        assert_eq!(forth.days[&key("A")].distance_mi, 16.0);
    }

    #[test]
    fn the_dearest_five_are_kept_dearest_first() {
        let mut kept = Vec::new();
        for kwh in [1.0, 5.0, 3.0, 2.0, 7.0, 6.0, 3.0] {
            keep(&mut kept, Example { kwh, event: format!("{kwh}") });
        }
        assert_eq!(kept.iter().map(|example| example.kwh).collect::<Vec<_>>(), [7.0, 6.0, 5.0, 3.0, 3.0]);
    }
}
