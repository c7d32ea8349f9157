//! The two halves of a replay, apart: reading a log into a drive, and booking its energy.

use std::sync::Arc;

use arrow::array::RecordBatch;

use super::between::Between;
use super::motion::{self, Plan};
use super::track::Track;
use super::{PhysicsError, ReplaySettings, SpeedReading, auxiliaries, named_routes, pieces};
use crate::truck::Sheet;

/// A log read: speed and height between its samples, and which stretches are trips.
pub struct Reconstruction {
    pub(super) track: Track,
    pub(super) plan: Plan,
}

impl Reconstruction {
    pub fn new(
        vehicle_id: &str,
        samples: &RecordBatch,
        sheet: &Sheet,
        settings: &ReplaySettings,
    ) -> Result<Self, PhysicsError> {
        let mut track = Track::read(vehicle_id, samples, settings)?;
        let plan = motion::plan(&track, settings);
        if let Some(routes) = &settings.routes {
            track.route_matched = named_routes::name_trips(&mut track, &plan, routes);
        }
        track.aux_standing = auxiliaries::infer(&track, &plan, sheet.power_boundary);
        if let (SpeedReading::Smoothed { .. }, Some(library)) = (settings.speed, &settings.library) {
            track.between = Between::new(&track, &plan, vehicle_id, &sheet.nominal, Arc::clone(library));
        }
        Ok(Self { track, plan })
    }

    /// Books every interval and tells into how many segments and braking events: what a bench can time.
    pub fn book(&self, sheet: &Sheet, settings: &ReplaySettings) -> (usize, usize) {
        let booked = pieces::book(&self.track, &self.plan, sheet, settings);
        (booked.segments.len(), booked.events.len())
    }
}
