//! The mass a trip's force or power speaks for. Published beside the mass the ledger uses, and never put in its place:
//! a mass tuned per trip would close every ledger and hide what is wrong with drag, rolling resistance and losses.

use std::ops::Range;

use super::auxiliaries::Loads;
use super::ledger::{conditions, interval};
use super::motion::{Kind, Plan};
use super::track::{GradeBasis, Track};
use crate::kernels::mass::{Fit, Stretch, fit};
use crate::kernels::road_load::{self, Conditions};
use crate::truck::{PowerBoundary, Sheet, Truck};

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    pub mass_kg: f64,
    pub low_kg: f64,
    pub high_kg: f64,
    pub basis: &'static str,
}

#[derive(Clone, Copy, PartialEq)]
enum Source {
    WheelForce,
    PackPower,
}

impl Source {
    fn as_str(self) -> &'static str {
        match self {
            Source::WheelForce => "wheel force",
            Source::PackPower => "pack power",
        }
    }
}

/// A stretch ends when speed has changed by this much, or after this time. [m/s], [s] Common practice, no source.
const SPEED_CHANGE_M_S: f64 = 2.0;
const LENGTH_S: f64 = 10.0;
/// Shorter stretches, and slower ones, are left out. [s], [m/s]
const LEAST_S: f64 = 1.5;
const LEAST_SPEED_M_S: f64 = 1.0;
/// Stretches within this way of each other count as one place, with one grade; a fast drive has few stretches in it,
/// so a place grows until it has three, up to the longer way. [m] Common practice, no source.
const PLACE_M: f64 = 100.0;
const PLACE_MOST_M: f64 = 300.0;
const PLACE_STRETCHES: usize = 3;
/// Logs slower than this hide the acceleration between samples. [s]
const SLOWEST_S: f64 = 2.5;
/// 95 % of a normal.
const SIGMAS: f64 = 1.96;
/// An estimate whose noise is wider than this share of it is none.
const WIDEST: f64 = 0.3;

/// From wheel force where it is logged, else from battery power while it drives; `None` where neither tells.
pub fn estimate(track: &Track, plan: &Plan, trip: usize, sheet: &Sheet, interval_s: f64) -> Option<Estimate> {
    if interval_s > SLOWEST_S {
        return None;
    }
    [Source::WheelForce, Source::PackPower]
        .into_iter()
        .find_map(|source| from(source, track, plan, trip, sheet))
}

fn from(source: Source, track: &Track, plan: &Plan, trip: usize, sheet: &Sheet) -> Option<Estimate> {
    let fitted = |truck: &Truck| fit(&stretches(source, track, plan, trip, sheet.power_boundary, truck));
    let nominal: Fit = fitted(&sheet.nominal)?;
    let noise_kg = SIGMAS * nominal.error_kg;
    if noise_kg > WIDEST * nominal.mass_kg {
        return None;
    }
    let ends = [&sheet.low, &sheet.high].map(|truck| fitted(truck).map_or(nominal.mass_kg, |fit| fit.mass_kg));
    Some(Estimate {
        mass_kg: nominal.mass_kg,
        low_kg: (ends[0].min(ends[1]).min(nominal.mass_kg) - noise_kg).max(0.0),
        high_kg: ends[0].max(ends[1]).max(nominal.inverse_kg) + noise_kg,
        basis: source.as_str(),
    })
}

fn stretches(
    source: Source,
    track: &Track,
    plan: &Plan,
    trip: usize,
    boundary: PowerBoundary,
    truck: &Truck,
) -> Vec<Stretch> {
    let mut found: Vec<Stretch> = Vec::new();
    let mut place = Place::default();
    for run in plan.runs.iter().filter(|run| run.trip == Some(trip) && run.kind == Kind::Driving) {
        // Within a place a receiver's heights are noisier than the road; what they say between places is not needed.
        let grade = match track.spans[run.span].grade {
            GradeBasis::Logged => GradeBasis::Logged,
            GradeBasis::Tiles | GradeBasis::Altitude | GradeBasis::None => GradeBasis::None,
        };
        let mut open = Sums::default();
        let mut start = run.knots.start;
        for k in run.knots.clone() {
            let step = interval(track, k, grade);
            place.way_m += step.distance_m();
            let work_j = drive_work(source, track, k, boundary, truck);
            if let Some(work_j) = work_j {
                let air = conditions(track, k, truck);
                // A kilogram of truck: its energies are what each kilogram of mass asked for.
                let kilogram = Conditions { mass_kg: 1.0, rotating_mass_kg: 0.0, ..air };
                let energy = road_load::integrate(&kilogram, &step);
                open.time_s += step.duration_s;
                open.distance_m += step.distance_m();
                open.specific_j_kg += energy.kinetic_j + energy.grade_j + energy.rolling_j;
                let squares = step.speed_end_m_s.powi(2) - step.speed_start_m_s.powi(2);
                open.left_j += work_j - energy.aero_j - 0.5 * air.rotating_mass_kg * squares;
            }
            let changed = (track.speed[k + 1] - track.speed[start]).abs() >= SPEED_CHANGE_M_S;
            if work_j.is_none() || changed || open.time_s >= LENGTH_S || k + 1 == run.knots.end {
                found.extend(std::mem::take(&mut open).stretch(&mut place));
                start = k + 1;
            }
        }
    }
    found
}

#[derive(Default)]
struct Sums {
    time_s: f64,
    distance_m: f64,
    specific_j_kg: f64,
    left_j: f64,
}

impl Sums {
    fn stretch(self, place: &mut Place) -> Option<Stretch> {
        (self.time_s >= LEAST_S).then(|| Stretch {
            force_n: self.left_j / self.distance_m,
            specific_m_s2: self.specific_j_kg / self.distance_m,
            place: place.take(),
        })
    }
}

/// Numbers the places along the way.
#[derive(Default)]
struct Place {
    number: usize,
    way_m: f64,
    stretches: usize,
}

impl Place {
    /// The place of one more stretch that ends here.
    fn take(&mut self) -> usize {
        let full = self.way_m > PLACE_M && self.stretches >= PLACE_STRETCHES;
        if full || self.way_m > PLACE_MOST_M {
            *self = Self { number: self.number + 1, way_m: 0.0, stretches: 0 };
        }
        self.stretches += 1;
        self.number
    }
}

/// Work at the wheels in one interval that nothing but the motor did. [J]
fn drive_work(source: Source, track: &Track, k: usize, boundary: PowerBoundary, truck: &Truck) -> Option<f64> {
    let knots: Range<usize> = k..k + 2;
    let friction = track.pedal[knots.clone()].contains(&Some(true));
    let crawling = track.speed[knots].iter().any(|speed| *speed < LEAST_SPEED_M_S);
    if friction || crawling || track.engine_on[k] {
        return None;
    }
    let duration_s = track.seconds(k, k + 1);
    let (v0, v1) = (track.speed[k], track.speed[k + 1]);
    match source {
        Source::WheelForce => {
            let (f0, f1) = track.wheel_force[k].zip(track.wheel_force[k + 1])?;
            // Without a brake signal a slowing truck may be braked by friction as well.
            let pushing = f0 > 0.0 && f1 > 0.0;
            let known = pushing || track.pedal[k].is_some();
            known.then(|| duration_s / 6.0 * (f0 * (2.0 * v0 + v1) + f1 * (v0 + 2.0 * v1)))
        }
        Source::PackPower => {
            let foreign = track.overhead[k] && boundary == PowerBoundary::Pack;
            let aux_w = Loads::at(track, k, truck).total_w();
            let (p0, p1) = track.power[k].zip(track.power[k + 1])?;
            let driving = p0 > aux_w && p1 > aux_w && !foreign && !track.plugged[k];
            driving.then(|| (f64::midpoint(p0, p1) - aux_w) * truck.drive_efficiency() * duration_s)
        }
    }
}
