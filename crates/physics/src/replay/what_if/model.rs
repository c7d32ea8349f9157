//! The model over all trips of one side, state of charge carried along.

use super::Pair;
use crate::kernels::cascade::{self, LevelChoice};
use crate::kernels::filling::DRAWS;
use crate::kernels::losses;
use crate::kernels::road_load::{self, Interval};
use crate::replay::ledger::{self, Setting};
use crate::replay::motion::{Kind, Plan};
use crate::replay::track::{GradeBasis, Track};
use crate::truck::Truck;

/// One side of the comparison.
pub struct Side {
    pub truck: Truck,
    pub capacity_j: Option<f64>,
    pub track: Track,
}

/// A trip as modelled. [J, s]
#[derive(Debug, Clone, Copy, Default)]
pub struct Modelled {
    pub duration_s: f64,
    pub tractive_j: f64,
    pub braking_j: f64,
    pub recovered_j: f64,
    pub aux_j: f64,
    pub net_j: f64,
    pub infeasible_s: f64,
    pub soc_end: Option<f64>,
    pub soc_least: Option<f64>,
}

/// A rise of this much while parked or while nothing was logged is a charge, and puts state of charge back to what was
/// logged.
const CHARGE: f64 = 0.02;
/// Demand this far beyond the limits is beyond rounding.
const BEYOND: f64 = 1.001;

/// Most a motor is known to give at the wheels: what the sheet says, or more where more was driven.
#[derive(Clone, Copy)]
struct Limits {
    force_n: f64,
    power_w: f64,
}

/// One interval of a trip, on both sides.
pub struct Step<'a> {
    pub knot: usize,
    pub trip: usize,
    pub driven: &'a Modelled,
    pub changed: &'a Modelled,
    /// State of charge of the changed side at its end.
    pub soc_end_changed: Option<f64>,
}

/// Every trip on both sides. The changed side's state of charge is the driven side's, shifted by what the change saved.
pub fn run(plan: &Plan, driven: &mut Side, changed: &mut Side) -> Vec<Pair> {
    run_watched(plan, driven, changed, &mut |_| {})
}

/// The same, showing each interval of a trip as it is booked.
pub fn run_watched(
    plan: &Plan,
    driven: &mut Side,
    changed: &mut Side,
    watch: &mut dyn FnMut(&Step<'_>),
) -> Vec<Pair> {
    let mut pairs = vec![Pair::default(); plan.trips];
    let limits = limits(plan, driven);
    let (mut saved_j, mut parked_at): (f64, Option<f64>) = (0.0, None);
    for run in &plan.runs {
        let grade = driven.track.spans[run.span].grade;
        let now = driven.track.soc[if run.kind == Kind::Parked { run.knots.end } else { run.knots.start }];
        if parked_at.zip(now).is_some_and(|(before, now)| now - before > CHARGE) {
            saved_j = 0.0;
        }
        for k in run.knots.clone() {
            carry(driven, changed, k, saved_j);
            let (before, after) = (driven.step(k, grade), changed.step(k, grade));
            if let Some(trip) = run.trip {
                pairs[trip].0.add(&before);
                pairs[trip].1.add(&after);
                pairs[trip].1.infeasible_s += changed.infeasible(k, grade, limits);
                pairs[trip].0.at(driven.track.soc[k + 1]);
                carry(driven, changed, k + 1, saved_j + before.net_j - after.net_j);
                pairs[trip].1.at(changed.track.soc[k + 1]);
                let soc_end_changed = changed.capacity_j.and(driven.capacity_j).and(changed.track.soc[k + 1]);
                watch(&Step { knot: k, trip, driven: &before, changed: &after, soc_end_changed });
            }
            saved_j += before.net_j - after.net_j;
        }
        parked_at = driven.track.soc[run.knots.end].or(parked_at);
    }
    pairs
}

/// State of charge of the changed side at a knot.
fn carry(driven: &Side, changed: &mut Side, k: usize, saved_j: f64) {
    let (Some(old), Some(new)) = (driven.capacity_j, changed.capacity_j) else { return };
    if let Some(soc) = driven.track.soc[k] {
        // As much energy is gone from the full battery as before, less what was saved.
        changed.track.soc[k] = Some((1.0 - (1.0 - soc) * old / new + saved_j / new).clamp(0.0, 1.0));
    }
}

impl Modelled {
    pub(super) fn add(&mut self, other: &Modelled) {
        self.duration_s += other.duration_s;
        self.tractive_j += other.tractive_j;
        self.braking_j += other.braking_j;
        self.recovered_j += other.recovered_j;
        self.aux_j += other.aux_j;
        self.net_j += other.net_j;
    }

    fn at(&mut self, soc: Option<f64>) {
        self.soc_end = soc;
        self.soc_least = self.soc_least.into_iter().chain(soc).min_by(f64::total_cmp);
    }
}

impl Side {
    /// One interval, from knot `k` to the next; the mean over draws where the speed in between was imputed.
    pub(super) fn step(&self, k: usize, grade: GradeBasis) -> Modelled {
        let setting = Setting::at(&self.track, k, &self.truck);
        let Some(paths) = self.track.between.as_ref().and_then(|between| between.at(k)) else {
            return self.drive(k, &ledger::interval(&self.track, k, grade), &setting, 1.0);
        };
        let mut mean = Modelled::default();
        for step in paths.steps(&self.track, k, grade).iter().flatten() {
            mean.add(&self.drive(k, step, &setting, 1.0 / DRAWS as f64));
        }
        mean
    }

    fn drive(&self, k: usize, interval: &Interval, setting: &Setting, weight: f64) -> Modelled {
        Driven { track: &self.track, truck: &self.truck }.drive(k, interval, setting, weight)
    }

    /// Greatest force and power at the wheels over an interval, positive forwards.
    fn demand(&self, k: usize, grade: GradeBasis) -> Limits {
        let conditions = ledger::conditions(&self.track, k, &self.truck);
        let interval = ledger::interval(&self.track, k, grade);
        let law = road_load::force_law(&conditions, &interval);
        let ends = [interval.speed_start_m_s, interval.speed_end_m_s];
        let most = |of: &dyn Fn(f64) -> f64| ends.iter().map(|speed| of(*speed)).fold(0.0, f64::max);
        Limits { force_n: most(&|speed| law.at(speed)), power_w: most(&|speed| law.at(speed) * speed) }
    }

    fn infeasible(&self, k: usize, grade: GradeBasis, limits: Limits) -> f64 {
        let asked = self.demand(k, grade);
        let beyond = asked.force_n > BEYOND * limits.force_n || asked.power_w > BEYOND * limits.power_w;
        if beyond { self.track.seconds(k, k + 1) } else { 0.0 }
    }
}

/// A truck on a track: all that a stretch of road asks for.
#[derive(Clone, Copy)]
pub(super) struct Driven<'a> {
    pub track: &'a Track,
    pub truck: &'a Truck,
}

impl Driven<'_> {
    pub fn setting(&self, k: usize) -> Setting {
        Setting::at(self.track, k, self.truck)
    }

    /// A stretch of linear speed within the interval from knot `k`, times a weight.
    pub fn drive(&self, k: usize, interval: &Interval, setting: &Setting, weight: f64) -> Modelled {
        let Self { track, truck } = *self;
        let road = road_load::integrate(&setting.conditions, interval);
        let drawn = losses::drawn(&truck.losses, &setting.conditions, interval, &road);
        let aux_j = setting.loads.total_w() * interval.duration_s;
        let cascade = road.braking_part.map(|part| {
            let level = ledger::level_at(track, k, truck).unwrap_or_else(|| truck.stand_in_level());
            let pedal_used = ledger::pedal_at(track, k).unwrap_or(true);
            let moment = setting.moment(LevelChoice::Set(level), pedal_used);
            cascade::integrate(truck, &setting.conditions, interval, part, &moment)
        });
        let cascade = cascade.unwrap_or_default();
        Modelled {
            duration_s: interval.duration_s * weight,
            tractive_j: road.tractive_j * weight,
            braking_j: road.braking_j * weight,
            recovered_j: cascade.recoverable_j * weight,
            aux_j: aux_j * weight,
            net_j: (drawn.energy_j + aux_j - cascade.bus_j()) * weight,
            ..Modelled::default()
        }
    }
}

fn limits(plan: &Plan, driven: &Side) -> Limits {
    let mut most = Limits { force_n: driven.truck.motor_force_max_n, power_w: driven.truck.motor_power_max_w };
    for run in plan.runs.iter().filter(|run| run.kind == Kind::Driving) {
        let grade = driven.track.spans[run.span].grade;
        for k in run.knots.clone() {
            let asked = driven.demand(k, grade);
            most.force_n = most.force_n.max(asked.force_n);
            most.power_w = most.power_w.max(asked.power_w);
        }
    }
    most
}
