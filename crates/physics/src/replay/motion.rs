//! Moving, standing, trips: which intervals belong together.

use std::ops::Range;

use super::ReplaySettings;
use super::track::Track;

/// What a run of intervals is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Driving,
    Standing,
    Parked,
}

impl Kind {
    pub fn as_str(self) -> &'static str {
        match self {
            Kind::Driving => "driving",
            Kind::Standing => "standing",
            Kind::Parked => "parked",
        }
    }
}

/// Intervals of one kind within one span: knots `knots.start..=knots.end`, so `knots.len()` intervals.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    pub span: usize,
    pub knots: Range<usize>,
    pub kind: Kind,
    pub trip: Option<usize>,
    /// Standing long enough to be a stop.
    pub is_stop: bool,
}

#[derive(Debug, Default)]
pub struct Plan {
    pub runs: Vec<Run>,
    pub trips: usize,
}

/// Every interval of every span in exactly one run, trips numbered in order.
pub fn plan(track: &Track, settings: &ReplaySettings) -> Plan {
    let mut plan = Plan::default();
    // Where the vehicle last moved in the open trip, and the runs of standing since.
    let mut open: Option<(usize, i64)> = None;
    for (number, span) in track.spans.iter().enumerate() {
        for mut run in runs_of(track, number, span.knots.clone(), settings) {
            let too_long = |until: usize| {
                open.is_some_and(|(_, moved_ns)| {
                    (track.time_ns[until] - moved_ns) as f64 * 1e-9 >= settings.trip_ends_after_s
                })
            };
            match run.kind {
                Kind::Driving => {
                    if too_long(run.knots.start) {
                        close(&mut plan, open.take());
                    }
                    let trip = open.map_or_else(
                        || {
                            plan.trips += 1;
                            plan.trips - 1
                        },
                        |(trip, _)| trip,
                    );
                    run.trip = Some(trip);
                    open = Some((trip, track.time_ns[run.knots.end]));
                }
                Kind::Standing | Kind::Parked => {
                    if too_long(run.knots.end) {
                        close(&mut plan, open.take());
                    }
                    run.trip = open.map(|(trip, _)| trip);
                    if run.trip.is_none() {
                        run.kind = Kind::Parked;
                    }
                }
            }
            plan.runs.push(run);
        }
    }
    close(&mut plan, open);
    plan
}

/// A trip ends with its last movement: what stood after it was parking.
fn close(plan: &mut Plan, open: Option<(usize, i64)>) {
    let Some((trip, _)) = open else { return };
    for run in plan.runs.iter_mut().rev() {
        if run.kind == Kind::Driving {
            break;
        }
        if run.trip == Some(trip) {
            run.trip = None;
            run.kind = Kind::Parked;
        }
    }
}

fn runs_of(track: &Track, span: usize, knots: Range<usize>, settings: &ReplaySettings) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    if knots.len() < 2 {
        return runs;
    }
    let mut moving = track.speed[knots.start] > settings.moving_above_m_s;
    for k in knots.start..knots.end - 1 {
        let before = moving;
        moving = if moving {
            track.speed[k + 1] > settings.standing_below_m_s
        } else {
            track.speed[k + 1] > settings.moving_above_m_s
        };
        let kind = if before || moving { Kind::Driving } else { Kind::Standing };
        match runs.last_mut() {
            Some(run) if run.kind == kind => run.knots.end = k + 1,
            _ => runs.push(Run { span, knots: k..k + 1, kind, trip: None, is_stop: false }),
        }
    }
    for run in &mut runs {
        let long = track.seconds(run.knots.start, run.knots.end) >= settings.stop_after_s;
        match run.kind {
            // A standstill shorter than a stop belongs to the driving around it.
            Kind::Standing if !long => run.kind = Kind::Driving,
            Kind::Standing => run.is_stop = true,
            _ => {}
        }
    }
    let short_standstill_only = runs.iter().all(|run| {
        run.kind == Kind::Driving
            && !(run.knots.start..=run.knots.end).any(|k| track.speed[k] > settings.moving_above_m_s)
    });
    if short_standstill_only {
        runs.iter_mut().for_each(|run| run.kind = Kind::Standing);
    }
    join(runs)
}

fn join(runs: Vec<Run>) -> Vec<Run> {
    let mut joined: Vec<Run> = Vec::with_capacity(runs.len());
    for run in runs {
        match joined.last_mut() {
            Some(last) if last.kind == run.kind && last.knots.end == run.knots.start => {
                last.knots.end = run.knots.end;
                last.is_stop |= run.is_stop;
            }
            _ => joined.push(run),
        }
    }
    joined
}
