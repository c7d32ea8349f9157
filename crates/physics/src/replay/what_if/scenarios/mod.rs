//! The same trips under many scenarios at once, read one time: weather, loads and driving that a plan speaks of.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, JOULES_PER_KWH, tables};

use super::model::{Modelled, Side};
use super::{Change, ROLLING_PER_K};
use crate::kernels::climate::{self, Climate};
use crate::kernels::road_load::Interval;
use crate::replay::halves::Reconstruction;
use crate::replay::ledger::{self, Setting};
use crate::replay::motion::{Kind, Plan};
use crate::replay::track::{GradeBasis, Track};
use crate::replay::{PhysicsError, ReplaySettings};
use crate::truck::{RollingTemperature, Sheet, Truck};

/// What is other than driven.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    pub name: String,
    pub sheet: Sheet,
    pub change: Change,
    /// Every road level.
    pub is_level_road: bool,
    /// Speed and stops of the plan in place of those driven, over the same way.
    pub driving: Option<Driving>,
    /// How the cab follows another temperature where the sheet does not say.
    pub climate: Climate,
    /// Whether the sheet's ends are asked for too: each takes as long as the scenario itself.
    pub has_ends: bool,
}

/// Driving as a plan sees it: equal legs from stop to stop, each speeding up, holding and slowing at fixed rates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Driving {
    pub cruise_m_s: f64,
    pub stops_per_m: f64,
    pub accel_m_s2: f64,
    pub decel_m_s2: f64,
    /// Standing at each stop; `None`: standing stays as driven.
    pub stop_s: Option<f64>,
}

/// Name of the scenario in which nothing is changed; always the first.
pub const AS_DRIVEN: &str = "as driven";

/// One vehicle's trips under each scenario, the model throughout.
///
/// State of charge stays as logged. Auxiliaries that are logged, or inferred from stops, have the climate of the air they
/// were seen in; under another temperature they move by what the cab's law says of the difference. Bounds as for
/// [`what_if`](super::what_if).
/// Shape    one row per trip and scenario, `AS_DRIVEN` first
/// Missing  unknown temperature stays unknown and costs no climate
/// Errors   those of [`replay`](crate::replay::replay)
/// Holds    another speed is driven over the same heights, at the air and the loads of the place
/// Source   derived from the ledger's own kernels
/// Check    no scenario -> the ledger's own sums; hold 10 m/s on the flat -> road load times way (`tests/laws/scenarios.rs`)
pub fn scenarios(
    vehicle_id: &str,
    samples: &RecordBatch,
    sheet: &Sheet,
    scenarios: &[Scenario],
    settings: &ReplaySettings,
) -> Result<RecordBatch, PhysicsError> {
    let drive = Reconstruction::new(vehicle_id, samples, sheet, settings)?;
    let ends = |of: &Sheet| [of.nominal.clone(), of.low.clone(), of.high.clone()];
    let follows = |truck: Truck| Truck {
        rolling_temperature: Some(RollingTemperature { per_k: ROLLING_PER_K, reference_k: 298.15 }),
        ..truck
    };
    let driven = |truck: Truck| {
        sums(&drive.plan, &Side { truck, capacity_j: None, track: drive.track.clone() }, false, None)
    };
    let base: Vec<Vec<Sums>> = ends(sheet).map(driven).into();
    let is_asked = scenarios.iter().any(|of| of.has_ends && of.change.temperature.is_some());
    let base_following = (is_asked && sheet.nominal.rolling_temperature.is_none())
        .then(|| driven(follows(sheet.nominal.clone())));
    let mut found = vec![Found { name: AS_DRIVEN, of: base.clone(), base: base.clone() }];
    for scenario in scenarios {
        let mut trucks: Vec<Truck> = ends(&scenario.sheet).into();
        let mut bases = base.clone();
        if !scenario.has_ends {
            trucks.truncate(1);
            bases.truncate(1);
        } else if let (Some(_), Some(following)) = (scenario.change.temperature, &base_following) {
            trucks.push(follows(scenario.sheet.nominal.clone()));
            bases.push(following.clone());
        }
        let track = scenario.track(&drive.track, sheet);
        let run = |truck: Truck| {
            let side = Side { truck, capacity_j: None, track: track.clone() };
            sums(&drive.plan, &side, scenario.is_level_road, scenario.driving.as_ref())
        };
        found.push(Found { name: &scenario.name, of: trucks.into_iter().map(run).collect(), base: bases });
    }
    Ok(build(vehicle_id, drive.plan.trips, &found)?)
}

/// A trip under one scenario. [m, J]
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    distance_m: f64,
    driving_j: f64,
    standing_j: f64,
    recovered_j: f64,
}

impl Sums {
    fn total_j(&self) -> f64 {
        self.driving_j + self.standing_j
    }
}

/// Trips of one scenario: under the sheet as believed first, then at its ends; and the same as driven.
struct Found<'a> {
    name: &'a str,
    of: Vec<Vec<Sums>>,
    base: Vec<Vec<Sums>>,
}

impl Scenario {
    fn track(&self, driven: &Track, sheet: &Sheet) -> Track {
        let mut track = self.change.applied(driven);
        if self.change.temperature.is_some() {
            self.move_climate(driven, &mut track, &sheet.nominal);
        }
        if self.driving.is_some() {
            // Nobody logged the pedal of a stop that was not driven.
            track.pedal.fill(None);
        }
        track
    }

    /// Auxiliaries in the air of the scenario. Where the sheet's own law of the cab is at work it moves by itself.
    fn move_climate(&self, driven: &Track, track: &mut Track, truck: &Truck) {
        let law = truck.climate.unwrap_or(self.climate);
        track.aux_standing.resize(driven.time_ns.len(), None);
        for k in 0..driven.time_ns.len() {
            let Some((before, after)) = driven.ambient[k].zip(track.ambient[k]) else { continue };
            let more = climate::power(&law, after) - climate::power(&law, before);
            let inferred = driven.aux[k].is_none() && track.aux_standing[k].is_some();
            if let Some(cab) = track.cab[k] {
                track.cab[k] = Some((cab + more).max(0.0));
            } else if truck.climate.is_none() || inferred {
                let base = if inferred { &mut track.aux_standing[k] } else { &mut track.aux[k] };
                *base = Some((base.unwrap_or(truck.aux_power_w) + more).max(0.0));
            }
        }
    }
}

fn sums(plan: &Plan, side: &Side, is_level_road: bool, driving: Option<&Driving>) -> Vec<Sums> {
    let mut trips = vec![Sums::default(); plan.trips];
    let mut ways: Vec<Vec<Step>> = vec![Vec::new(); plan.trips];
    for run in &plan.runs {
        let Some(trip) = run.trip else { continue };
        let grade = if is_level_road { GradeBasis::None } else { side.track.spans[run.span].grade };
        for k in run.knots.clone() {
            let sums = &mut trips[trip];
            let interval = ledger::interval(&side.track, k, grade);
            if run.kind == Kind::Driving {
                sums.distance_m += interval.distance_m();
                if driving.is_some() {
                    ways[trip].push(Step {
                        knot: k,
                        distance_m: interval.distance_m(),
                        rise_m: interval.rise_m,
                    });
                    continue;
                }
            }
            let step = side.step(k, grade);
            sums.recovered_j += step.recovered_j;
            if run.kind == Kind::Driving { sums.driving_j += step.net_j } else { sums.standing_j += step.net_j }
        }
    }
    if let Some(driving) = driving {
        trips.iter_mut().zip(&ways).for_each(|(sums, way)| driving.drive(side, way, sums));
    }
    trips
}

/// A driven interval, by its way.
#[derive(Clone, Copy)]
struct Step {
    knot: usize,
    distance_m: f64,
    rise_m: f64,
}

impl Driving {
    /// The way of one trip from stop to stop, in steps of a second.
    fn drive(&self, side: &Side, way: &[Step], sums: &mut Sums) {
        let total_m: f64 = way.iter().map(|step| step.distance_m).sum();
        if total_m <= 0.0 {
            return;
        }
        let legs = (total_m * self.stops_per_m).round().max(1.0);
        let mut along = Along { way, at: 0, into_m: 0.0 };
        let mut total = Modelled::default();
        for _ in 0..legs as usize {
            for (duration_s, from, to) in self.leg(total_m / legs) {
                let distance_m = f64::midpoint(from, to) * duration_s;
                let (knot, rise_m) = along.advance(distance_m);
                let interval = Interval { duration_s, speed_start_m_s: from, speed_end_m_s: to, rise_m };
                let setting = Setting::at(&side.track, knot, &side.truck);
                total.add(&side.drive(knot, &interval, &setting, 1.0));
            }
            if let (Some(stop_s), Some(step)) = (self.stop_s, way.get(along.at.min(way.len() - 1))) {
                let setting = Setting::at(&side.track, step.knot, &side.truck);
                total.duration_s += stop_s;
                sums.standing_j += setting.loads.total_w() * stop_s;
            }
        }
        sums.driving_j = total.net_j;
        sums.recovered_j = total.recovered_j;
    }

    /// Stretches of linear speed of one leg: duration, speed at the start, speed at the end. None longer than a second.
    fn leg(&self, length_m: f64) -> Vec<(f64, f64, f64)> {
        let (up, down) = (self.accel_m_s2, self.decel_m_s2);
        let top = self.cruise_m_s.min((2.0 * length_m * up * down / (up + down)).sqrt());
        let ramps_m = top * top / 2.0 * (1.0 / up + 1.0 / down);
        let phases =
            [(top / up, 0.0, top), ((length_m - ramps_m).max(0.0) / top, top, top), (top / down, top, 0.0)];
        let mut pieces = Vec::new();
        for (duration_s, from, to) in phases {
            let count = duration_s.ceil().max(1.0);
            let speed = |at: f64| from + (to - from) * at / count;
            let piece = |at: u32| (duration_s / count, speed(f64::from(at)), speed(f64::from(at + 1)));
            pieces.extend((0..count as u32).map(piece).filter(|(duration_s, ..)| *duration_s > 0.0));
        }
        pieces
    }
}

/// A place along the driven way.
struct Along<'w> {
    way: &'w [Step],
    at: usize,
    into_m: f64,
}

impl Along<'_> {
    /// Goes on by a distance: the knot it began at, and the height gained.
    fn advance(&mut self, mut distance_m: f64) -> (usize, f64) {
        let knot = self.way[self.at.min(self.way.len() - 1)].knot;
        let mut rise_m = 0.0;
        while let Some(step) = self.way.get(self.at) {
            let left_m = step.distance_m - self.into_m;
            let taken_m = distance_m.min(left_m);
            if step.distance_m > 0.0 {
                rise_m += step.rise_m * taken_m / step.distance_m;
            }
            distance_m -= taken_m;
            if taken_m < left_m {
                self.into_m += taken_m;
                break;
            }
            (self.at, self.into_m) = (self.at + 1, 0.0);
        }
        (knot, rise_m)
    }
}

fn build(vehicle_id: &str, trips: usize, found: &[Found<'_>]) -> Result<RecordBatch, BatchError> {
    // Named as in the table of trips.
    let names: Vec<String> = (1..=trips).map(|number| format!("{vehicle_id}-{number:04}")).collect();
    let rows: Vec<(usize, &Found<'_>)> =
        (0..trips).flat_map(|trip| found.iter().map(move |scenario| (trip, scenario))).collect();
    let nominal = |of: fn(&Sums) -> f64| rows.iter().map(move |(trip, found)| of(&found.of[0][*trip]));
    let kwh = |of: fn(&Sums) -> f64| nominal(of).map(|joules| joules / JOULES_PER_KWH).collect::<Vec<_>>();
    let over = |less: bool, pick: fn(f64, f64) -> f64| {
        let row = move |(trip, found): &(usize, &Found<'_>)| {
            let each = found.of.iter().zip(&found.base).map(|(of, base)| {
                let base_j = if less { base[*trip].total_j() } else { 0.0 };
                (of[*trip].total_j() - base_j) / JOULES_PER_KWH
            });
            each.reduce(pick).unwrap_or(0.0)
        };
        rows.iter().map(row).collect::<Vec<_>>()
    };
    BatchBuilder::new(&tables::SCENARIOS)
        .text("vehicle_id", rows.iter().map(|_| Some(vehicle_id)))
        .text("trip_id", rows.iter().map(|(trip, _)| names.get(*trip).map(String::as_str)))
        .text("scenario", rows.iter().map(|(_, found)| Some(found.name)))
        .number("distance_m", nominal(|sums| sums.distance_m))
        .number("energy_driving_kwh", kwh(|sums| sums.driving_j))
        .number("energy_standing_kwh", kwh(|sums| sums.standing_j))
        .number("energy_recovered_kwh", kwh(|sums| sums.recovered_j))
        .number("energy_total_low_kwh", over(false, f64::min))
        .number("energy_total_high_kwh", over(false, f64::max))
        .number("energy_change_low_kwh", over(true, f64::min))
        .number("energy_change_high_kwh", over(true, f64::max))
        .finish()
}
