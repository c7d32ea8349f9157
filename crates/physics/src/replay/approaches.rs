//! Approaches: each stop seen from the places before it, as driven and as gently as from there.

use std::ops::Range;

use super::ledger::{self, Setting};
use super::motion::{Kind, Plan};
use super::pieces::Booked;
use super::track::{GradeBasis, Track};
use crate::kernels::cascade::{self, LevelChoice};
use crate::kernels::losses;
use crate::kernels::road_load::{Interval, integrate};
use crate::truck::{Sheet, Truck};

/// Farthest a driver is taken to look ahead. [m] Common practice, no source.
const FARTHEST_M: f64 = 600.0;
const EVERY_M: f64 = 25.0;
/// Within this share of the highest speed the vehicle is not slowing yet.
const CRUISING: f64 = 0.95;
/// Slower logs do not show how a stop was driven. [s]
pub const SLOWEST_LOG_S: f64 = 2.5;
/// No stop worth the name is made from less. [m/s]
const LEAST_SPEED_M_S: f64 = 3.0;

/// One stop and the way to it.
#[derive(Debug, Clone)]
pub struct Approach {
    /// Knots from the farthest place the driver could have begun to slow at to the stop.
    pub knots: Range<usize>,
    pub trip: usize,
    pub slowing_m: f64,
    pub grade_known: bool,
    pub places: Vec<Place>,
}

#[derive(Debug, Clone, Copy)]
pub struct Place {
    pub distance_m: f64,
    pub speed_m_s: f64,
    pub rise_m: f64,
    pub duration_s: f64,
    pub driven_j: f64,
    pub reference_j: f64,
}

/// Every stop that ends a drive within continuous log.
pub fn approaches(track: &Track, plan: &Plan, booked: &Booked, sheet: &Sheet) -> Vec<Approach> {
    if track.interval_s > SLOWEST_LOG_S {
        return Vec::new();
    }
    let mut found = Vec::new();
    for pair in plan.runs.windows(2) {
        let (drive, stand) = (&pair[0], &pair[1]);
        let stops = drive.kind == Kind::Driving && stand.kind != Kind::Driving && drive.span == stand.span;
        if let (true, Some(trip)) = (stops && stand.is_stop, drive.trip) {
            let grade = track.spans[drive.span].grade;
            found.extend(approach(track, drive.knots.clone(), trip, grade, booked, sheet));
        }
    }
    found
}

/// The way to one stop, from a drive's knots `drive.start..=drive.end`.
fn approach(
    track: &Track,
    drive: Range<usize>,
    trip: usize,
    grade: GradeBasis,
    booked: &Booked,
    sheet: &Sheet,
) -> Option<Approach> {
    let stop = drive.end;
    let (mut way, mut highest) = (vec![Place::at_rest(track.speed[stop])], track.speed[stop]);
    let mut knot = stop;
    while knot > drive.start && way[way.len() - 1].distance_m < FARTHEST_M {
        let before = track.speed[knot - 1];
        // Going back in time, a clearly lower speed was on the way up to the highest: no slowing could begin there.
        if before < CRUISING * highest && before < track.speed[knot] {
            break;
        }
        highest = highest.max(before);
        knot -= 1;
        way.push(way[way.len() - 1].back(track, knot, grade, booked.terminal_j[knot]));
    }
    if highest < LEAST_SPEED_M_S {
        return None;
    }
    let cruising = |place: &Place| place.speed_m_s >= CRUISING * highest;
    let slowing_m = way.iter().find(|place| cruising(place))?.distance_m;
    let free = way.iter().rposition(cruising)?;
    let setting = Setting::at(track, stop - 1, &sheet.nominal);
    let level =
        ledger::level_at(track, stop - 1, &sheet.nominal).unwrap_or_else(|| sheet.nominal.stand_in_level());
    // The last interval reaches beyond the farthest place; no speed that a vehicle can have reaches twice as far.
    let steps = (way[free].distance_m.min(2.0 * FARTHEST_M) / EVERY_M) as usize;
    let places = (1..=steps)
        .map(|step| {
            let mut place = between(&way, step as f64 * EVERY_M);
            place.reference_j = constant_stop_j(&place, &setting, level, &sheet.nominal);
            place
        })
        .collect();
    Some(Approach { knots: stop - free..stop, trip, slowing_m, grade_known: grade != GradeBasis::None, places })
}

impl Place {
    fn at_rest(speed_m_s: f64) -> Self {
        Self { distance_m: 0.0, speed_m_s, rise_m: 0.0, duration_s: 0.0, driven_j: 0.0, reference_j: 0.0 }
    }

    /// The knot before, with the interval in between added.
    fn back(&self, track: &Track, knot: usize, grade: GradeBasis, terminal_j: f64) -> Self {
        let interval = ledger::interval(track, knot, grade);
        Self {
            distance_m: self.distance_m + interval.distance_m(),
            speed_m_s: track.speed[knot],
            rise_m: self.rise_m + interval.rise_m,
            duration_s: self.duration_s + interval.duration_s,
            driven_j: self.driven_j + terminal_j,
            reference_j: 0.0,
        }
    }
}

/// The way at a distance between two of its knots: what is kinetic goes with distance.
fn between(way: &[Place], distance_m: f64) -> Place {
    let next = way.partition_point(|place| place.distance_m < distance_m).clamp(1, way.len() - 1);
    let (near, far) = (&way[next - 1], &way[next]);
    let length = far.distance_m - near.distance_m;
    let share = if length > 0.0 { (distance_m - near.distance_m) / length } else { 0.0 };
    let mix = |a: f64, b: f64| a + (b - a) * share;
    Place {
        distance_m,
        speed_m_s: mix(near.speed_m_s.powi(2), far.speed_m_s.powi(2)).max(0.0).sqrt(),
        rise_m: mix(near.rise_m, far.rise_m),
        duration_s: mix(near.duration_s, far.duration_s),
        driven_j: mix(near.driven_j, far.driven_j),
        reference_j: 0.0,
    }
}

/// Energy out of the terminals of a stop at constant deceleration from a place. [J]
pub fn constant_stop_j(place: &Place, setting: &Setting, level: usize, truck: &Truck) -> f64 {
    if place.speed_m_s <= 0.0 {
        return place.driven_j;
    }
    let interval = Interval {
        duration_s: 2.0 * place.distance_m / place.speed_m_s,
        speed_start_m_s: place.speed_m_s,
        speed_end_m_s: 0.0,
        rise_m: place.rise_m,
    };
    let conditions = &setting.conditions;
    let road = integrate(conditions, &interval);
    let bus_j = road.braking_part.map_or(0.0, |part| {
        let moment = setting.moment(LevelChoice::Set(level), true);
        cascade::integrate(truck, conditions, &interval, part, &moment).bus_j()
    });
    let drawn_j = losses::drawn(&truck.losses, conditions, &interval, &road).energy_j;
    drawn_j + setting.loads.total_w() * interval.duration_s - bus_j
}
