//! Windows of state of charge: what was drawn between two moments at which the reported value says where the true one is.

use std::collections::HashMap;

use arrow::array::{Float64Array, RecordBatch};
use backwatt_schema::{BatchError, BatchView, JOULES_PER_KWH, number_at, tables, text_at};
use backwatt_stats::{Gaussian, Observation, posterior};

use crate::claims::TripClaims;
use crate::features::{
    AERO, AUX_MOVING, AUX_STANDING, CONVERTED, INERTIA, LOSS, ROLLING, Reader, SHARED, TAKEN, UNSEEN, of_level,
};
use crate::sheet::{BatterySheet, TypeSheet};

/// Standard gravity. [m/s²]
const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;

/// One window.
#[derive(Debug, Clone, PartialEq)]
pub struct Window {
    /// Service day or, on a relative clock, trip.
    pub day: String,
    pub features: Vec<f64>,
    pub drawn_kwh: f64,
    pub noise_kwh: f64,
    /// The same if the state of charge had been read without steps.
    pub noise_fine_kwh: f64,
    /// The same with sure heights.
    pub noise_sure_kwh: f64,
}

/// A window is closed once the state of charge fell by this: long enough that errors of the physics terms are small
/// beside what was drawn, short enough that windows differ.
const LEAST_FALL: f64 = 0.015;
/// Without a step to close it a window is closed at a reading, this many times as long.
const UNSTEPPED: f64 = 3.0;
/// Error of the physics terms within one window: relative to what was drawn, and at least. The residuals widen both.
const TERM_ERROR_FRAC: f64 = 0.03;
const TERM_ERROR_KWH: f64 = 0.03;
/// Height over a window is off by at least this where it is no terrain's. [m] Heights smoothed from altitude are means of what
/// the road may be, so their errors blur windows without flattening what is learned from them (Berkson's kind of error).
const HEIGHT_M: f64 = 2.0;
/// Distance over which the error of a grade smoothed from altitude forgets itself: half of what roads have in the smoother,
/// both ways. From memory. [m]
const GRADE_MEMORY_M: f64 = 150.0;
/// By how much what is drawn with the key off differs from one time to the next. From memory. [kW]
const UNSEEN_KW: f64 = 0.15;
/// What braking and driving as much again cost the battery, over the braking energy: a round trip's losses and friction.
/// From memory.
const DRAWN_OF_BRAKED: f64 = 0.6;
/// Longest gap a window bridges: little is drawn while the key is off at deliveries. [s]
const GAP_S: f64 = 4.0 * 3600.0;
/// Open-circuit voltage over the whole range, relative to its mean: state of charge is charge. From memory.
pub(crate) const VOLTAGE_RANGE_FRAC: f64 = 0.11;
/// Residuals beyond this many times their median size are no noise.
const ASIDE: f64 = 5.0;

/// Standard deviation of a difference of two readings rounded to steps. [kWh]
///
/// q C/√6: each end is off by q²/12 in variance
/// Source   uniform distribution, JCGM 100:2008 (GUM), 4.3.7
/// Check    1 % of 100 kWh -> 0.408 kWh
/// ```
/// assert!((backwatt_estimate::rounded_difference_kwh(0.01, 100.0) - 0.408).abs() < 1e-3);
/// ```
pub fn rounded_difference_kwh(step_frac: f64, capacity_kwh: f64) -> f64 {
    step_frac * capacity_kwh / 6.0_f64.sqrt()
}

/// How an end of a window is known.
#[derive(Clone, Copy)]
enum End {
    /// At a step down, so long after the reading before.
    Step { wait_s: f64 },
    /// At a reading, which a rounding step stands around.
    Reading,
}

struct Open {
    day: String,
    features: Vec<f64>,
    begun: End,
    soc_start: f64,
    soc_last: f64,
    time_end_ns: i64,
    mass_kg: f64,
    /// Variance of the height gained. [m²]
    height_m2: f64,
    /// Variance of the braking energy that the draws of imputed speed leave open. [kWh²]
    draws_kwh2: f64,
}

/// Windows of one vehicle, and how many were set aside because nothing in the model explains them.
pub fn windows(
    segments: &RecordBatch,
    trips: &RecordBatch,
    sheet: &TypeSheet,
    soc_step_frac: f64,
) -> Result<(Vec<Window>, u64), BatchError> {
    let Some(battery) = sheet.battery else { return Ok((Vec::new(), 0)) };
    let view = BatchView::new(&tables::SEGMENTS, segments);
    let reader = Reader::new(segments, trips, sheet)?;
    let claims = TripClaims::read(trips)?;
    let rows = Rows::read(&view)?;
    let grades = grade_errors(trips)?;
    let mut found = Vec::new();
    let mut open: Option<Open> = None;
    let cut = Cut { battery, step: soc_step_frac };
    for row in 0..reader.rows() {
        let usable = rows.trip(row).is_none_or(|id| claims.of(id).is_clean());
        let (Some(from), Some(to)) = (rows.soc_start(row), rows.soc_end(row)) else {
            open = None;
            continue;
        };
        if !usable {
            open = None;
            continue;
        }
        open = open.filter(|open| open.continues(rows.start_ns[row], from, soc_step_frac));
        if let Some(wait_s) = rows.step_wait(row) {
            let end = End::Step { wait_s };
            // A window that began at a mere reading begins better here.
            let fresh = match &open {
                None => true,
                Some(open) if open.soc_start - from >= LEAST_FALL - 1e-6 => {
                    found.extend(cut.window(open, from, end));
                    true
                }
                Some(open) => matches!(open.begun, End::Reading) && open.soc_start - from < 2.5 * soc_step_frac,
            };
            if fresh {
                open = Some(Open::new(rows.day(row), end, from, rows.start_ns[row], &reader));
            }
        }
        let here = open
            .get_or_insert_with(|| Open::new(rows.day(row), End::Reading, from, rows.start_ns[row], &reader));
        here.features[UNSEEN] += ((rows.start_ns[row] - here.time_end_ns) as f64 * 1e-9).max(0.0) / 3600.0;
        for (sum, x) in here.features.iter_mut().zip(reader.features(row)) {
            *sum += x;
        }
        here.mass_kg = here.mass_kg.max(rows.mass_kg(row));
        here.height_m2 += rows.height_m2(row, &grades);
        here.draws_kwh2 += rows.draws_kwh(row).powi(2);
        (here.soc_last, here.time_end_ns) = (to, rows.end_ns[row]);
        let fall = here.soc_start - to;
        if fall < -1.5 * soc_step_frac.max(LEAST_FALL / 3.0) {
            open = None;
        } else if fall >= UNSTEPPED * LEAST_FALL.max(soc_step_frac) {
            found.extend(cut.window(here, to, End::Reading));
            open = None;
        }
    }
    Ok(set_aside(found))
}

impl Open {
    fn new(day: String, begun: End, soc: f64, start_ns: i64, reader: &Reader<'_>) -> Self {
        let features = vec![0.0; reader.count()];
        Self {
            day,
            features,
            begun,
            soc_start: soc,
            soc_last: soc,
            time_end_ns: start_ns,
            mass_kg: 0.0,
            height_m2: 0.0,
            draws_kwh2: 0.0,
        }
    }

    /// True when a segment goes on where the window stood: a gap is bridged as long as no charge can hide in it.
    fn continues(&self, start_ns: i64, soc: f64, step: f64) -> bool {
        let gap_s = (start_ns - self.time_end_ns) as f64 * 1e-9;
        gap_s <= GAP_S && (soc - self.soc_last).abs() <= 1.5 * step.max(LEAST_FALL / 3.0)
    }
}

struct Cut {
    battery: BatterySheet,
    step: f64,
}

impl Cut {
    fn window(&self, open: &Open, soc_end: f64, end: End) -> Option<Window> {
        let fall = open.soc_start - soc_end;
        let middle = f64::midpoint(open.soc_start, soc_end);
        let voltage = 1.0 + VOLTAGE_RANGE_FRAC * (middle - 0.5);
        let drawn_kwh = fall * self.battery.capacity_kwh * voltage;
        let hours = open.features[crate::features::HOURS];
        if hours <= 0.0 || drawn_kwh <= 0.0 {
            return None;
        }
        // Power of the window stands in for that around its ends.
        let power_kw = drawn_kwh / hours;
        let variance = |end: End, step: f64| match end {
            End::Step { wait_s } => (power_kw * wait_s / 3600.0).powi(2) / 12.0,
            End::Reading => rounded_difference_kwh(step, self.battery.capacity_kwh).powi(2) / 2.0,
        };
        let kwh_per_m = open.mass_kg * STANDARD_GRAVITY_M_S2 / JOULES_PER_KWH;
        let height = (open.height_m2 + HEIGHT_M.powi(2)) * kwh_per_m.powi(2);
        let terms = (TERM_ERROR_FRAC * drawn_kwh).powi(2)
            + TERM_ERROR_KWH.powi(2)
            + (UNSEEN_KW * open.features[UNSEEN]).powi(2)
            + DRAWN_OF_BRAKED.powi(2) * open.draws_kwh2;
        let ends: f64 = [open.begun, end].into_iter().map(|end| variance(end, self.step)).sum();
        Some(Window {
            day: open.day.clone(),
            features: open.features.clone(),
            drawn_kwh,
            noise_kwh: (terms + height + ends).sqrt(),
            noise_fine_kwh: (terms + height).sqrt(),
            noise_sure_kwh: (terms + ends).sqrt(),
        })
    }
}

/// The segment columns that windows are cut by.
struct Rows<'a> {
    start_ns: &'a [i64],
    end_ns: &'a [i64],
    trips: &'a arrow::array::StringArray,
    days: &'a arrow::array::StringArray,
    grade: &'a arrow::array::StringArray,
    soc_start: &'a Float64Array,
    soc_end: &'a Float64Array,
    wait: &'a Float64Array,
    mass: &'a Float64Array,
    distance: &'a Float64Array,
    draws: &'a Float64Array,
}

impl<'a> Rows<'a> {
    fn read(view: &BatchView<'a>) -> Result<Self, BatchError> {
        Ok(Self {
            start_ns: view.times("time_start_ns")?.values(),
            end_ns: view.times("time_end_ns")?.values(),
            trips: view.texts("trip_id")?,
            days: view.texts("service_day")?,
            grade: view.texts("grade_basis")?,
            soc_start: view.numbers("soc_start_frac")?,
            soc_end: view.numbers("soc_end_frac")?,
            wait: view.numbers("soc_step_wait_s")?,
            mass: view.numbers("mass_kg")?,
            distance: view.numbers("distance_m")?,
            draws: view.numbers("energy_braking_imputation_sd_kwh")?,
        })
    }

    fn trip(&self, row: usize) -> Option<&'a str> {
        text_at(self.trips, row)
    }

    fn day(&self, row: usize) -> String {
        text_at(self.days, row).or_else(|| self.trip(row)).unwrap_or("outside trips").to_owned()
    }

    fn soc_start(&self, row: usize) -> Option<f64> {
        number_at(self.soc_start, row)
    }

    fn soc_end(&self, row: usize) -> Option<f64> {
        number_at(self.soc_end, row)
    }

    fn step_wait(&self, row: usize) -> Option<f64> {
        number_at(self.wait, row)
    }

    fn draws_kwh(&self, row: usize) -> f64 {
        number_at(self.draws, row).unwrap_or(0.0)
    }

    fn mass_kg(&self, row: usize) -> f64 {
        number_at(self.mass, row).unwrap_or(0.0)
    }

    /// Variance of the height gained over a segment: errors of grade add up like a walk. [m²]
    fn height_m2(&self, row: usize, grades: &HashMap<String, f64>) -> f64 {
        match text_at(self.grade, row) {
            Some("tiles" | "logged") => 0.0,
            Some("altitude") => {
                let grade = self.trip(row).and_then(|id| grades.get(id)).copied().unwrap_or(0.0);
                2.0 * GRADE_MEMORY_M * grade.powi(2) * number_at(self.distance, row).unwrap_or(0.0)
            }
            _ => 0.0,
        }
    }
}

/// Standard deviation of the grade of each trip whose grade is from altitude.
fn grade_errors(trips: &RecordBatch) -> Result<HashMap<String, f64>, BatchError> {
    let view = BatchView::new(&tables::TRIPS, trips);
    let (ids, errors) = (view.texts("trip_id")?, view.numbers("grade_error_frac")?);
    let known = (0..view.rows()).filter_map(|row| Some((ids.value(row).to_owned(), number_at(errors, row)?)));
    Ok(known.collect())
}

/// Leaves out what a plain fit cannot explain: a charge that nobody logged, a state of charge set anew.
fn set_aside(found: Vec<Window>) -> (Vec<Window>, u64) {
    let rows: Vec<Observation> = found.iter().map(plain).collect();
    let prior = Gaussian::independent(&[1.0, 2.0, 0.9], &[0.3, 2.0, 0.4]);
    let Some(fitted) = posterior(&prior, &rows) else { return (found, 0) };
    let off: Vec<f64> =
        rows.iter().map(|row| (row.value - fitted.combination(&row.weights).0) / row.noise_sd).collect();
    let mut sizes: Vec<f64> = off.iter().map(|off| off.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    // 1.4826: from the median of absolute values to a standard deviation, for a normal.
    let size = sizes.get(sizes.len() / 2).map_or(1.0, |median| (1.4826 * median).max(1.0));
    let before = found.len();
    let kept: Vec<Window> =
        found.into_iter().zip(off).filter(|(_, off)| off.abs() <= ASIDE * size).map(|(w, _)| w).collect();
    let aside = (before - kept.len()) as u64;
    (kept, aside)
}

/// Driving, auxiliaries and return of a window, by the sheet.
fn parts_by_sheet(x: &[f64]) -> [f64; 3] {
    let levels = (x.len() - SHARED) / crate::features::OF_LEVEL;
    let back = (0..levels).map(|slot| x[of_level(slot, TAKEN)] - x[of_level(slot, CONVERTED)]).sum();
    [x[INERTIA] + x[ROLLING] + x[AERO] + x[LOSS], x[AUX_MOVING] + x[AUX_STANDING], back]
}

fn plain(window: &Window) -> Observation {
    let [driven, auxiliaries, back] = parts_by_sheet(&window.features);
    Observation {
        weights: vec![driven, auxiliaries, -back],
        value: window.drawn_kwh,
        noise_sd: window.noise_kwh,
    }
}
