//! The same trips under many scenarios at once, read one time: weather, loads and driving that a plan speaks of.

mod batch;
mod driving;
mod window;

use arrow::array::RecordBatch;

use super::model::{Driven, Modelled};
use super::{Change, ROLLING_PER_K};
use crate::kernels::climate::{self, Climate};
use crate::replay::halves::Reconstruction;
use crate::replay::motion::Run;
use crate::replay::track::Track;
use crate::replay::{PhysicsError, ReplaySettings};
use crate::truck::{RollingTemperature, Sheet, Truck};

pub use driving::Driving;
use window::Window;

/// What is other than driven.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    pub name: String,
    pub sheet: Sheet,
    /// A speed cap in it is not looked at: `speed_cap_m_s` is.
    pub change: Change,
    /// No faster than this over the same way, where nothing else is said of the driving.
    pub speed_cap_m_s: Option<f64>,
    /// Every road level.
    pub is_level_road: bool,
    /// Speed and stops of the plan in place of those driven, over the same way.
    pub driving: Option<Driving>,
    /// How the cab follows another temperature where the sheet does not say.
    pub climate: Climate,
    /// Whether the sheet's ends are asked for too: each takes as long as the scenario itself.
    pub has_ends: bool,
}

/// Name of the scenario in which nothing is changed; always the first.
pub const AS_DRIVEN: &str = "as driven";

/// One vehicle's trips under each scenario, the model throughout.
///
/// State of charge stays as logged. Auxiliaries that are logged, or inferred from stops, have the climate of the air they
/// were seen in; under another temperature they move by what the cab's law says of the difference. Bounds as for
/// [`what_if`](super::what_if).
///
/// In a log of more than forty trips two of the eight drives that stand in for each gap between slow samples are taken,
/// which two going round: the noise of that is within what trips and days differ by, and sums over trips have little of it.
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
    let mut runs: Vec<Vec<&Run>> = vec![Vec::new(); drive.plan.trips];
    for run in &drive.plan.runs {
        if let Some(trip) = run.trip {
            runs[trip].push(run);
        }
    }
    let driven = AsDriven::new(sheet, scenarios);
    let is_long = runs.len() > LONG;
    let trips: Vec<Vec<Outcome>> =
        runs.iter().map(|runs| driven.trip(&Window::of(&drive.track, runs, is_long), scenarios)).collect();
    let names: Vec<&str> =
        std::iter::once(AS_DRIVEN).chain(scenarios.iter().map(|of| of.name.as_str())).collect();
    Ok(batch::build(vehicle_id, &names, &trips)?)
}

/// A log of more trips than this is a long one. Ours, no source.
const LONG: usize = 40;

/// A trip under one scenario. [m, J]
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    distance_m: f64,
    driving_s: f64,
    driving_j: f64,
    standing_j: f64,
    recovered_j: f64,
}

impl Sums {
    fn total_j(&self) -> f64 {
        self.driving_j + self.standing_j
    }
}

/// What comes of a trip under one scenario, and how far that may lie from what is believed: below and above, of the
/// whole and of its difference to what was driven, and the same of what came back. [J]
#[derive(Debug, Clone, Copy)]
struct Outcome {
    believed: Sums,
    total: (f64, f64),
    change: (f64, f64),
    recovered: (f64, f64),
    recovered_change: (f64, f64),
}

/// The vehicle as it was driven.
struct AsDriven<'a> {
    sheet: &'a Sheet,
    /// With tyres that follow the temperature, where a scenario changes it and the sheet does not say.
    following: Option<Truck>,
}

impl<'a> AsDriven<'a> {
    fn new(sheet: &'a Sheet, scenarios: &[Scenario]) -> Self {
        let is_asked = scenarios.iter().any(|of| of.has_ends && of.change.temperature.is_some());
        let following = is_asked && sheet.nominal.rolling_temperature.is_none();
        Self { sheet, following: following.then(|| follows(sheet.nominal.clone())) }
    }

    /// As driven first, then each scenario.
    fn trip(&self, window: &Window, scenarios: &[Scenario]) -> Vec<Outcome> {
        let as_driven = |truck: &Truck| Self::sums(window, Driven { track: &window.track, truck }, None);
        let base = as_driven(&self.sheet.nominal);
        let ends = [&self.sheet.low, &self.sheet.high].map(as_driven);
        let following = self.following.as_ref().map(as_driven);
        let mut found = vec![Outcome::new(base, base, ends.into_iter().map(|end| (end, end)))];
        for scenario in scenarios {
            // Most trips of a town never reach a cap.
            if scenario.leaves(window, self.sheet) {
                found.push(Outcome::new(base, base, ends.into_iter().map(|end| (end, end))));
                continue;
            }
            let track = scenario.track(&window.track, self.sheet);
            let run = |truck: &Truck| Self::sums(window, Driven { track: &track, truck }, Some(scenario));
            let mut pairs: Vec<(Sums, Sums)> = Vec::new();
            if scenario.has_ends {
                pairs.extend([&scenario.sheet.low, &scenario.sheet.high].map(run).into_iter().zip(ends));
                if let (Some(_), Some(driven)) = (scenario.change.temperature, following) {
                    pairs.push((run(&follows(scenario.sheet.nominal.clone())), driven));
                }
            }
            found.push(Outcome::new(run(&scenario.sheet.nominal), base, pairs.into_iter()));
        }
        found
    }

    fn sums(window: &Window, driven: Driven<'_>, scenario: Option<&Scenario>) -> Sums {
        let is_level_road = scenario.is_some_and(|of| of.is_level_road);
        let speed_cap_m_s = scenario.and_then(|of| of.speed_cap_m_s);
        let driving = scenario.and_then(|of| of.driving);
        let mut sums = Sums::default();
        for stretch in &window.intervals {
            if stretch.is_driving {
                sums.distance_m += stretch.line.distance_m();
                if driving.is_some() {
                    continue;
                }
            }
            let setting = driven.setting(stretch.knot);
            let mut whole = Modelled::default();
            for step in &window.steps[stretch.steps.clone()] {
                let mut step = *step;
                if is_level_road {
                    step.rise_m = 0.0;
                }
                if let Some(cap_m_s) = speed_cap_m_s {
                    step = step.capped(cap_m_s);
                }
                whole.add(&driven.drive(stretch.knot, &step, &setting, stretch.weight));
            }
            sums.recovered_j += whole.recovered_j;
            if stretch.is_driving {
                sums.driving_s += whole.duration_s;
            }
            *(if stretch.is_driving { &mut sums.driving_j } else { &mut sums.standing_j }) += whole.net_j;
        }
        if let Some(driving) = driving {
            driving.drive(driven, window, is_level_road, &mut sums);
        }
        sums
    }
}

fn follows(truck: Truck) -> Truck {
    let law = RollingTemperature { per_k: ROLLING_PER_K, reference_k: 298.15 };
    Truck { rolling_temperature: Some(law), ..truck }
}

impl Outcome {
    /// Least and most over the ends, each a pair of scenario and driven, what is believed among them.
    fn new(believed: Sums, base: Sums, ends: impl Iterator<Item = (Sums, Sums)>) -> Self {
        let none = (0.0, 0.0);
        let mut outcome = Self { believed, total: none, change: none, recovered: none, recovered_change: none };
        let widen = |of: &mut (f64, f64), by: f64| *of = (of.0.min(by), of.1.max(by));
        for (end, driven) in ends {
            let total_j = end.total_j() - believed.total_j();
            let back_j = end.recovered_j - believed.recovered_j;
            widen(&mut outcome.total, total_j);
            widen(&mut outcome.change, total_j - (driven.total_j() - base.total_j()));
            widen(&mut outcome.recovered, back_j);
            widen(&mut outcome.recovered_change, back_j - (driven.recovered_j - base.recovered_j));
        }
        outcome
    }
}

impl Scenario {
    /// Whether a trip is driven as it was: all that is asked for is a cap, and no step is faster.
    fn leaves(&self, window: &Window, sheet: &Sheet) -> bool {
        let is_slow =
            |cap: f64| window.steps.iter().all(|step| step.speed_start_m_s <= cap && step.speed_end_m_s <= cap);
        self.speed_cap_m_s.is_some_and(is_slow)
            && self.has_ends
            && !self.is_level_road
            && self.driving.is_none()
            && self.change == Change::default()
            && self.sheet == *sheet
    }

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
