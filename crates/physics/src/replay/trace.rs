//! Power between the samples: what physics and the sheet ask of the battery, beside what was logged.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, Evidence, tables::POWER_TRACE};

use super::halves::Reconstruction;
use super::ledger::{self, Ledger};
use super::motion::Kind;
use super::track::Track;
use super::{PhysicsError, ReplaySettings};
use crate::truck::Sheet;

/// Power of one vehicle, one row per interval between two samples: the ledger's joules over its seconds. [W]
///
/// P_modelled = P_drive + P_aux - P_bus,  P_drive what traction draws at the dc link under the sheet's law of losses,
/// P_bus what the cascade returns there
/// Shape    one row per interval of every span; gaps and frozen stretches have none
/// Sign     modelled and measured positive leave the battery; wheel positive pushes forward
/// Missing  no logged power -> `power_measured_w` null; the model needs speed alone
/// Errors   those of [`replay`](super::replay), but the ledger is not asked to close
/// Holds    power linear between samples, so the measured mean is that of the two ends
/// Source   balance at the terminals: out - in = E_drive + E_aux - E_bus + unexplained, as the ledger books it
/// Check    standing with 800 W of auxiliaries -> 800 W modelled (`tests/laws/trace.rs`)
pub fn power_trace(
    vehicle_id: &str,
    samples: &RecordBatch,
    sheet: &Sheet,
    settings: &ReplaySettings,
) -> Result<RecordBatch, PhysicsError> {
    let Reconstruction { track, plan } = Reconstruction::new(vehicle_id, samples, sheet, settings)?;
    let mut rows = Vec::new();
    for run in &plan.runs {
        let grade = track.spans[run.span].grade;
        for knot in run.knots.clone() {
            let booked = ledger::book(&track, knot, run.kind == Kind::Driving, grade, sheet);
            rows.push(Row::new(&track, knot, run.kind, run.trip, &booked));
        }
    }
    batch(vehicle_id, &track, plan.trips, &rows)
}

struct Row {
    knot: usize,
    kind: Kind,
    trip: Option<usize>,
    speed_m_s: f64,
    wheel_w: f64,
    braking_w: f64,
    auxiliary_w: f64,
    bus_w: f64,
    modelled_w: f64,
    measured_w: Option<f64>,
}

impl Row {
    fn new(track: &Track, knot: usize, kind: Kind, trip: Option<usize>, booked: &Ledger) -> Self {
        let over_time = |joules: f64| joules / booked.duration_s;
        let bus_j = booked.cascade.bus_j();
        Self {
            knot,
            kind,
            trip,
            speed_m_s: over_time(booked.distance_m),
            wheel_w: over_time(booked.road.tractive_j - booked.road.braking_j),
            braking_w: over_time(booked.road.braking_j),
            auxiliary_w: over_time(booked.aux_j),
            bus_w: over_time(bus_j),
            modelled_w: over_time(booked.drive_dc_j + booked.aux_j - bus_j),
            measured_w: track.power[knot]
                .zip(track.power[knot + 1])
                .map(|(start, end)| f64::midpoint(start, end)),
        }
    }
}

fn batch(vehicle_id: &str, track: &Track, trips: usize, rows: &[Row]) -> Result<RecordBatch, PhysicsError> {
    // Named as in the table of trips.
    let trips: Vec<String> = (1..=trips).map(|number| format!("{vehicle_id}-{number:04}")).collect();
    let each = || rows.iter();
    let evidence = |row: &Row| match row.measured_w {
        Some(_) => Evidence::Measured,
        None => Evidence::Modelled,
    };
    Ok(BatchBuilder::new(&POWER_TRACE)
        .text("vehicle_id", each().map(|_| Some(vehicle_id)))
        .text("trip_id", each().map(|r| trips.get(r.trip?).map(String::as_str)))
        .text("kind", each().map(|r| Some(r.kind.as_str())))
        .time("time_start_ns", each().map(|r| track.time_ns[r.knot]))
        .time("time_end_ns", each().map(|r| track.time_ns[r.knot + 1]))
        .number("speed_m_s", each().map(|r| r.speed_m_s))
        .number("power_wheel_w", each().map(|r| r.wheel_w))
        .number("power_braking_w", each().map(|r| r.braking_w))
        .number("power_auxiliary_w", each().map(|r| r.auxiliary_w))
        .number("power_returned_bus_w", each().map(|r| r.bus_w))
        .number("power_modelled_w", each().map(|r| r.modelled_w))
        .number("power_measured_w", each().map(|r| r.measured_w))
        .text("evidence", each().map(|r| Some(evidence(r).as_str())))
        .finish()?)
}
