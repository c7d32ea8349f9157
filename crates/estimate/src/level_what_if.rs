//! The same driving at each regen level of its sheet: physics, beside the association of `level_comparison` and never
//! merged with it.
//!
//! Speeds, pedals and state of charge stay as logged; only the level's own limits are others. What was recovered is carried
//! over by the ratio of what was recoverable: whatever kept the truck from its recoverable energy as driven keeps it from
//! the same share at another level.

use std::collections::{BTreeMap, HashMap};

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, BatchView, METRES_PER_MILE, number_at, tables, text_at};

use crate::correction::{Band, bands};
use crate::drivers::{DriverDays, WhyHidden};
use crate::plan::OF_BOUND;

const SUBJECTS: [&str; 2] = ["vehicle", "driver"];
/// The level as set is known where it is logged, or is the only one, on this share of the distance.
const KNOWN: f64 = 0.9;
/// Less recoverable than this as set carries no ratio. [kWh]
const RECOVERABLE_FLOOR_KWH: f64 = 0.5;
const CAUTION: &str = "a model of the same speeds at another level, no forecast: levels were chosen, not assigned, and a stronger level costs where the truck \
     was let roll (replay --with level=... bounds it)";
const UNKNOWN_LEVEL: &str = "the level as set is not known: recoverable alone";

/// Name of the scenario in which every trip is driven at one level.
pub fn level_scenario(level: &str) -> String {
    format!("all at level {level}")
}

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    /// Place in [`SUBJECTS`].
    subject: usize,
    name: String,
    vehicle_type: String,
}

#[derive(Debug, Clone, Default, PartialEq)]
struct Sums {
    trips: u64,
    distance_mi: f64,
    known_mi: f64,
    braking_kwh: f64,
    set_kwh: f64,
    /// Recovered as driven, and how far battery figures reach. [kWh, mi]
    recovered_kwh: f64,
    recovered_mi: f64,
    /// Of each level in the order of the sheet.
    levels: Vec<(String, AtLevel)>,
}

/// Recoverable at a level, and less what was recoverable as set: believed, least, most. [kWh]
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct AtLevel {
    energy_kwh: [f64; 3],
    change_kwh: [f64; 3],
}

/// Levels replayed. Adds up over vehicles.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LevelReplays {
    sums: BTreeMap<Key, Sums>,
}

/// One vehicle's tables.
#[derive(Debug, Clone, Copy)]
pub struct ReplayedTables<'a> {
    pub vehicle: &'a str,
    pub vehicle_type: &'a str,
    /// Of the sheet, in its order.
    pub levels: &'a [String],
    pub segments: &'a RecordBatch,
    pub battery: &'a RecordBatch,
    pub trips: &'a RecordBatch,
    pub scenarios: &'a RecordBatch,
}

/// One vehicle's trips at every level, for the vehicle and for each driver named for a whole trip.
pub fn level_replays(of: ReplayedTables<'_>) -> Result<LevelReplays, BatchError> {
    let mut found = LevelReplays::default();
    let mut by_trip = trips(&of)?;
    read_levels(&of, &mut by_trip)?;
    let mut names: Vec<&String> = by_trip.keys().collect();
    names.sort();
    for name in names {
        let Trip { driver, sums } = &by_trip[name];
        if sums.levels.is_empty() {
            continue;
        }
        let subjects = [Some(of.vehicle), driver.as_deref()];
        for (subject, name) in subjects.into_iter().enumerate() {
            let Some(name) = name else { continue };
            let key = Key { subject, name: name.to_owned(), vehicle_type: of.vehicle_type.to_owned() };
            found.sums.entry(key).or_default().add(sums);
        }
    }
    Ok(found)
}

impl LevelReplays {
    pub fn add(&mut self, other: LevelReplays) {
        for (key, sums) in other.sums {
            self.sums.entry(key).or_default().add(&sums);
        }
    }
}

impl Sums {
    fn add(&mut self, other: &Sums) {
        self.trips += other.trips;
        self.distance_mi += other.distance_mi;
        self.known_mi += other.known_mi;
        self.braking_kwh += other.braking_kwh;
        self.set_kwh += other.set_kwh;
        self.recovered_kwh += other.recovered_kwh;
        self.recovered_mi += other.recovered_mi;
        for (level, more) in &other.levels {
            let at = self.levels.iter().position(|(own, _)| own == level);
            let at = at.unwrap_or_else(|| {
                self.levels.push((level.clone(), AtLevel::default()));
                self.levels.len() - 1
            });
            let sum = &mut self.levels[at].1;
            sum.energy_kwh.iter_mut().zip(more.energy_kwh).for_each(|(sum, more)| *sum += more);
            sum.change_kwh.iter_mut().zip(more.change_kwh).for_each(|(sum, more)| *sum += more);
        }
    }

    /// Recovered as driven over recoverable as set, where both are known.
    fn arriving(&self) -> Option<f64> {
        let known = self.known_mi >= KNOWN * self.distance_mi && self.recovered_mi >= KNOWN * self.distance_mi;
        (known && self.set_kwh >= RECOVERABLE_FLOOR_KWH).then(|| self.recovered_kwh / self.set_kwh)
    }
}

#[derive(Default)]
struct Trip {
    driver: Option<String>,
    sums: Sums,
}

/// Trips with a claim on braking energy, as they were driven.
fn trips(of: &ReplayedTables<'_>) -> Result<HashMap<String, Trip>, BatchError> {
    let view = BatchView::new(&tables::TRIPS, of.trips);
    let (ids, drivers) = (view.texts("trip_id")?, view.texts("driver_id")?);
    let mut trips: HashMap<String, Trip> = HashMap::new();
    let segments = BatchView::new(&tables::SEGMENTS, of.segments);
    let battery = BatchView::new(&tables::SEGMENT_BATTERY, of.battery);
    let (trip_of, bases) = (segments.texts("trip_id")?, segments.texts("level_basis")?);
    let (braking, distance) = (segments.numbers("energy_braking_kwh")?, segments.numbers("distance_m")?);
    let recovered = battery.numbers("energy_recovered_p50_kwh")?;
    let bands = bands(of.trips, trip_of)?;
    for (row, band) in bands.into_iter().enumerate() {
        let (Some(name), Some(band)) = (text_at(trip_of, row), band.map(Band::middle)) else { continue };
        let sums = &mut trips.entry(name.to_owned()).or_default().sums;
        let miles = number_at(distance, row).unwrap_or(0.0) / METRES_PER_MILE;
        sums.trips = 1;
        sums.distance_mi += miles;
        sums.known_mi += if bases.value(row) == "bounds" { 0.0 } else { miles };
        sums.braking_kwh += number_at(braking, row).unwrap_or(0.0) * band;
        if let Some(kwh) = number_at(recovered, row) {
            sums.recovered_kwh += kwh;
            sums.recovered_mi += miles;
        }
    }
    for row in 0..view.rows() {
        if let Some(trip) = trips.get_mut(ids.value(row)) {
            trip.driver = text_at(drivers, row).map(str::to_owned);
        }
    }
    Ok(trips)
}

fn read_levels(of: &ReplayedTables<'_>, trips: &mut HashMap<String, Trip>) -> Result<(), BatchError> {
    let view = BatchView::new(&tables::SCENARIOS, of.scenarios);
    let (ids, names) = (view.texts("trip_id")?, view.texts("scenario")?);
    let energy = view.numbers("energy_recovered_kwh")?;
    let ends = [
        "energy_recovered_low_kwh",
        "energy_recovered_high_kwh",
        "energy_recovered_change_low_kwh",
        "energy_recovered_change_high_kwh",
    ];
    let ends = ends.map(|name| view.numbers(name));
    let levels: HashMap<String, &String> =
        of.levels.iter().map(|level| (level_scenario(level), level)).collect();
    for row in 0..view.rows() {
        let Some(trip) = trips.get_mut(ids.value(row)) else { continue };
        let kwh = number_at(energy, row).unwrap_or(0.0);
        // Nothing changed comes first.
        if names.value(row) == "as driven" {
            trip.sums.set_kwh = kwh;
        } else if let Some(level) = levels.get(names.value(row)) {
            let mut of_ends = [0.0; 4];
            for (value, column) in of_ends.iter_mut().zip(&ends) {
                *value = number_at(column.clone()?, row).unwrap_or(0.0);
            }
            let [low, high, change_low, change_high] = of_ends;
            let change_kwh = [kwh - trip.sums.set_kwh, change_low, change_high];
            trip.sums.levels.push(((*level).clone(), AtLevel { energy_kwh: [kwh, low, high], change_kwh }));
        }
    }
    Ok(())
}

/// Every vehicle, and every driver who may be shown, at every level.
pub fn level_what_if(
    of: &LevelReplays,
    days: &DriverDays,
    pseudonyms: bool,
) -> Result<RecordBatch, BatchError> {
    let hidden = WhyHidden::of(days, pseudonyms);
    let rows: Vec<Row<'_>> = of.sums.iter().flat_map(|(key, sums)| rows(key, sums, &hidden)).collect();
    build(&rows)
}

struct Row<'a> {
    key: &'a Key,
    level: &'a str,
    sums: &'a Sums,
    why: Option<String>,
    /// Low end, middle, high end. [kWh]
    recoverable_kwh: Option<[f64; 3]>,
    recovered_kwh: Option<[f64; 3]>,
}

impl Row<'_> {
    /// Of levels that nobody knows there is no "as set".
    fn set_kwh(&self) -> Option<f64> {
        let is_known = self.sums.known_mi >= KNOWN * self.sums.distance_mi;
        self.recoverable_kwh.filter(|_| is_known).map(|_| self.sums.set_kwh)
    }
}

fn rows<'a>(key: &'a Key, sums: &'a Sums, hidden: &WhyHidden) -> Vec<Row<'a>> {
    let why = if SUBJECTS[key.subject] == "driver" { hidden.why(&key.name) } else { None };
    let row = |(level, at): &'a (String, AtLevel)| {
        if why.is_some() {
            return Row { key, level, sums, why: why.clone(), recoverable_kwh: None, recovered_kwh: None };
        }
        // What came back of what could: no more at any level than all of the braking energy.
        let around = |of: [f64; 3]| {
            let half = OF_BOUND * (of[2] - of[1]);
            [of[0] - half, of[0], of[0] + half].map(|kwh| kwh.clamp(0.0, sums.braking_kwh.max(0.0)))
        };
        let arriving = sums.arriving();
        let recovered = |arriving: f64| around(at.change_kwh.map(|kwh| sums.recovered_kwh + arriving * kwh));
        Row {
            key,
            level,
            sums,
            why: arriving.is_none().then(|| UNKNOWN_LEVEL.to_owned()),
            recoverable_kwh: Some(around(at.energy_kwh)),
            recovered_kwh: arriving.map(recovered),
        }
    };
    sums.levels.iter().map(row).collect()
}

fn build(rows: &[Row<'_>]) -> Result<RecordBatch, BatchError> {
    let each = || rows.iter();
    let shown = |of: fn(&Sums) -> f64| -> Vec<Option<f64>> {
        each().map(|row| row.recoverable_kwh.map(|_| of(row.sums))).collect()
    };
    let recoverable =
        |end: usize| -> Vec<Option<f64>> { each().map(|row| Some(row.recoverable_kwh?[end])).collect() };
    let recovered =
        |end: usize| -> Vec<Option<f64>> { each().map(|row| Some(row.recovered_kwh?[end])).collect() };
    let share = |row: &Row<'_>| {
        let kwh = row.recoverable_kwh?[1];
        (row.sums.braking_kwh > 0.0).then(|| kwh / row.sums.braking_kwh)
    };
    let grade = |row: &Row<'_>| if row.recoverable_kwh.is_some() { "modelled" } else { "none" };
    BatchBuilder::new(&tables::LEVEL_WHAT_IF)
        .text("subject", each().map(|row| Some(SUBJECTS[row.key.subject])))
        .text("name", each().map(|row| Some(row.key.name.as_str())))
        .text("vehicle_type", each().map(|row| Some(row.key.vehicle_type.as_str())))
        .text("regen_level", each().map(|row| Some(row.level)))
        .text("why_not_shown", each().map(|row| row.why.as_deref()))
        .count("trips", each().map(|row| row.sums.trips))
        .number("distance_mi", each().map(|row| row.sums.distance_mi))
        .number("energy_braking_kwh", shown(|sums| sums.braking_kwh))
        .number("energy_recoverable_set_kwh", each().map(Row::set_kwh))
        .number("energy_recoverable_p05_kwh", recoverable(0))
        .number("energy_recoverable_p50_kwh", recoverable(1))
        .number("energy_recoverable_p95_kwh", recoverable(2))
        .number("recoverable_share_frac", each().map(share))
        .number("energy_recovered_set_kwh", each().map(|row| row.recovered_kwh.map(|_| row.sums.recovered_kwh)))
        .number("energy_recovered_p05_kwh", recovered(0))
        .number("energy_recovered_p50_kwh", recovered(1))
        .number("energy_recovered_p95_kwh", recovered(2))
        .text("evidence", each().map(|row| Some(grade(row))))
        .text("caution", each().map(|_| Some(CAUTION)))
        .finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sums() -> Sums {
        let at = |kwh: f64, change: f64| AtLevel {
            energy_kwh: [kwh, kwh - 1.0, kwh + 1.0],
            change_kwh: [change, change - 0.4, change + 0.4],
        };
        Sums {
            trips: 1,
            distance_mi: 10.0,
            known_mi: 10.0,
            braking_kwh: 20.0,
            set_kwh: 10.0,
            recovered_kwh: 8.0,
            recovered_mi: 10.0,
            levels: vec![("low".to_owned(), at(6.0, -4.0)), ("high".to_owned(), at(15.0, 5.0))],
        }
    }

    fn key(subject: usize) -> Key {
        Key { subject, name: "D1".to_owned(), vehicle_type: "van".to_owned() }
    }

    /// By hand: four fifths arrive, so 8 - 0.8 · 4 = 4.8 at the low level and 8 + 0.8 · 5 = 12 at the high one; a quarter of
    /// the bounds' 2 and of 0.8 · 0.8 either way.
    #[test]
    fn what_came_back_goes_with_what_could() {
        let (sums, key, hidden) = (sums(), key(0), WhyHidden::default());
        let found = rows(&key, &sums, &hidden);
        let near = |a: [f64; 3], b: [f64; 3]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-12);
        assert!(near(found[0].recoverable_kwh.unwrap(), [5.5, 6.0, 6.5]), "{:?}", found[0].recoverable_kwh);
        assert!(near(found[0].recovered_kwh.unwrap(), [4.64, 4.8, 4.96]), "{:?}", found[0].recovered_kwh);
        assert!(near(found[1].recovered_kwh.unwrap(), [11.84, 12.0, 12.16]), "{:?}", found[1].recovered_kwh);
    }

    #[test]
    fn an_unknown_level_carries_no_ratio() {
        let (sums, key) = (Sums { known_mi: 5.0, ..sums() }, key(0));
        let found = rows(&key, &sums, &WhyHidden::default());
        assert!(found.iter().all(|row| row.recovered_kwh.is_none() && row.recoverable_kwh.is_some()));
        assert!(found.iter().all(|row| row.why.as_deref() == Some(UNKNOWN_LEVEL) && row.set_kwh().is_none()));
    }

    /// A driver on whom there are no days at all has not driven enough.
    #[test]
    fn people_are_hidden_where_the_comparison_hides_them() {
        let (sums, key) = (sums(), key(1));
        let found = rows(&key, &sums, &WhyHidden::of(&DriverDays::default(), true));
        assert!(found.iter().all(|row| row.recoverable_kwh.is_none() && row.recovered_kwh.is_none()));
        assert!(found[0].why.as_deref().unwrap().contains("10 driving days"));
    }
}
