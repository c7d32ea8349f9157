//! The same trips with something changed: another level, load, pack, weather, tyre or top speed.
//!
//! Speeds stay as driven, except under a speed cap, which re-times the trip over the same road. Both sides are the
//! model's, so what is wrong with it is mostly wrong on both; the ends of the sheet bound the difference.

mod batch;
mod change;
mod coasting;
mod model;
mod scenarios;
mod trace;

use arrow::array::RecordBatch;

pub use change::{Amount, Change};
pub use scenarios::{AS_DRIVEN, Driving, Scenario, scenarios};
pub use trace::what_if_trace;

use super::approaches;
use super::halves::Reconstruction;
use super::track::Track;
use super::{PhysicsError, ReplaySettings, pieces, trips};
use crate::truck::{Sheet, Truck};
use model::{Modelled, Side};

/// A vehicle type as one side of the comparison sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Vehicle {
    pub sheet: Sheet,
    /// Usable energy between state of charge 0 and 1; `None`: state of charge is not carried along.
    pub capacity_j: Option<f64>,
}

/// Rolling resistance per kelvin that nobody can rule out. From memory, not confirmed; see `kernels::rolling`.
const ROLLING_PER_K: f64 = 0.006;

/// One vehicle's trips as driven and with a change, model against model.
///
/// State of charge is carried along: what the change saves or costs moves it, over the changed capacity, until the next
/// charge puts it back to what was logged. So more regen early can fill the pack later. Bounds are the least and most of
/// the difference over the sheet as believed and at both its ends, and, where the temperature is changed, with rolling
/// resistance that follows it by 0.6 % per kelvin and not at all.
/// Shape    one row per trip
/// Sign     changed less driven
/// Missing  no state of charge or capacity: acceptance as the battery's temperature alone has it
/// Errors   those of [`replay`](super::replay)
/// Holds    the driver does what was driven; `energy_lost_coasting_kwh` bounds what a stronger level may cost on top
/// Source   derived from the ledger's own kernels
/// Check    nothing changed -> no difference; the speed cap at the top speed -> none (`tests/laws/what_if.rs`)
pub fn what_if(
    vehicle_id: &str,
    samples: &RecordBatch,
    as_is: &Vehicle,
    changed: &Vehicle,
    change: &Change,
    settings: &ReplaySettings,
) -> Result<RecordBatch, PhysicsError> {
    let settings = &fitting(settings, change);
    let drive = Reconstruction::new(vehicle_id, samples, &as_is.sheet, settings)?;
    let track = change.applied(&drive.track);
    let booked = pieces::book(&drive.track, &drive.plan, &as_is.sheet, settings);
    let approaches = approaches::approaches(&drive.track, &drive.plan, &booked, &as_is.sheet);
    let rows = trips::gather(vehicle_id, &drive.track, &drive.plan, &booked.segments, &as_is.sheet);
    let side = |track: Track, truck: &Truck, of: &Vehicle| Side {
        truck: truck.clone(),
        capacity_j: of.capacity_j,
        track,
    };
    let run = |before: &Truck, after: &Truck| {
        let mut driven = side(drive.track.clone(), before, as_is);
        let mut with = side(track.clone(), after, changed);
        model::run(&drive.plan, &mut driven, &mut with)
    };
    let (old, new) = (&as_is.sheet, &changed.sheet);
    let nominal = run(&old.nominal, &new.nominal);
    let mut ends = vec![run(&old.low, &new.low), run(&old.high, &new.high)];
    if change.temperature.is_some() && new.nominal.rolling_temperature.is_none() {
        let law = crate::truck::RollingTemperature { per_k: ROLLING_PER_K, reference_k: 298.15 };
        let following = |truck: &Truck| Truck { rolling_temperature: Some(law), ..truck.clone() };
        ends.push(run(&following(&old.nominal), &following(&new.nominal)));
    }
    let lost = coasting::lost(change, &drive.track, &track, &approaches, new, rows.len());
    let found = batch::Found {
        vehicle_id,
        track: &drive.track,
        trips: &rows,
        change,
        nominal: &nominal,
        ends: &ends,
        lost_coasting_j: &lost,
        capacities_j: (as_is.capacity_j, changed.capacity_j),
    };
    Ok(found.build()?)
}

/// A cap moves the samples and their times: what was drawn between them no longer fits, on either side.
fn fitting(settings: &ReplaySettings, change: &Change) -> ReplaySettings {
    let library = settings.library.clone().filter(|_| change.speed_cap_m_s.is_none());
    ReplaySettings { library, ..settings.clone() }
}

/// Both sides of one trip.
type Pair = (Modelled, Modelled);
