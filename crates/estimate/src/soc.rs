//! Windows of state of charge: what was drawn between two readings far enough apart to mean something.

use arrow::array::{Float64Array, RecordBatch};
use backwatt_schema::{BatchError, BatchView, number_at, tables};
use backwatt_stats::Observation;

use crate::correction::{Band, bands};

/// What inference has to be told of a vehicle's battery.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BatterySheet {
    /// Energy between state of charge 0 and 1.
    pub capacity_kwh: f64,
    /// Battery, one way.
    pub battery_efficiency: f64,
}

/// Windows of one vehicle. Windows of several vehicles of one type may be put together.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Windows {
    pub observations: Vec<Observation>,
}

/// The unknowns, in this order: factor on traction, factor on auxiliaries, share of the recoverable that arrives.
pub(crate) const UNKNOWNS: usize = 3;

/// A window is closed once the state of charge fell by this, and by this many of its steps: a difference of two
/// rounded readings is off by a step over the square root of six.
const LEAST_FALL_FRAC: f64 = 0.02;
const LEAST_STEPS: f64 = 5.0;
/// Error of the physics terms within one window, relative to what was drawn, and at least. Provisional: both stand
/// in for the discrepancy model of the full estimator.
const TERM_ERROR_FRAC: f64 = 0.05;
const TERM_ERROR_KWH: f64 = 0.03;

/// Longest gap a window bridges. [s] The key is off at deliveries, and little is drawn then.
const GAP_S: f64 = 4.0 * 3600.0;

#[derive(Default)]
struct Open {
    weights: [f64; UNKNOWNS],
    soc_start: Option<f64>,
    soc_last: f64,
    time_end_ns: i64,
}

/// Cuts a vehicle's segments into windows. `soc_step_frac`: resolution of its state of charge.
pub fn observe(
    segments: &RecordBatch,
    trips: &RecordBatch,
    sheet: &BatterySheet,
    soc_step_frac: Option<f64>,
) -> Result<Windows, BatchError> {
    let view = BatchView::new(&tables::SEGMENTS, segments);
    let number = |name| view.numbers(name);
    let (start, end) = (view.times("time_start_ns")?.values(), view.times("time_end_ns")?.values());
    let (soc_start, soc_end) = (number("soc_start_frac")?, number("soc_end_frac")?);
    let mut windows = Windows::default();
    let Some(step) = soc_step_frac else { return Ok(windows) };
    let terms = Terms::read(&view, trips, sheet)?;
    let mut open = Open::default();
    for row in 0..view.rows() {
        let (Some(from), Some(to)) = (number_at(soc_start, row), number_at(soc_end, row)) else {
            open = Open::default();
            continue;
        };
        if !open.continues(start[row], from, step) {
            open = Open { soc_start: Some(from), ..Open::default() };
        }
        for (sum, term) in open.weights.iter_mut().zip(terms.weights(row)) {
            *sum += term;
        }
        (open.soc_last, open.time_end_ns) = (to, end[row]);
        let fall = open.soc_start.unwrap_or(to) - open.soc_last;
        if fall < -1.5 * step {
            open = Open::default();
            continue;
        }
        if fall >= LEAST_FALL_FRAC.max(LEAST_STEPS * step) {
            windows.observations.push(observation(&open, fall, step, sheet));
            open = Open { soc_start: Some(to), time_end_ns: end[row], ..Open::default() };
        }
    }
    Ok(windows)
}

impl Open {
    /// True when a segment goes on where the window stood: a gap is bridged as long as no charge can hide in it.
    fn continues(&self, start_ns: i64, soc: f64, step: f64) -> bool {
        let gap_s = (start_ns - self.time_end_ns) as f64 * 1e-9;
        self.soc_start.is_some() && gap_s <= GAP_S && (soc - self.soc_last).abs() <= 1.5 * step
    }
}

fn observation(open: &Open, fall: f64, step: f64, sheet: &BatterySheet) -> Observation {
    let drawn = fall * sheet.capacity_kwh;
    let weights = open.weights.to_vec();
    let rounding = step * sheet.capacity_kwh / 6.0_f64.sqrt();
    let noise_sd = (rounding.powi(2) + (TERM_ERROR_FRAC * drawn).powi(2) + TERM_ERROR_KWH.powi(2)).sqrt();
    Observation { weights, value: drawn, noise_sd }
}

/// Sum over sum; 1 where nothing was driven.
fn ratio(drive: &Float64Array, tractive: &Float64Array) -> f64 {
    let sum = |array: &Float64Array| array.iter().flatten().sum::<f64>();
    let (drive, tractive) = (sum(drive), sum(tractive));
    if tractive > 0.0 { drive / tractive } else { 1.0 }
}

/// What each segment asks of the battery's store per unit of each unknown, corrected for what sampling hides: braking
/// between slow samples is made good by as much traction.
pub(crate) struct Terms<'a> {
    drive: &'a Float64Array,
    /// Drawn at the dc link for each joule of traction, over all segments.
    drive_ratio: f64,
    braking: &'a Float64Array,
    auxiliary: &'a Float64Array,
    fed: &'a Float64Array,
    recoverable: &'a Float64Array,
    factors: Vec<f64>,
    sheet: BatterySheet,
}

impl<'a> Terms<'a> {
    pub fn read(view: &BatchView<'a>, trips: &RecordBatch, sheet: &BatterySheet) -> Result<Self, BatchError> {
        let bands = bands(trips, view.texts("trip_id")?)?;
        let drive = view.numbers("energy_drive_dc_kwh")?;
        Ok(Self {
            drive,
            drive_ratio: ratio(drive, view.numbers("energy_tractive_kwh")?),
            braking: view.numbers("energy_braking_kwh")?,
            auxiliary: view.numbers("energy_auxiliary_kwh")?,
            fed: view.numbers("braking_to_auxiliaries_kwh")?,
            recoverable: view.numbers("energy_recoverable_kwh")?,
            factors: bands.into_iter().map(|band| band.map_or(1.0, Band::middle)).collect(),
            sheet: *sheet,
        })
    }

    /// Braking energy at the wheels, which bounds what can come back.
    pub fn braking(&self, row: usize) -> f64 {
        self.braking.value(row) * self.factors[row]
    }

    /// Gross discharge at the terminals: traction, plus auxiliaries less what regen fed them.
    pub fn discharged(&self, row: usize) -> [f64; UNKNOWNS] {
        let factor = self.factors[row];
        let hidden = self.braking.value(row) * (factor - 1.0) * self.drive_ratio;
        [self.drive.value(row) + hidden, self.auxiliary.value(row), -self.fed.value(row) * factor]
    }

    /// Recovered at the terminals.
    pub fn recovered(&self, row: usize) -> [f64; UNKNOWNS] {
        [0.0, 0.0, self.recoverable.value(row) * self.factors[row]]
    }

    /// Drawn from the store behind the terminals: losses both ways.
    fn weights(&self, row: usize) -> [f64; UNKNOWNS] {
        let (out, back) = (self.discharged(row), self.recovered(row));
        let efficiency = self.sheet.battery_efficiency;
        std::array::from_fn(|i| out[i] / efficiency - back[i] * efficiency)
    }
}
