//! Braking events.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};

use super::{Found, braking_columns, evidence, is_measured, kwh};
use crate::replay::events::Event;
use crate::replay::ledger::Ledger;
use crate::replay::trips::explained;

impl Found<'_> {
    pub(super) fn braking_events(&self) -> Result<RecordBatch, BatchError> {
        let (track, events) = (self.track, self.events);
        let each = || events.iter();
        let of = |pick: fn(&Ledger) -> f64| each().map(move |e| pick(&e.ledger)).collect::<Vec<_>>();
        let seconds = |e: &Event| track.seconds(e.knots.start, e.knots.end);
        let lost = |e: &Event| track.speed[e.knots.start] - track.speed[e.knots.end];
        let recovered = |e: &Event| {
            let open = self.trip_of(Some(e.trip)).is_none_or(explained);
            (is_measured(&e.ledger) && open).then(|| kwh(e.ledger.battery.recovered_j))
        };
        let pedal = |e: &Event| match e.pedal {
            Some(true) => "used",
            Some(false) => "not used",
            None => "unknown",
        };
        let builder = BatchBuilder::new(&tables::BRAKING_EVENTS)
            .text("vehicle_id", self.vehicle(events))
            .text("trip_id", each().map(|e| self.trip_of(Some(e.trip)).map(|t| t.id.as_str())))
            .order("event_order", each().map(|e| e.order))
            .time("time_start_ns", each().map(|e| track.time_ns[e.knots.start]))
            .time("time_end_ns", each().map(|e| track.time_ns[e.knots.end]))
            .number("duration_s", each().map(seconds))
            .number("distance_m", of(|l| l.distance_m))
            .number("speed_start_m_s", each().map(|e| track.speed[e.knots.start]))
            .number("speed_end_m_s", each().map(|e| track.speed[e.knots.end]))
            .number("decel_mean_m_s2", each().map(|e| lost(e) / seconds(e)))
            .number("decel_peak_m_s2", each().map(|e| e.peak_m_s2))
            .number("lat_deg", each().map(|e| self.lat(e.knots.start)))
            .number("lon_deg", each().map(|e| self.lon(e.knots.start)))
            .text("regen_level", each().map(|e| track.name(track.level[e.knots.start])))
            .text("driver_id", each().map(|e| track.name(track.driver[e.knots.start])))
            .text("route_id", each().map(|e| track.name(track.route[e.knots.start])))
            .text("pedal", each().map(|e| Some(pedal(e))))
            .number("energy_braking_kwh", of(|l| kwh(l.road.braking_j)))
            .number("energy_attainable_kwh", of(|l| kwh(l.attainable_j)))
            .number("energy_recovered_kwh", each().map(recovered))
            .text("evidence", each().map(|e| Some(evidence(e.ledger.coverage()))));
        braking_columns(builder, each().map(|e| &e.ledger)).finish()
    }
}
