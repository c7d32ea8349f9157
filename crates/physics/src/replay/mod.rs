//! Which stretch of log the kernels are applied to: spans, trips, segments, events, and their ledger.

mod approaches;
mod auxiliaries;
mod batches;
mod between;
mod crossings;
mod events;
mod filled;
mod halves;
mod ledger;
mod ledger_trace;
mod levels;
mod mass;
mod motion;
mod named_routes;
mod nodes;
mod pieces;
mod smoothing;
mod soc_steps;
mod swings;
mod trace;
mod traces;
mod track;
mod trips;
mod way;
mod weather;
mod what_if;

use std::sync::Arc;

use arrow::array::RecordBatch;
use backwatt_schema::BatchError;

#[doc(hidden)]
pub use self::halves::Reconstruction;
pub use self::ledger_trace::ledger_trace;
pub use self::trace::power_trace;
pub use self::traces::{is_fast, speed_traces};
use crate::kernels::filling::Library;
pub use crate::truck::Acceptance;
use crate::truck::Sheet;
pub use named_routes::{NamedRoute, NamedRoutes};
pub use nodes::Node;
pub use weather::{Weather, Wind};
pub use what_if::{AS_DRIVEN, Amount, Change, Driving, Scenario, Vehicle, scenarios, what_if, what_if_trace};

/// Thresholds that move a number, with the product's defaults.
#[derive(Debug, Clone, PartialEq)]
pub struct ReplaySettings {
    /// Moving starts above. [m/s]
    pub moving_above_m_s: f64,
    /// Moving ends at or below. [m/s]
    pub standing_below_m_s: f64,
    pub stop_after_s: f64,
    pub trip_ends_after_s: f64,
    pub segment_length_m: f64,
    pub event_least_s: f64,
    pub event_least_j: f64,
    /// Gap between speed values beyond which no energy is built: at least this, or so many median intervals.
    pub gap_least_s: f64,
    pub gap_intervals: f64,
    pub speed: SpeedReading,
    /// Taken where the log says nothing.
    pub weather: Weather,
    /// Places at which segments are cut.
    pub nodes: Vec<Node>,
    /// Routes drawn on a map, for trips whose log names none.
    pub routes: Option<Arc<NamedRoutes>>,
    /// Speeds at 1 Hz from which those between slow samples are drawn; without, a line stands between them. Speed taken
    /// as logged is not filled either.
    pub library: Option<Arc<Library>>,
}

/// What is taken as the speed of the vehicle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SpeedReading {
    AsLogged,
    /// Smoothed, with the sensor's error stated or found from the log.
    Smoothed {
        error_m_s: Option<f64>,
    },
}

impl Default for ReplaySettings {
    fn default() -> Self {
        Self {
            moving_above_m_s: 2.0 / 3.6,
            standing_below_m_s: 1.0 / 3.6,
            stop_after_s: 3.0,
            trip_ends_after_s: 300.0,
            segment_length_m: 1000.0,
            event_least_s: 1.0,
            event_least_j: 0.005 * 3.6e6,
            gap_least_s: 3.0,
            gap_intervals: 3.0,
            speed: SpeedReading::Smoothed { error_m_s: None },
            weather: Weather::default(),
            nodes: Vec::new(),
            routes: None,
            library: None,
        }
    }
}

#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PhysicsError {
    #[error(transparent)]
    Batch(#[from] BatchError),
    #[error("samples of vehicle {vehicle} do not rise in time at row {row}")]
    NotSorted { vehicle: String, row: usize },
    /// A bug of ours: the two sides of the ledger disagree.
    #[error("the ledger of {trip} does not close: {residual:e} of tractive plus braking energy")]
    Open { trip: String, residual: f64 },
}

/// One vehicle replayed.
#[derive(Debug, Clone)]
pub struct Replay {
    pub trips: RecordBatch,
    pub segments: RecordBatch,
    pub braking_events: RecordBatch,
    pub stops: RecordBatch,
    pub charges: RecordBatch,
    pub approaches: RecordBatch,
    pub level_fits: RecordBatch,
    pub crossings: RecordBatch,
    pub step_swings: RecordBatch,
}

/// Largest share of tractive plus braking energy by which a trip's ledger may fail to close.
pub const CLOSURE: f64 = 1e-9;

/// Replays one vehicle's samples, sorted by time, through its sheet.
///
/// `service_day` names the service day of an instant (a time zone is the caller's to know).
/// Errors: a column is missing or of another type; samples are not sorted; the ledger does not close.
pub fn replay(
    vehicle_id: &str,
    samples: &RecordBatch,
    sheet: &Sheet,
    settings: &ReplaySettings,
    service_day: &dyn Fn(i64) -> String,
) -> Result<Replay, PhysicsError> {
    let Reconstruction { track, plan } = Reconstruction::new(vehicle_id, samples, sheet, settings)?;
    let booked = pieces::book(&track, &plan, sheet, settings);
    let approaches = approaches::approaches(&track, &plan, &booked, sheet);
    let pieces::Booked { segments, events, crossings, .. } = booked;
    let trips = trips::gather(vehicle_id, &track, &plan, &segments, sheet);
    trips::check_closure(&trips)?;
    let level_fits = levels::fits(&track, &plan, sheet);
    let found = batches::Found {
        vehicle_id,
        track: &track,
        sheet,
        segments: &segments,
        events: &events,
        trips: &trips,
        approaches: &approaches,
        nodes: &settings.nodes,
        level_fits: &level_fits,
        crossings: &crossings,
    };
    found.build(service_day)
}
