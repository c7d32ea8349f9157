//! A what-if between the samples.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, tables::WHAT_IF_TRACE};

use super::model::{self, Modelled, Side};
use super::{Change, Vehicle, fitting};
use crate::replay::batches::kwh;
use crate::replay::halves::Reconstruction;
use crate::replay::{PhysicsError, ReplaySettings, pieces, trips};

/// What [`what_if`](super::what_if) sums, of the trips asked for, interval by interval, under the sheet as believed.
///
/// Shape    one row per interval between two samples of a trip, by the times as driven
/// Errors   those of [`replay`](crate::replay::replay)
/// Source   the comparison's own intervals, not yet summed
/// Check    a trip's rows sum to its row of `what_if` (`tests/laws/what_if.rs`)
pub fn what_if_trace(
    vehicle_id: &str,
    samples: &RecordBatch,
    (as_is, changed): (&Vehicle, &Vehicle),
    change: &Change,
    settings: &ReplaySettings,
    is_wanted: &dyn Fn(&str) -> bool,
) -> Result<RecordBatch, PhysicsError> {
    let settings = &fitting(settings, change);
    let drive = Reconstruction::new(vehicle_id, samples, &as_is.sheet, settings)?;
    let segments = pieces::book(&drive.track, &drive.plan, &as_is.sheet, settings).segments;
    let trips = trips::gather(vehicle_id, &drive.track, &drive.plan, &segments, &as_is.sheet);
    let side = |track, of: &Vehicle| Side { truck: of.sheet.nominal.clone(), capacity_j: of.capacity_j, track };
    let mut rows: Vec<Row<'_>> = Vec::new();
    model::run_watched(
        &drive.plan,
        &mut side(drive.track.clone(), as_is),
        &mut side(change.applied(&drive.track), changed),
        &mut |step| {
            if let Some(trip) = trips.get(step.trip).filter(|trip| is_wanted(&trip.id)) {
                rows.push(Row {
                    knot: step.knot,
                    trip: &trip.id,
                    driven: *step.driven,
                    changed: *step.changed,
                    soc_end_changed: step.soc_end_changed,
                });
            }
        },
    );
    let each = || rows.iter();
    let driven = |pick: fn(&Modelled) -> f64| each().map(move |r| kwh(pick(&r.driven))).collect::<Vec<_>>();
    let with = |pick: fn(&Modelled) -> f64| each().map(move |r| kwh(pick(&r.changed))).collect::<Vec<_>>();
    Ok(BatchBuilder::new(&WHAT_IF_TRACE)
        .text("vehicle_id", each().map(|_| Some(vehicle_id)))
        .text("trip_id", each().map(|r| Some(r.trip)))
        .time("time_start_ns", each().map(|r| drive.track.time_ns[r.knot]))
        .time("time_end_ns", each().map(|r| drive.track.time_ns[r.knot + 1]))
        .number("duration_driven_s", each().map(|r| r.driven.duration_s))
        .number("duration_changed_s", each().map(|r| r.changed.duration_s))
        .number("energy_tractive_driven_kwh", driven(|m| m.tractive_j))
        .number("energy_tractive_changed_kwh", with(|m| m.tractive_j))
        .number("energy_braking_driven_kwh", driven(|m| m.braking_j))
        .number("energy_braking_changed_kwh", with(|m| m.braking_j))
        .number("energy_recovered_driven_kwh", driven(|m| m.recovered_j))
        .number("energy_recovered_changed_kwh", with(|m| m.recovered_j))
        .number("energy_auxiliary_driven_kwh", driven(|m| m.aux_j))
        .number("energy_auxiliary_changed_kwh", with(|m| m.aux_j))
        .number("energy_net_driven_kwh", driven(|m| m.net_j))
        .number("energy_net_changed_kwh", with(|m| m.net_j))
        .number("soc_end_changed_frac", each().map(|r| r.soc_end_changed))
        .finish()?)
}

struct Row<'a> {
    knot: usize,
    trip: &'a str,
    driven: Modelled,
    changed: Modelled,
    soc_end_changed: Option<f64>,
}
