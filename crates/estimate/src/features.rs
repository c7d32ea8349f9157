//! What each segment asks of the battery, by cause: the features whose coefficients are to be found.

use std::collections::HashMap;

use arrow::array::{Array, Float64Array, RecordBatch, StringArray};
use backwatt_schema::{BatchError, BatchView, number_at, tables, text_at};

use crate::correction::{Band, bands};
use crate::sheet::TypeSheet;
use crate::statistics::day_of;

/// Traction less its rolling and drag parts: inertia and grade. [kWh] at the wheels, like the next two.
pub const INERTIA: usize = 0;
pub const ROLLING: usize = 1;
pub const AERO: usize = 2;
/// Drive losses while driving, by the sheet. [kWh]
pub const LOSS: usize = 3;
/// Wheel force squared while driving. [1e9 N² s]
pub const LOAD: usize = 4;
/// Auxiliaries by the log or the sheet, moving and not. [kWh]
pub const AUX_MOVING: usize = 5;
pub const AUX_STANDING: usize = 6;
/// Time logged. [h]
pub const HOURS: usize = 7;
/// Lost inside the battery, by the sheet. [kWh]
pub const BATTERY_LOSS: usize = 8;
/// Distance not braked. [km]
pub const DISTANCE: usize = 9;
/// Time in which a measured battery took energy while moving. [h]
pub const RECOVERING: usize = 10;
/// Time between logged stretches that a window bridges, the key off at deliveries. [h]
pub const UNSEEN: usize = 11;
/// Braking energy at the wheels, and the rolling and drag work done meanwhile. [kWh]
pub const BRAKING: usize = 12;
pub const BRAKING_ROLLING: usize = 13;
pub const BRAKING_AERO: usize = 14;
/// What goes with mass of driving, weighed by how early in the day it lies: +1 at its first metre, -1 at its last. [kWh]
pub const DRIVEN_EARLY: usize = 15;
/// Features all levels share.
pub const SHARED: usize = 16;

/// Of each level: taken by the motor at the wheels, what conversion costs by the sheet [kWh], the force squared
/// [1e9 N² s], how the first moves with mass, rolling resistance and drag area (each from 1), what auxiliaries take, and
/// the distance braked [km], and what goes with mass of the first two, weighed by how early in the day it lies.
pub const TAKEN: usize = 0;
pub const CONVERTED: usize = 1;
pub const LOAD_BACK: usize = 2;
pub const BY_MASS: usize = 3;
pub const BY_ROLLING: usize = 4;
pub const BY_AERO: usize = 5;
pub const FED: usize = 6;
pub const BRAKED: usize = 7;
pub const TAKEN_EARLY: usize = 8;
pub const OF_LEVEL: usize = 9;

/// Where a feature of a level stands.
pub fn of_level(slot: usize, feature: usize) -> usize {
    SHARED + slot * OF_LEVEL + feature
}

pub fn count(sheet: &TypeSheet) -> usize {
    SHARED + sheet.level_slots() * OF_LEVEL
}

const N2_S: f64 = 1e9;

/// The ledger columns that features are made of.
pub(crate) struct Reader<'a> {
    sheet: &'a TypeSheet,
    numbers: Vec<&'a Float64Array>,
    levels: &'a StringArray,
    kinds: &'a StringArray,
    /// Braking energy per joule in the samples as they stand.
    factors: Vec<f64>,
    early: Vec<f64>,
}

const COLUMNS: [&str; 14] = [
    "energy_tractive_kwh",
    "energy_braking_kwh",
    "energy_rolling_kwh",
    "energy_aero_kwh",
    "energy_rolling_braking_kwh",
    "energy_aero_braking_kwh",
    "energy_drive_dc_kwh",
    "force_squared_tractive_n2_s",
    "force_squared_captured_n2_s",
    "braking_taken_whole_kwh",
    "braking_converted_kwh",
    "braking_to_auxiliaries_kwh",
    "energy_recoverable_kwh",
    "energy_auxiliary_kwh",
];

impl<'a> Reader<'a> {
    pub fn new(
        segments: &'a RecordBatch,
        trips: &RecordBatch,
        sheet: &'a TypeSheet,
    ) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::SEGMENTS, segments);
        let mut numbers = COLUMNS.iter().map(|name| view.numbers(name)).collect::<Result<Vec<_>, _>>()?;
        for name in ["duration_s", "distance_m", "battery_recovering_s"] {
            numbers.push(view.numbers(name)?);
        }
        let factors = bands(trips, view.texts("trip_id")?)?;
        Ok(Self {
            sheet,
            numbers,
            levels: view.texts("regen_level")?,
            kinds: view.texts("kind")?,
            factors: factors.into_iter().map(|band| band.map_or(1.0, Band::middle)).collect(),
            early: early(&view)?,
        })
    }

    pub fn rows(&self) -> usize {
        self.levels.len()
    }

    pub fn count(&self) -> usize {
        count(self.sheet)
    }

    fn get(&self, column: usize, row: usize) -> f64 {
        number_at(self.numbers[column], row).unwrap_or(0.0)
    }

    pub fn slot(&self, row: usize) -> usize {
        self.sheet.level_slot(text_at(self.levels, row))
    }

    /// Braking energy at the wheels, which bounds what can come back. [kWh]
    pub fn braking(&self, row: usize) -> f64 {
        self.get(1, row) * self.factors[row]
    }

    /// The features of one segment. Braking that slow samples hide is made good by as much traction.
    pub fn features(&self, row: usize) -> Vec<f64> {
        let [tractive, braking, rolling, aero, rolling_braking, aero_braking, drive_dc, load, load_back, whole] =
            std::array::from_fn(|column| self.get(column, row));
        let [converted, fed, recoverable, aux] = std::array::from_fn(|column| self.get(10 + column, row));
        let factor = self.factors[row];
        let hidden = braking * (factor - 1.0);
        let mut x = vec![0.0; count(self.sheet)];
        x[ROLLING] = rolling - rolling_braking;
        x[AERO] = aero - aero_braking;
        x[BRAKING] = braking * factor;
        x[BRAKING_ROLLING] = rolling_braking * factor;
        x[BRAKING_AERO] = aero_braking * factor;
        x[INERTIA] = tractive - x[ROLLING] - x[AERO] + hidden;
        let lost = if tractive > 0.0 { (drive_dc - tractive) / tractive } else { 0.0 };
        x[LOSS] = lost * (tractive + hidden);
        x[LOAD] = load / N2_S;
        let driving = self.kinds.value(row) == "driving";
        x[if driving { AUX_MOVING } else { AUX_STANDING }] = aux;
        let [duration_s, distance_m, recovering_s] = std::array::from_fn(|i| self.get(COLUMNS.len() + i, row));
        x[HOURS] = duration_s / 3600.0;
        x[RECOVERING] = recovering_s / 3600.0;
        // Rolling work goes with distance.
        let braked_km = if rolling > 0.0 { distance_m * rolling_braking / rolling / 1000.0 } else { 0.0 };
        x[DISTANCE] = distance_m / 1000.0 - braked_km;
        let efficiency = self.sheet.battery.map_or(1.0, |battery| battery.battery_efficiency);
        let gross = tractive + hidden + x[LOSS] + aux - fed * factor;
        x[BATTERY_LOSS] = (1.0 / efficiency - 1.0) * gross + (1.0 - efficiency) * recoverable * factor;
        x[DRIVEN_EARLY] = self.early[row] * (x[INERTIA] + x[ROLLING] + x[LOSS]);
        let slot = self.slot(row);
        let mut level = |feature: usize, value: f64| x[of_level(slot, feature)] = value * factor;
        let taken = converted + fed + recoverable;
        level(TAKEN, taken);
        level(CONVERTED, converted);
        level(LOAD_BACK, load_back / N2_S);
        level(FED, fed);
        level(BRAKED, braked_km);
        if braking > 0.0 {
            // E_brk = inertia and grade - rolling - drag. Where the motor takes all of it, what it takes moves likewise;
            // where a limit binds it moves with the limit, and only a held deceleration goes with mass.
            let holds = self.sheet.levels.get(slot).is_some_and(|level| level.holds_deceleration);
            let limited = if holds { (taken - whole).max(0.0) } else { 0.0 };
            let by_mass = whole * (1.0 + aero_braking / braking) + limited;
            level(BY_MASS, by_mass);
            level(TAKEN_EARLY, self.early[row] * (by_mass - converted));
            level(BY_ROLLING, -whole * rolling_braking / braking);
            level(BY_AERO, -whole * aero_braking / braking);
        }
        x
    }
}

/// How early in the distance of its day each segment lies: 1 at the first metre, -1 at the last; 0 on a relative clock, where
/// nobody knows what belongs to a day.
fn early(view: &BatchView<'_>) -> Result<Vec<f64>, BatchError> {
    let (days, trips) = (view.texts("service_day")?, view.texts("trip_id")?);
    let distances = view.numbers("distance_m")?;
    let day = |row: usize| day_of(text_at(days, row), text_at(trips, row));
    let dated = |row: usize| text_at(days, row).is_some();
    let distance = |row: usize| number_at(distances, row).unwrap_or(0.0);
    let mut all_m: HashMap<&str, f64> = HashMap::new();
    for row in 0..view.rows() {
        *all_m.entry(day(row)).or_default() += distance(row);
    }
    let mut so_far_m: HashMap<&str, f64> = HashMap::new();
    let place = |row: usize| {
        let so_far_m = so_far_m.entry(day(row)).or_default();
        let middle_m = *so_far_m + distance(row) / 2.0;
        *so_far_m += distance(row);
        let whole_m = all_m.get(day(row)).copied().unwrap_or(0.0);
        if whole_m > 0.0 && dated(row) { 1.0 - 2.0 * middle_m / whole_m } else { 0.0 }
    };
    Ok((0..view.rows()).map(place).collect())
}
