//! Approaches, one row per place before a stop.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};

use super::{Found, kwh};
use crate::replay::approaches::{Approach, Place};

impl Found<'_> {
    pub(super) fn approaches(&self) -> Result<RecordBatch, BatchError> {
        let track = self.track;
        let rows: Vec<(&Approach, &Place)> =
            self.approaches.iter().flat_map(|a| a.places.iter().map(move |place| (a, place))).collect();
        let each = || rows.iter().map(|(approach, _)| *approach);
        let places = || rows.iter().map(|(_, place)| *place);
        let last = |a: &Approach| a.knots.end - 1;
        BatchBuilder::new(&tables::APPROACHES)
            .text("vehicle_id", self.vehicle(&rows))
            .text("trip_id", each().map(|a| self.trip_of(Some(a.trip)).map(|t| t.id.as_str())))
            .time("time_stop_ns", each().map(|a| track.time_ns[a.knots.end]))
            .flag("clock_relative", each().map(|a| track.relative[a.knots.end]))
            .text("driver_id", each().map(|a| track.name(track.driver[last(a)])))
            .text("route_id", each().map(|a| track.name(track.route[last(a)])))
            .text("regen_level", each().map(|a| track.name(track.level[last(a)])))
            .number("lat_deg", each().map(|a| self.lat(a.knots.end)))
            .number("lon_deg", each().map(|a| self.lon(a.knots.end)))
            .number("bearing_deg", each().map(|a| self.bearing(a.knots.start, a.knots.end)))
            .number("slowing_m", each().map(|a| a.slowing_m))
            .number("distance_to_stop_m", places().map(|p| p.distance_m))
            .number("speed_m_s", places().map(|p| p.speed_m_s))
            .number("rise_to_stop_m", rows.iter().map(|(a, p)| a.grade_known.then_some(p.rise_m)))
            .number("duration_to_stop_s", places().map(|p| p.duration_s))
            .number("energy_driven_kwh", places().map(|p| kwh(p.driven_j)))
            .number("energy_reference_kwh", places().map(|p| kwh(p.reference_j)))
            .finish()
    }

    /// Direction from one knot to another, clockwise from north: good for the few hundred metres of an approach.
    fn bearing(&self, from: usize, to: usize) -> Option<f64> {
        let ((lat, lon), (lat_to, lon_to)) = (self.track.position[from]?, self.track.position[to]?);
        let (north, east) = (lat_to - lat, (lon_to - lon) * lat.to_radians().cos());
        (north != 0.0 || east != 0.0).then(|| east.atan2(north).to_degrees().rem_euclid(360.0))
    }
}
