//! The ledger between the samples: what a replay of one trip is drawn and summed from.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, tables::LEDGER_TRACE};

use super::batches::{cascade_columns, evidence, is_measured, kwh};
use super::halves::Reconstruction;
use super::ledger::{self, Ledger};
use super::motion::Kind;
use super::pieces::{self, Segment};
use super::track::{GradeBasis, Track};
use super::trips::{self, Trip, explained};
use super::{PhysicsError, ReplaySettings};
use crate::truck::Sheet;

/// The account of every interval of the trips asked for, by the rules of their segments.
///
/// Shape    one row per interval between two samples of a trip; gaps and parking have none
/// Sign     as in `segments`
/// Missing  battery accounts are null in a segment whose battery power is known for less than 95 % of it
/// Errors   those of [`replay`](super::replay), but the ledger is not asked to close
/// Source   the ledger's own booking, not yet summed
/// Check    a segment's rows sum to the segment (`tests/laws/ledger_trace.rs`)
pub fn ledger_trace(
    vehicle_id: &str,
    samples: &RecordBatch,
    sheet: &Sheet,
    settings: &ReplaySettings,
    is_wanted: &dyn Fn(&str) -> bool,
) -> Result<RecordBatch, PhysicsError> {
    let Reconstruction { track, plan } = Reconstruction::new(vehicle_id, samples, sheet, settings)?;
    let segments = pieces::book(&track, &plan, sheet, settings).segments;
    let trips = trips::gather(vehicle_id, &track, &plan, &segments, sheet);
    let mut rows = Vec::new();
    for (order, segment) in (0..).zip(&segments) {
        let Some(trip) = segment.trip.and_then(|number| trips.get(number)) else { continue };
        if is_wanted(&trip.id) {
            rows.extend(segment.knots.clone().map(|knot| Row {
                knot,
                order,
                trip,
                segment,
                ledger: ledger::book(&track, knot, segment.kind == Kind::Driving, segment.grade, sheet),
            }));
        }
    }
    batch(vehicle_id, &track, &rows)
}

struct Row<'a> {
    knot: usize,
    order: u32,
    trip: &'a Trip,
    segment: &'a Segment,
    ledger: Ledger,
}

impl Row<'_> {
    /// An inflow that braking cannot explain is an account of its own, for the whole trip.
    fn recovered_and_unbraked_j(&self) -> (f64, f64) {
        let battery = &self.ledger.battery;
        if explained(self.trip) {
            (battery.recovered_j, battery.unbraked_j)
        } else {
            (0.0, battery.unbraked_j + battery.recovered_j)
        }
    }
}

fn batch(vehicle_id: &str, track: &Track, rows: &[Row<'_>]) -> Result<RecordBatch, PhysicsError> {
    let each = || rows.iter();
    let energy = |pick: fn(&Ledger) -> f64| rows.iter().map(move |r| kwh(pick(&r.ledger))).collect::<Vec<_>>();
    let measured = |pick: fn(&Row<'_>) -> f64| {
        each().map(move |r| is_measured(&r.segment.ledger).then(|| kwh(pick(r)))).collect::<Vec<_>>()
    };
    let graded = |r: &Row<'_>| r.segment.grade != GradeBasis::None;
    let builder = BatchBuilder::new(&LEDGER_TRACE)
        .text("vehicle_id", each().map(|_| Some(vehicle_id)))
        .text("trip_id", each().map(|r| Some(r.trip.id.as_str())))
        .order("segment_order", each().map(|r| r.order))
        .text("kind", each().map(|r| Some(r.segment.kind.as_str())))
        .time("time_start_ns", each().map(|r| track.time_ns[r.knot]))
        .time("time_end_ns", each().map(|r| track.time_ns[r.knot + 1]))
        .text("regen_level", each().map(|r| track.name(track.level[r.knot])))
        .number("lat_start_deg", each().map(|r| track.position[r.knot].map(|at| at.0)))
        .number("lon_start_deg", each().map(|r| track.position[r.knot].map(|at| at.1)))
        .number("altitude_start_m", each().map(|r| track.altitude[r.knot]))
        .number("rise_m", each().map(|r| graded(r).then(|| track.rise[r.knot])))
        .number("soc_start_frac", each().map(|r| track.soc[r.knot]))
        .number("soc_end_frac", each().map(|r| track.soc[r.knot + 1]))
        .number("speed_start_m_s", each().map(|r| track.speed[r.knot]))
        .number("speed_end_m_s", each().map(|r| track.speed[r.knot + 1]))
        .number("duration_s", each().map(|r| r.ledger.duration_s))
        .number("moving_s", each().map(|r| r.ledger.moving_s))
        .number("distance_m", each().map(|r| r.ledger.distance_m))
        .number("energy_kinetic_kwh", energy(|l| l.road.kinetic_j))
        .number("energy_grade_kwh", each().map(|r| graded(r).then(|| kwh(r.ledger.road.grade_j))))
        .number("energy_rolling_kwh", energy(|l| l.road.rolling_j))
        .number("energy_aero_kwh", energy(|l| l.road.aero_j))
        .number("energy_tractive_kwh", energy(|l| l.road.tractive_j))
        .number("energy_drive_dc_kwh", energy(|l| l.drive_dc_j))
        .number("energy_auxiliary_kwh", energy(|l| l.aux_j))
        .number("energy_braking_kwh", energy(|l| l.road.braking_j))
        .number("energy_attainable_kwh", energy(|l| l.attainable_j))
        .number("energy_returned_bus_kwh", energy(|l| l.battery.bus_j))
        .number("energy_discharged_kwh", measured(|r| r.ledger.battery.discharged_j))
        .number("energy_recovered_kwh", measured(|r| r.recovered_and_unbraked_j().0))
        .number("energy_returned_unknown_store_kwh", measured(|r| r.ledger.battery.unknown_store_j))
        .number("energy_unbraked_inflow_kwh", measured(|r| r.recovered_and_unbraked_j().1))
        .number("energy_plugged_kwh", measured(|r| r.ledger.battery.plugged_j))
        .number("energy_unexplained_kwh", measured(|r| r.ledger.battery.unexplained_j))
        .text("evidence", each().map(|r| Some(evidence(r.segment.ledger.coverage()))));
    Ok(cascade_columns(builder, each().map(|r| &r.ledger.cascade)).finish()?)
}
