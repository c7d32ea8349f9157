//! The first pass: what one vehicle's log says of the unknowns, as moments that add up.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, number_at, tables, text_at};
use backwatt_stats::Moments;

use crate::charge_sessions::SessionCapacity;
use crate::claims::{TripClaims, is_from_cycles};
use crate::features::{self, OF_LEVEL, RECOVERING, Reader, SHARED};
use crate::law::{AT_BUS, AT_TERMINALS, BY_CHARGE, KINDS};
use crate::sheet::TypeSheet;
use crate::windows::{Window, windows};

/// What one vehicle's log says. Statistics of two parts of a log add up; those of vehicles of one type are learned from
/// together.
#[derive(Debug, Clone, PartialEq)]
pub struct Statistics {
    pub vehicle_id: String,
    pub days: BTreeMap<String, Day>,
    /// Features summed over all segments: what a figure about the vehicle is made of.
    pub totals: Vec<f64>,
    pub moving_h: f64,
    /// Time with the payload known, and all time. [h]
    pub payload_h: f64,
    pub hours: f64,
    /// Time moving over heights that are no terrain's. [h]
    pub heights_unsure_h: f64,
    /// Braking energy claimed, and half of what its sampling leaves open. [kWh]
    pub braking_kwh: f64,
    pub braking_half_kwh: f64,
    /// Windows that nothing in the model explains.
    pub windows_aside: u64,
    /// What metered charges say of the battery, where there are any.
    pub capacity: Option<SessionCapacity>,
}

/// Moments of one service day by kind, and those its windows would have with a state of charge without steps or with
/// sure heights.
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    pub kinds: [Moments; KINDS],
    pub by_fine_charge: Moments,
    pub by_sure_heights: Moments,
    pub totals: Vec<f64>,
}

impl Day {
    fn new(features: usize) -> Self {
        Self {
            kinds: std::array::from_fn(|_| Moments::new(features)),
            by_fine_charge: Moments::new(features),
            by_sure_heights: Moments::new(features),
            totals: vec![0.0; features],
        }
    }

    /// The day's features with the time braked in the place of the time of measured inflow.
    pub(crate) fn totals_with_braked_time(&self) -> Vec<f64> {
        let mut x = self.totals.clone();
        let braked: f64 = (SHARED..x.len()).step_by(OF_LEVEL).map(|start| x[start + features::BRAKED]).sum();
        let all = x[features::DISTANCE] + braked;
        x[RECOVERING] = if all > 0.0 { x[features::HOURS] * braked / all } else { 0.0 };
        x
    }
}

impl Statistics {
    /// Nothing said yet.
    pub fn new(vehicle_id: &str, sheet: &TypeSheet) -> Self {
        Self {
            vehicle_id: vehicle_id.to_owned(),
            days: BTreeMap::new(),
            totals: vec![0.0; features::count(sheet)],
            moving_h: 0.0,
            payload_h: 0.0,
            hours: 0.0,
            heights_unsure_h: 0.0,
            braking_kwh: 0.0,
            braking_half_kwh: 0.0,
            windows_aside: 0,
            capacity: None,
        }
    }

    /// Adds one window of state of charge; one that is not of finite numbers, or said to be without error, is set aside:
    /// it would drown all others.
    pub fn add_window(&mut self, window: &Window) {
        let noises = [window.noise_kwh, window.noise_fine_kwh, window.noise_sure_kwh];
        let is_sound = noises.iter().all(|noise| noise.is_finite() && *noise > 0.0)
            && window.drawn_kwh.is_finite()
            && window.features.iter().all(|x| x.is_finite());
        if !is_sound {
            self.windows_aside += 1;
            return;
        }
        let size = self.totals.len();
        let day = self.days.entry(window.day.clone()).or_insert_with(|| Day::new(size));
        for (moments, noise_kwh) in [
            (&mut day.kinds[BY_CHARGE], window.noise_kwh),
            (&mut day.by_fine_charge, window.noise_fine_kwh),
            (&mut day.by_sure_heights, window.noise_sure_kwh),
        ] {
            moments.add_row(window.drawn_kwh, &window.features, noise_kwh.powi(-2));
        }
    }

    /// Adds the features of a stretch: what figures about the vehicle are made of.
    pub fn add_stretch(&mut self, day: &str, x: &[f64], moving_h: f64) {
        let size = self.totals.len();
        let entry = self.days.entry(day.to_owned()).or_insert_with(|| Day::new(size));
        add(&mut entry.totals, x);
        add(&mut self.totals, x);
        self.moving_h += moving_h;
        self.hours += x[features::HOURS];
    }

    /// Adds what another part of the same vehicle's log says.
    pub fn add(&mut self, other: &Statistics) {
        for (day, more) in &other.days {
            let size = self.totals.len();
            let day = self.days.entry(day.clone()).or_insert_with(|| Day::new(size));
            for (kind, more) in day.kinds.iter_mut().zip(&more.kinds) {
                kind.add(more);
            }
            day.by_fine_charge.add(&more.by_fine_charge);
            day.by_sure_heights.add(&more.by_sure_heights);
            add(&mut day.totals, &more.totals);
        }
        add(&mut self.totals, &other.totals);
        self.moving_h += other.moving_h;
        self.payload_h += other.payload_h;
        self.hours += other.hours;
        self.heights_unsure_h += other.heights_unsure_h;
        self.braking_kwh += other.braking_kwh;
        self.braking_half_kwh += other.braking_half_kwh;
        self.windows_aside += other.windows_aside;
        // Sessions are weighed over the whole log: parts of it carry the same.
        self.capacity = self.capacity.or(other.capacity);
    }

    /// A payload known for most of the time is one.
    pub fn payload_known(&self) -> bool {
        self.payload_h > 0.5 * self.hours
    }

    pub(crate) fn hidden_frac(&self) -> f64 {
        if self.braking_kwh > 0.0 { self.braking_half_kwh / self.braking_kwh } else { 0.0 }
    }

    pub(crate) fn is_measured(&self) -> bool {
        self.rows(AT_TERMINALS) > 0
    }

    pub(crate) fn has_windows(&self) -> bool {
        self.rows(BY_CHARGE) > 0
    }

    pub(crate) fn rows(&self, kind: usize) -> u64 {
        self.days.values().map(|day| day.kinds[kind].rows()).sum()
    }
}

fn add(sums: &mut [f64], more: &[f64]) {
    for (sum, more) in sums.iter_mut().zip(more) {
        *sum += more;
    }
}

/// Error of a measured energy over a stretch, relative to the sheet's terms and at least. [kWh] The residuals widen it.
const MEASURED_FRAC: f64 = 0.05;
const MEASURED_KWH: f64 = 0.05;

/// What one vehicle's segments and trips say of the unknowns of its type.
///
/// Windows of state of charge between its steps, and where battery power is logged what was drawn at the terminals by
/// trip and returned at the bus by day and level.
/// Missing  no window without state of charge or capacity; trips with braking withheld, noisy or unexplained are left out
/// Errors   a column is missing or of another type
pub fn observe(
    segments: &RecordBatch,
    trips: &RecordBatch,
    sheet: &TypeSheet,
) -> Result<Statistics, BatchError> {
    let view = BatchView::new(&tables::SEGMENTS, segments);
    let reader = Reader::new(segments, trips, sheet)?;
    let vehicles = view.texts("vehicle_id")?;
    let vehicle = if view.rows() > 0 { vehicles.value(0) } else { "" };
    let mut statistics = Statistics::new(vehicle, sheet);
    let mut measured = Measured::read(&view, trips)?;
    let grade = view.texts("grade_basis")?;
    let (days, trip_ids) = (view.texts("service_day")?, view.texts("trip_id")?);
    let (moving, payload, duration) =
        (view.numbers("moving_s")?, view.numbers("payload_kg")?, view.numbers("duration_s")?);
    for row in 0..view.rows() {
        let x = reader.features(row);
        let day = day_of(text_at(days, row), text_at(trip_ids, row));
        statistics.add_stretch(day, &x, moving.value(row) / 3600.0);
        let hours = duration.value(row) / 3600.0;
        if !matches!(text_at(grade, row), Some("tiles" | "logged")) {
            statistics.heights_unsure_h += moving.value(row) / 3600.0;
        }
        statistics.payload_h += if number_at(payload, row).is_some() { hours } else { 0.0 };
        measured.add(row, day, text_at(trip_ids, row), reader.slot(row), &x);
    }
    measured.into_days(&mut statistics.days);
    (statistics.braking_kwh, statistics.braking_half_kwh) = braking_claimed(trips)?;
    if let Some(step) = soc_step(trips)? {
        let (found, aside) = windows(segments, trips, sheet, step)?;
        statistics.windows_aside = aside;
        found.iter().for_each(|window| statistics.add_window(window));
    }
    Ok(statistics)
}

/// Service day or, on a relative clock, trip.
pub fn day_of<'a>(day: Option<&'a str>, trip: Option<&'a str>) -> &'a str {
    day.or(trip).unwrap_or("outside trips")
}

/// What comes back errs by so much more than braking energy does when speeds are drawn from standard cycles, which hold no
/// hard stop: of a passenger EV at 5 s it was 28 % lower than at 1 Hz (notebooks-docs/method/estimation-on-real-logs.md),
/// where the cycles' braking energy is trusted within 19 %.
const FROM_CYCLES: f64 = 1.5;

/// Braking energy of the trips that claim any, and half of what its sampling and noise leave open of what comes back. [kWh]
fn braking_claimed(trips: &RecordBatch) -> Result<(f64, f64), BatchError> {
    let view = BatchView::new(&tables::TRIPS, trips);
    let (low, high) = (view.numbers("energy_braking_low_kwh")?, view.numbers("energy_braking_high_kwh")?);
    let libraries = view.texts("speed_library")?;
    let mut sum = (0.0, 0.0);
    for row in 0..view.rows() {
        let (Some(low), Some(high)) = (number_at(low, row), number_at(high, row)) else { continue };
        let factor = if is_from_cycles(text_at(libraries, row)) { FROM_CYCLES } else { 1.0 };
        sum.0 += f64::midpoint(low, high);
        sum.1 += factor * (high - low) / 2.0;
    }
    Ok(sum)
}

/// The coarsest step of state of charge a trip shows: a short trip may happen upon one small difference of a filtered
/// value.
pub fn soc_step(trips: &RecordBatch) -> Result<Option<f64>, BatchError> {
    let steps = BatchView::new(&tables::TRIPS, trips).numbers("soc_step_frac")?;
    Ok(steps.iter().flatten().fold(None, |most: Option<f64>, step| Some(most.map_or(step, |m| m.max(step)))))
}

/// Energies of the measured battery, gathered by stretch.
struct Measured<'a> {
    discharged: &'a arrow::array::Float64Array,
    recovered: &'a arrow::array::Float64Array,
    bus: &'a arrow::array::Float64Array,
    basis: &'a arrow::array::StringArray,
    claims: TripClaims,
    at_terminals: BTreeMap<(String, String), (f64, Vec<f64>)>,
    at_bus: BTreeMap<(String, usize), (f64, Vec<f64>)>,
}

impl<'a> Measured<'a> {
    fn read(view: &BatchView<'a>, trips: &RecordBatch) -> Result<Self, BatchError> {
        Ok(Self {
            discharged: view.numbers("energy_discharged_kwh")?,
            recovered: view.numbers("energy_recovered_kwh")?,
            bus: view.numbers("energy_returned_bus_kwh")?,
            basis: view.texts("bus_basis")?,
            claims: TripClaims::read(trips)?,
            at_terminals: BTreeMap::new(),
            at_bus: BTreeMap::new(),
        })
    }

    fn add(&mut self, row: usize, day: &str, trip: Option<&str>, slot: usize, x: &[f64]) {
        let (Some(discharged), Some(trip)) = (number_at(self.discharged, row), trip) else { return };
        if !self.claims.of(trip).is_clean() {
            return;
        }
        let sum = |into: &mut (f64, Vec<f64>), value: f64, x: &[f64]| {
            into.0 += value;
            add(&mut into.1, x);
        };
        let fresh = || (0.0, vec![0.0; x.len()]);
        let net = discharged - self.recovered.value(row);
        sum(self.at_terminals.entry((day.to_owned(), trip.to_owned())).or_insert_with(fresh), net, x);
        if text_at(self.basis, row).is_some_and(|basis| basis.starts_with("battery")) {
            let bus = self.bus.value(row);
            sum(self.at_bus.entry((day.to_owned(), slot)).or_insert_with(fresh), bus, x);
        }
    }

    fn into_days(self, days: &mut BTreeMap<String, Day>) {
        for ((day, _), (net, x)) in self.at_terminals {
            if let Some(day) = days.get_mut(&day) {
                day.kinds[AT_TERMINALS].add_row(net, &x, measured_weight(&x, None));
            }
        }
        for ((day, slot), (bus, mut x)) in self.at_bus {
            let recovering = x[RECOVERING];
            x[..SHARED].fill(0.0);
            x[RECOVERING] = recovering;
            if let Some(day) = days.get_mut(&day) {
                day.kinds[AT_BUS].add_row(bus, &x, measured_weight(&x, Some(slot)));
            }
        }
    }
}

/// One over the square of a measured row's error: at the terminals, or at the bus of one level.
pub(crate) fn measured_weight(x: &[f64], slot: Option<usize>) -> f64 {
    let size = match slot {
        Some(slot) => x[features::of_level(slot, features::TAKEN)],
        None => {
            [features::INERTIA, features::ROLLING, features::AERO, features::LOSS].map(|at| x[at]).iter().sum()
        }
    };
    1.0 / ((MEASURED_FRAC * size).powi(2) + MEASURED_KWH.powi(2))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::features::{AUX_MOVING, HOURS, INERTIA, LOAD, LOSS, TAKEN, of_level};
    use crate::learn;
    use crate::sheet::{BatterySheet, Reach};

    /// A sheet that is sure of everything and has no level.
    fn sheet() -> TypeSheet {
        let reach = Reach {
            mass_empty_frac: 0.0,
            payload_frac: 0.0,
            payload_beyond_frac: 0.0,
            load_frac: 0.0,
            rolling_frac: 0.0,
            drag_frac: 0.0,
            losses_frac: 0.0,
            capacity_frac: 0.0,
        };
        let battery = Some(BatterySheet { capacity_kwh: 50.0, battery_efficiency: 0.98 });
        TypeSheet { name: "t".to_owned(), battery, levels: Vec::new(), default_level: None, reach }
    }

    fn window(drawn_kwh: f64, noise_kwh: f64) -> Window {
        let mut features = vec![0.0; features::count(&sheet())];
        for (at, value) in [(INERTIA, 1.0), (LOSS, 0.15), (LOAD, 4.0), (AUX_MOVING, 0.1), (HOURS, 0.2)] {
            features[at] = value;
        }
        features[of_level(0, TAKEN)] = 0.5;
        Window {
            day: "d".to_owned(),
            features,
            drawn_kwh,
            noise_kwh,
            noise_fine_kwh: noise_kwh,
            noise_sure_kwh: noise_kwh,
        }
    }

    fn of(windows: &[Window]) -> Statistics {
        let mut statistics = Statistics::new("a", &sheet());
        statistics.add_stretch("d", &window(1.0, 0.1).features, 0.2);
        windows.iter().for_each(|window| statistics.add_window(window));
        statistics
    }

    /// Half-width of what the vehicle recovered before and after its logs. [kWh]
    fn halves(statistics: &Statistics) -> [f64; 2] {
        let learned = learn(&sheet(), std::slice::from_ref(statistics)).expect("a posterior");
        let told = learned.of_vehicle("a").expect("the vehicle").told(None);
        [told.before.1, told.after.1]
    }

    #[test]
    fn windows_of_no_number_or_no_error_are_set_aside() {
        let (nan, infinite) = (window(f64::NAN, 0.1), window(f64::INFINITY, 0.1));
        let mut blank = window(1.0, 0.1);
        blank.features[INERTIA] = f64::NAN;
        let found = of(&[nan, infinite, blank, window(1.0, 0.0), window(1.0, f64::NAN)]);
        assert_eq!((found.windows_aside, found.rows(BY_CHARGE)), (5, 0));
        let [before, after] = halves(&found);
        assert_eq!(before, after);
    }

    /// The sheet leaves nothing open here, so that one window tells little and may not blur what is known.
    #[test]
    fn no_vehicle_no_window_and_one_window_are_answered() {
        assert_eq!(learn(&sheet(), &[]).expect("the type's priors").vehicle_ids().count(), 0);
        let [before, after] = halves(&of(&[]));
        assert!(before > 0.0 && before == after);
        let [before, after] = halves(&of(&[window(0.9, 0.1)]));
        assert!(after <= before, "{before} {after}");
    }

    /// The sheet believes 50 kWh within 5 %, sessions say 47.5 within 1 %: precisions add up, and only after the logs.
    #[test]
    fn metered_charges_correct_the_capacity() {
        let mut sheet = sheet();
        sheet.reach.capacity_frac = 0.05;
        let mut statistics = of(&[]);
        let (inverse_per_kwh, inverse_sd_per_kwh) = (1.0 / 47.5, 0.01 / 47.5);
        statistics.capacity = Some(SessionCapacity { inverse_per_kwh, inverse_sd_per_kwh, sessions: 9 });
        let learned = learn(&sheet, &[statistics]).expect("a posterior");
        let (_, _, [before, after, _]) = learned.members().next().expect("the vehicle");
        let at = learned.of_type() + crate::law::CAPACITY_INVERSE;
        assert!((before.mean[at] - 1.0).abs() < 1e-9, "{}", before.mean[at]);
        // From outside: 1/(1/0.02887² + 1/0.010526²) of each precision.
        let (prior, told) = ((0.05_f64 / 3.0_f64.sqrt()).powi(-2), (0.01_f64 * 50.0 / 47.5).powi(-2));
        let mean = (prior + told * 50.0 / 47.5) / (prior + told);
        assert!((after.mean[at] - mean).abs() < 1e-6, "{} {mean}", after.mean[at]);
        assert!((after.sd(at) - (prior + told).sqrt().recip()).abs() < 1e-6, "{}", after.sd(at));
    }

    /// What no truck draws widens its own errors and stays a number.
    #[test]
    fn a_huge_window_leaves_a_finite_answer() {
        let windows: Vec<Window> = (0..20).map(|_| window(0.9, 0.1)).chain([window(1e9, 0.1)]).collect();
        let [before, after] = halves(&of(&windows));
        assert!(after.is_finite() && after > 0.0, "{before} {after}");
    }
}
