//! Runs cut into segments, each with its ledger.

use std::ops::Range;

use super::ReplaySettings;
use super::crossings::{Crossing, Splitter};
use super::events::{Event, Finder};
use super::ledger::{self, Ledger};
use super::motion::{Kind, Plan};
use super::nodes;
use super::track::{GradeBasis, Track};
use crate::truck::Sheet;

/// One segment: intervals `knots.start..knots.end`, from the first knot to the last.
#[derive(Debug, Clone)]
pub struct Segment {
    pub knots: Range<usize>,
    pub kind: Kind,
    pub trip: Option<usize>,
    pub grade: GradeBasis,
    pub ledger: Ledger,
    /// Number of the level as the truck counts them, where log or sheet knows it.
    pub level: Option<usize>,
    /// Number of the node it lies in.
    pub node: Option<usize>,
}

/// What must not change within a segment.
#[derive(PartialEq, Clone, Copy)]
struct Key {
    level: Option<u16>,
    driver: Option<u16>,
    route: Option<u16>,
    measured: bool,
    node: Option<usize>,
}

/// What was booked.
pub struct Booked {
    pub segments: Vec<Segment>,
    pub events: Vec<Event>,
    pub crossings: Vec<Crossing>,
    /// Of each interval, by its first knot: energy out of the battery terminals as the model has it. [J]
    pub terminal_j: Vec<f64>,
}

/// Every interval booked once, into exactly one segment and the braking event it belongs to.
pub fn book(track: &Track, plan: &Plan, sheet: &Sheet, settings: &ReplaySettings) -> Booked {
    let mut segments: Vec<Segment> = Vec::new();
    let mut terminal_j = vec![0.0; track.time_ns.len()];
    let nodes = nodes::nodes_of(track, &settings.nodes);
    let mut finder = Finder::new(track, settings);
    let mut splitter = Splitter::new(track);
    for run in &plan.runs {
        let grade = track.spans[run.span].grade;
        let mut open: Option<(Segment, Key)> = None;
        for k in run.knots.clone() {
            let key = Key {
                level: track.level[k],
                driver: track.driver[k],
                route: track.route[k],
                measured: track.power[k].is_some() && track.power[k + 1].is_some(),
                node: nodes.get(k).copied().flatten(),
            };
            let cut = open.as_ref().is_some_and(|(segment, before)| {
                *before != key
                    || segment.ledger.distance_m >= settings.segment_length_m
                    || track.soc_step_wait_s[k].is_some()
                    || track.soc_anchored[k]
            });
            if cut {
                segments.extend(open.take().map(|(segment, _)| segment));
            }
            let booked = ledger::book(track, k, run.kind == Kind::Driving, grade, sheet);
            terminal_j[k] = booked.terminal_j();
            splitter.feed(segments.len(), k, &booked, ledger::interval(track, k, grade).rise_m);
            let (segment, _) = open.get_or_insert_with(|| {
                let level = ledger::level_at(track, k, &sheet.nominal);
                let segment = Segment {
                    knots: k..k,
                    kind: run.kind,
                    trip: run.trip,
                    grade,
                    ledger: Ledger::default(),
                    level,
                    node: key.node,
                };
                (segment, key)
            });
            segment.ledger.add(&booked);
            segment.knots.end = k + 1;
            if let (Kind::Driving, Some(trip)) = (run.kind, run.trip) {
                // Draws tell how much was braked, not in which events: those are what the samples show.
                let seen =
                    (booked.filled_s > 0.0).then(|| ledger::book_as_sampled(track, k, true, grade, sheet));
                finder.feed(trip, k, seen.as_ref().unwrap_or(&booked));
            }
        }
        finder.end();
        segments.extend(open.map(|(segment, _)| segment));
    }
    Booked { segments, events: finder.events, crossings: splitter.crossings, terminal_j }
}
