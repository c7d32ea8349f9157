//! Stops and charges.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, JOULES_PER_KWH, tables};

use super::{Found, is_measured, kwh};
use crate::replay::ledger::Ledger;
use crate::replay::motion::Kind;

impl Found<'_> {
    pub(super) fn stops(&self) -> Result<RecordBatch, BatchError> {
        let rows: Vec<Stand> = self.stands();
        let each = || rows.iter();
        BatchBuilder::new(&tables::STOPS)
            .text("vehicle_id", self.vehicle(&rows))
            .text("trip_id", each().map(|s| self.trip_of(s.trip).map(|t| t.id.as_str())))
            .text("kind", each().map(|s| Some(if s.trip.is_some() { "stop" } else { "parked" })))
            .time("time_start_ns", each().map(|s| self.track.time_ns[s.knots.0]))
            .time("time_end_ns", each().map(|s| self.track.time_ns[s.knots.1]))
            .number("duration_s", each().map(|s| self.track.seconds(s.knots.0, s.knots.1)))
            .number("lat_deg", each().map(|s| self.lat(s.knots.0)))
            .number("lon_deg", each().map(|s| self.lon(s.knots.0)))
            .number(
                "energy_discharged_kwh",
                each().map(|s| is_measured(&s.ledger).then(|| kwh(s.ledger.battery.discharged_j))),
            )
            .finish()
    }

    /// Segments of one standstill joined again: they were cut where evidence, driver or level changed.
    fn stands(&self) -> Vec<Stand> {
        let mut stands: Vec<Stand> = Vec::new();
        for segment in self.segments.iter().filter(|s| s.kind != Kind::Driving) {
            match stands.last_mut() {
                Some(last) if last.knots.1 == segment.knots.start && last.trip == segment.trip => {
                    last.knots.1 = segment.knots.end;
                    last.ledger.add(&segment.ledger);
                }
                _ => stands.push(Stand {
                    knots: (segment.knots.start, segment.knots.end),
                    trip: segment.trip,
                    ledger: segment.ledger.clone(),
                }),
            }
        }
        stands.retain(|stand| self.track.seconds(stand.knots.0, stand.knots.1) >= 3.0);
        stands
    }

    pub(super) fn charges(&self) -> Result<RecordBatch, BatchError> {
        let track = self.track;
        let rows: Vec<(Stand, &'static str)> = self
            .stands()
            .into_iter()
            .filter_map(|stand| Some((stand.clone(), self.charge_basis(&stand)?)))
            .collect();
        let each = || rows.iter().map(|(stand, _)| stand);
        BatchBuilder::new(&tables::CHARGES)
            .text("vehicle_id", self.vehicle(&rows))
            .time("time_start_ns", each().map(|s| track.time_ns[s.knots.0]))
            .time("time_end_ns", each().map(|s| track.time_ns[s.knots.1]))
            .number("duration_s", each().map(|s| track.seconds(s.knots.0, s.knots.1)))
            .number(
                "energy_plugged_kwh",
                each().map(|s| is_measured(&s.ledger).then(|| kwh(s.ledger.battery.plugged_j))),
            )
            .number("soc_start_frac", each().map(|s| track.soc[s.knots.0]))
            .number("soc_end_frac", each().map(|s| track.soc[s.knots.1]))
            .number("lat_deg", each().map(|s| self.lat(s.knots.0)))
            .number("lon_deg", each().map(|s| self.lon(s.knots.0)))
            .text("basis", rows.iter().map(|(_, basis)| Some(*basis)))
            .finish()
    }

    /// What says that a standstill was a charge: the log's own flag, an inflow of note, or a rise of state of charge
    /// larger than a battery's settling.
    fn charge_basis(&self, stand: &Stand) -> Option<&'static str> {
        let (from, to) = stand.knots;
        let rise = self.track.soc[from].zip(self.track.soc_at_end(to)).map(|(a, b)| b - a);
        let anchored: f64 =
            (from + 1..to).filter_map(|k| Some(self.track.soc[k]? - self.track.soc_at_end(k)?)).sum();
        if self.track.plugged[from..=to].iter().any(|on| *on) {
            Some("flag")
        } else if stand.ledger.battery.plugged_j > 0.05 * JOULES_PER_KWH {
            Some("inflow")
        } else if rise.is_some_and(|rise| rise - anchored > 0.02) {
            Some("soc")
        } else {
            None
        }
    }
}

#[derive(Clone)]
struct Stand {
    knots: (usize, usize),
    trip: Option<usize>,
    ledger: Ledger,
}
