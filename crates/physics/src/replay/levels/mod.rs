//! Regen levels as a truck's own lift-offs show them. Published beside what the sheet says and never put in its place: a
//! level tuned per truck would close the ledger and hide what is wrong with mass, losses and limits.

mod batch;

use std::collections::BTreeMap;

pub use self::batch::batch;
use super::approaches::SLOWEST_LOG_S;
use super::auxiliaries::Loads;
use super::ledger::Setting;
use super::motion::{Kind, Plan};
use super::track::{PEDAL_HOLD_S, Track, held_any};
use crate::kernels::cascade::LevelChoice;
use crate::kernels::level_fit::{Fitted, LevelFit, fit};
use crate::kernels::road_load::steady_force;
use crate::truck::{self, Blending, LiftOff, PowerBoundary, Sheet, Truck};

/// An accelerator pedal at less than this is released. [1]
const RELEASED: f64 = 0.01;
/// After lifting off, the time a drive takes to bring its force down and regen up. [s] Common practice, no source.
const SETTLES_S: f64 = 1.0;
/// Slower, power over speed says more of the auxiliaries than of regen. [m/s] Common practice, no source.
const LEAST_SPEED_M_S: f64 = 1.0;
/// More than this drawn beyond the auxiliaries, and more than this share of what the road takes, is a cruise control at
/// work and no lift-off; less is noise, or a truck that creeps. [W], [1] Common practice, no source.
const CRUISE_W: f64 = 2e3;
const CRUISE_SHARE: f64 = 0.5;
/// A limit this far above the level's strongest pull does not shape what is measured, noise and all.
/// Common practice, no source.
const CLEAR_OF_LIMITS: f64 = 1.1;
/// Samples, by metres per second, whose median is a pull to compare limits with.
const LEAST_IN_BIN: usize = 10;
const LEAST_SAMPLES: usize = 100;

/// Why there is no fit: the last of the conditions, in their order, that anything met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Lack {
    Slow,
    Level,
    Accelerator,
    Release,
    Brake,
    BrakeUsed,
    Settling,
    Power,
    OtherStore,
    Driven,
    Samples,
    Limits,
}

impl Lack {
    fn as_str(self) -> &'static str {
        match self {
            Lack::Slow => "log too slow",
            Lack::Level => "level unknown",
            Lack::Accelerator => "no accelerator logged",
            Lack::Release => "accelerator never released",
            Lack::Brake => "no brake pedal logged",
            Lack::BrakeUsed => "brake always used",
            Lack::Settling => "released too shortly",
            Lack::Power => "no battery power logged",
            Lack::OtherStore => "another store in the power",
            Lack::Driven => "driven while released",
            Lack::Samples => "too few samples",
            Lack::Limits => "a limit binds",
        }
    }
}

/// One level a vehicle drove with.
#[derive(Debug, Clone)]
pub struct Level {
    name: Option<String>,
    basis: &'static str,
    seen: Seen,
    /// In newtons at the mean mass, or why there is none.
    fit: Result<LevelFit, &'static str>,
    sheet: Option<Stated>,
}

/// A level as the sheet has it, at the mean mass.
#[derive(Debug, Clone, Copy)]
struct Stated {
    lift_off_n: Option<f64>,
    fade_start_m_s: f64,
    fade_end_m_s: f64,
}

/// What the samples used were taken at.
#[derive(Debug, Clone, Copy)]
struct Seen {
    samples: usize,
    seconds: f64,
    mass_kg: Option<f64>,
    effective_mass_kg: f64,
}

/// One instant with both pedals released.
#[derive(Debug, Clone, Copy)]
struct Sample {
    speed_m_s: f64,
    seconds: f64,
    mass_kg: f64,
    effective_mass_kg: f64,
    road_n: f64,
    /// Of regen at the wheels, by the nominal, low and high truck. [N]
    pulls_n: [f64; 3],
    /// What motor and battery would take, by the nominal truck. [N]
    limit_n: f64,
    returned_w: f64,
}

/// Every level the vehicle drove with, by name.
pub fn fits(track: &Track, plan: &Plan, sheet: &Sheet) -> Vec<Level> {
    let braked = held_any(&track.time_ns, &track.pedal, PEDAL_HOLD_S);
    let watch = Watch { track, sheet, braked: &braked };
    let mut groups: BTreeMap<Option<String>, Group> = BTreeMap::new();
    for run in plan.runs.iter().filter(|run| run.kind == Kind::Driving) {
        let knots: Vec<usize> = run.knots.clone().collect();
        for part in knots.chunk_by(|a, b| track.level[*a] == track.level[*b]) {
            let name = level_name(track, part[0], &sheet.nominal);
            groups.entry(name).or_default().read(&watch, part);
        }
    }
    groups.into_iter().map(|(name, group)| group.fit(name, sheet)).collect()
}

/// As the sheet spells it where the sheet has it.
fn level_name(track: &Track, k: usize, truck: &Truck) -> Option<String> {
    let only = (truck.levels.len() == 1).then_some(0);
    match track.name(track.level[k]) {
        Some(name) => Some(match truck.level_named(name) {
            Some(at) => truck.levels[at].name.clone(),
            None => name.trim().to_owned(),
        }),
        None => truck.default_level.or(only).map(|at| truck.levels[at].name.clone()),
    }
}

struct Watch<'a> {
    track: &'a Track,
    sheet: &'a Sheet,
    braked: &'a [Option<bool>],
}

impl Watch<'_> {
    /// Whether both pedals are released.
    fn released(&self, k: usize) -> Result<(), Lack> {
        if self.track.interval_s > SLOWEST_LOG_S {
            return Err(Lack::Slow);
        }
        match self.track.accelerator[k] {
            None => return Err(Lack::Accelerator),
            Some(position) if position >= RELEASED => return Err(Lack::Release),
            Some(_) => {}
        }
        match self.braked[k] {
            Some(true) => Err(Lack::BrakeUsed),
            None if !self.friction_only() => Err(Lack::Brake),
            _ => Ok(()),
        }
    }

    /// Whether the brake pedal, whatever it does, leaves regen as it is.
    fn friction_only(&self) -> bool {
        let trucks = [&self.sheet.nominal, &self.sheet.low, &self.sheet.high];
        trucks.iter().all(|truck| truck.blending == Blending::FrictionOnly)
    }

    /// What regen pulls with at a knot.
    fn sample(&self, k: usize) -> Result<Sample, Lack> {
        let (track, sheet) = (self.track, self.sheet);
        let power_w = track.power[k].ok_or(Lack::Power)?;
        let foreign = track.overhead[k] && sheet.power_boundary == PowerBoundary::Pack;
        if foreign || track.plugged[k] || track.engine_on[k] {
            return Err(Lack::OtherStore);
        }
        let speed_m_s = track.speed[k];
        if track.speed_interpolated[k] || speed_m_s < LEAST_SPEED_M_S {
            return Err(Lack::Samples);
        }
        let setting = Setting::at(track, k, &sheet.nominal);
        let road_n = steady_force(&setting.conditions, speed_m_s, 0.0);
        let aux_w = setting.loads.total_w();
        let returned_w = aux_w - power_w;
        if -returned_w > CRUISE_W.max(CRUISE_SHARE * road_n * speed_m_s) {
            return Err(Lack::Driven);
        }
        let motor_n = |truck: &Truck| truck.motor_force_max_n.min(truck.motor_power_max_w / speed_m_s);
        let most_n = motor_n(&sheet.nominal).max(motor_n(&sheet.high));
        let pull = |truck: &Truck| {
            let returned_w = Loads::at(track, k, truck).total_w() - power_w;
            if returned_w > 0.0 { truck.losses.accepted(most_n, speed_m_s, returned_w).0 } else { 0.0 }
        };
        let acceptance_w = setting.moment(LevelChoice::Best, false).acceptance_w;
        Ok(Sample {
            speed_m_s,
            seconds: track.seconds(k, k + 1),
            mass_kg: setting.conditions.mass_kg,
            effective_mass_kg: setting.conditions.effective_mass_kg(),
            road_n,
            pulls_n: [pull(&sheet.nominal), pull(&sheet.low), pull(&sheet.high)],
            limit_n: sheet.nominal.losses.accepted(motor_n(&sheet.nominal), speed_m_s, acceptance_w + aux_w).0,
            returned_w,
        })
    }
}

/// What was seen of one level.
#[derive(Default)]
struct Group {
    samples: Vec<Sample>,
    lack: Option<Lack>,
    logged: bool,
    unlogged: bool,
}

impl Group {
    /// Reads consecutive knots. A lift-off counts as a whole, by what it returned: picking single samples by their sign
    /// would leave the noise of one side in the fade.
    fn read(&mut self, watch: &Watch<'_>, knots: &[usize]) {
        let named = watch.track.level[knots[0]].is_some();
        self.logged |= named;
        self.unlogged |= !named;
        let mut since = None;
        let mut open: Vec<Sample> = Vec::new();
        for &k in knots {
            if let Err(lack) = watch.released(k) {
                self.lack = self.lack.max(Some(lack));
                self.close(&mut open);
                since = None;
                continue;
            }
            let since = *since.get_or_insert(k);
            let seen =
                if watch.track.seconds(since, k) < SETTLES_S { Err(Lack::Settling) } else { watch.sample(k) };
            match seen {
                Ok(sample) => open.push(sample),
                Err(lack) => self.lack = self.lack.max(Some(lack)),
            }
        }
        self.close(&mut open);
    }

    fn close(&mut self, lift_off: &mut Vec<Sample>) {
        let returned_j: f64 = lift_off.iter().map(|sample| sample.returned_w * sample.seconds).sum();
        if returned_j > 0.0 {
            self.samples.append(lift_off);
        } else if !lift_off.is_empty() {
            self.lack = self.lack.max(Some(Lack::Driven));
            lift_off.clear();
        }
    }

    fn fit(mut self, name: Option<String>, sheet: &Sheet) -> Level {
        let truck = &sheet.nominal;
        let level = name.as_deref().and_then(|name| truck.level_named(name)).map(|at| &truck.levels[at]);
        let basis = match &name {
            None => "unknown",
            Some(_) if self.unlogged => "sheet",
            Some(_) => "logged",
        };
        let before = self.samples.len();
        let strongest_n = strongest(&self.samples);
        self.samples.retain(|sample| sample.limit_n >= CLEAR_OF_LIMITS * strongest_n);
        let mean = |of: fn(&Sample) -> f64| {
            let seconds: f64 = self.samples.iter().map(|sample| sample.seconds).sum();
            let sum: f64 = self.samples.iter().map(|sample| of(sample) * sample.seconds).sum();
            (seconds > 0.0).then(|| sum / seconds)
        };
        let on_sheet = truck.mass_empty_kg + truck.payload_kg + truck.rotating_mass_kg;
        let seen = Seen {
            samples: self.samples.len(),
            seconds: self.samples.iter().map(|sample| sample.seconds).sum(),
            mass_kg: mean(|sample| sample.mass_kg),
            effective_mass_kg: mean(|sample| sample.effective_mass_kg).unwrap_or(on_sheet),
        };
        let fit = match (&name, before) {
            (None, _) => Err(self.lack.map_or(Lack::Level, |lack| lack.min(Lack::Level)).as_str()),
            (_, 0) => Err(self.lack.unwrap_or(Lack::Samples).as_str()),
            (_, few) if few < LEAST_SAMPLES => Err(Lack::Samples.as_str()),
            _ if seen.samples < LEAST_SAMPLES => Err(Lack::Limits.as_str()),
            _ => fitted(&self.samples, truck, seen.effective_mass_kg).ok_or(Lack::Samples.as_str()),
        };
        let road_n = mean(|sample| sample.road_n);
        let sheet = level.map(|level| Stated {
            lift_off_n: sheet_lift_off(level, seen.effective_mass_kg, road_n),
            fade_start_m_s: level.fade_start_m_s,
            fade_end_m_s: level.fade_end_m_s,
        });
        Level { name, basis, seen, fit, sheet }
    }
}

/// The strongest median pull of any speed. [N] What a limit holds down is held down to the limit, so that a limit well
/// above it is one that never bound.
fn strongest(samples: &[Sample]) -> f64 {
    let mut bins: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
    for sample in samples {
        bins.entry(sample.speed_m_s.floor() as i64).or_default().push(sample.pulls_n[0]);
    }
    let median = |mut pulls: Vec<f64>| {
        let middle = pulls.len() / 2;
        *pulls.select_nth_unstable_by(middle, f64::total_cmp).1
    };
    bins.into_values().filter(|pulls| pulls.len() >= LEAST_IN_BIN).map(median).fold(0.0, f64::max)
}

/// Noise by the nominal truck, at the ends of the sheet's losses and auxiliaries. [N], [m/s]
///
/// A level that holds a deceleration pulls a heavier truck harder, so that its pulls are compared per kilogram.
fn fitted(samples: &[Sample], truck: &Truck, effective_mass_kg: f64) -> Option<LevelFit> {
    let by_mass = matches!(truck.levels[0].lift_off, LiftOff::Deceleration { .. });
    let speeds: Vec<f64> = samples.iter().map(|sample| sample.speed_m_s).collect();
    let by = |end: usize| {
        let share = |sample: &Sample| if by_mass { effective_mass_kg / sample.effective_mass_kg } else { 1.0 };
        let pulls: Vec<f64> = samples.iter().map(|sample| sample.pulls_n[end] * share(sample)).collect();
        fit(&speeds, &pulls)
    };
    let same = samples.iter().all(|sample| sample.pulls_n.iter().all(|pull| *pull == sample.pulls_n[0]));
    let nominal = by(0)?;
    let ends = if same { [nominal; 2] } else { [by(1)?, by(2)?] };
    let around = |of: fn(&LevelFit) -> Fitted| Fitted {
        value: of(&nominal).value,
        low: ends.iter().map(|end| of(end).low).fold(of(&nominal).low, f64::min),
        high: ends.iter().map(|end| of(end).high).fold(of(&nominal).high, f64::max),
    };
    Some(LevelFit {
        lift_off: around(|fit| fit.lift_off),
        fade_start_m_s: around(|fit| fit.fade_start_m_s),
        fade_end_m_s: around(|fit| fit.fade_end_m_s),
    })
}

/// What the sheet has regen alone do. [N] `None` where road load is to be taken off and no speed is known.
fn sheet_lift_off(level: &truck::Level, effective_mass_kg: f64, road_n: Option<f64>) -> Option<f64> {
    match level.lift_off {
        LiftOff::Force { n } => Some(n),
        LiftOff::Deceleration { m_s2, includes_road_load: false } => Some(effective_mass_kg * m_s2),
        LiftOff::Deceleration { m_s2, includes_road_load: true } => {
            road_n.map(|road| (effective_mass_kg * m_s2 - road).max(0.0))
        }
    }
}
