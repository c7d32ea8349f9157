//! A vehicle's trips as speeds one second apart: what libraries are made of.

use std::ops::Range;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchView, tables::SAMPLES};

use super::ledger::level_at;
use super::motion;
use super::track::Track;
use super::{PhysicsError, ReplaySettings};
use crate::kernels::filling::{SHORTEST_S, Trace};
use crate::truck::Truck;

/// Whether a log's speed comes so often that nothing hides between its samples, by their median interval.
///
/// Shape    one vehicle's samples; only their times and speeds are looked at
/// Missing  rows without a speed are passed over; no two speeds are no slow log
/// Errors   a column is missing or of another type
pub fn is_fast(samples: &RecordBatch) -> Result<bool, PhysicsError> {
    Ok(Track::interval_of(&BatchView::new(&SAMPLES, samples))? <= SHORTEST_S)
}

/// Speeds of each trip of a fast log, smoothed as its replay smooths them, one second apart, and the regen level's lift-off.
///
/// Shape    one trace per stretch of a trip without a gap; none where the log is too slow to show what lies between
/// Missing  rows without a speed are passed over
/// Errors   a column is missing or of another type; samples are not sorted
pub fn speed_traces(
    vehicle_id: &str,
    samples: &RecordBatch,
    truck: &Truck,
    settings: &ReplaySettings,
) -> Result<Vec<Trace>, PhysicsError> {
    let view = BatchView::new(&SAMPLES, samples);
    let settings = ReplaySettings { library: None, ..settings.clone() };
    let (mut track, rows, _) = Track::read_speed(vehicle_id, &view, &settings)?;
    if track.interval_s > SHORTEST_S {
        return Ok(Vec::new());
    }
    track.fill_levels(&view, &rows)?;
    let mut stretches: Vec<(usize, usize, Range<usize>)> = Vec::new();
    for run in motion::plan(&track, &settings).runs {
        let Some(trip) = run.trip else { continue };
        match stretches.last_mut() {
            Some((before, span, knots)) if (*before, *span) == (trip, run.span) => knots.end = run.knots.end,
            _ => stretches.push((trip, run.span, run.knots)),
        }
    }
    Ok(stretches.iter().map(|(.., knots)| every_second(&track, truck, knots.clone())).collect())
}

/// Speed at whole seconds from the first knot on, on the line between knots; the level is the last knot's.
fn every_second(track: &Track, truck: &Truck, knots: Range<usize>) -> Trace {
    let mut after = knots.start;
    let lift_off = |k: usize| level_at(track, k, truck).map(|level| truck.lift_off_m_s2(level));
    let (speeds, lift_off) = (0..)
        .map_while(|second: i64| {
            let now = track.time_ns[knots.start] + second * 1_000_000_000;
            while track.time_ns[after] < now {
                after += 1;
                if after > knots.end {
                    return None;
                }
            }
            if after == knots.start {
                return Some((track.speed[after], lift_off(after)));
            }
            let (from, to) = (track.time_ns[after - 1], track.time_ns[after]);
            let share = (now - from) as f64 / (to - from) as f64;
            let speed = track.speed[after - 1] + (track.speed[after] - track.speed[after - 1]) * share;
            Some((speed, lift_off(after - 1)))
        })
        .unzip();
    Trace { speeds, lift_off }
}
