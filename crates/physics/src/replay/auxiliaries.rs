//! What the battery feeds beside the drive: as logged, inferred from standing, modelled, or as the sheet says.

use std::collections::BTreeMap;

use super::motion::{Kind, Plan};
use super::track::Track;
use crate::kernels::climate;
use crate::truck::{PowerBoundary, Truck};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AuxBasis {
    Logged,
    LoggedAndModel,
    Standing,
    Model,
    Sheet,
}

impl AuxBasis {
    pub fn as_str(self) -> &'static str {
        match self {
            AuxBasis::Logged => "logged",
            AuxBasis::LoggedAndModel => "logged and model",
            AuxBasis::Standing => "standing",
            AuxBasis::Model => "model",
            AuxBasis::Sheet => "sheet",
        }
    }
}

/// Auxiliary loads at a knot. [W] What is `None` is unknown, and lies in the base if it is drawn at all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loads {
    pub base_w: f64,
    pub cab_w: Option<f64>,
    pub battery_w: Option<f64>,
    pub refrigeration_w: Option<f64>,
    pub basis: AuxBasis,
}

impl Loads {
    pub fn at(track: &Track, k: usize, truck: &Truck) -> Self {
        let standing = track.aux_standing.get(k).copied().flatten();
        // What a truck draws at a stop has the climate of its cab in it.
        let inferred = track.aux[k].is_none() && standing.is_some();
        let model = truck.climate.filter(|_| track.cab[k].is_none() && !inferred);
        let modelled = model.zip(track.ambient[k]).map(|(cab, ambient)| climate::power(&cab, ambient));
        let basis = match (track.aux[k], inferred, modelled) {
            (Some(_), _, None) => AuxBasis::Logged,
            (Some(_), _, Some(_)) => AuxBasis::LoggedAndModel,
            (None, true, _) => AuxBasis::Standing,
            (None, false, Some(_)) => AuxBasis::Model,
            (None, false, None) => AuxBasis::Sheet,
        };
        Self {
            base_w: track.aux[k].or(standing).unwrap_or(truck.aux_power_w),
            cab_w: track.cab[k].or(modelled),
            battery_w: track.battery_thermal[k],
            refrigeration_w: track.refrigeration[k],
            basis,
        }
    }

    pub fn total_w(&self) -> f64 {
        self.base_w + self.parts().iter().flatten().sum::<f64>()
    }

    fn parts(&self) -> [Option<f64>; 3] {
        [self.cab_w, self.battery_w, self.refrigeration_w]
    }
}

/// Width of a band of outside temperature. [K]
const BAND_K: f64 = 5.0;
/// Standing time a band needs, and how many bands further on its figure may still be used. Common practice, no source.
const BAND_LEAST_S: f64 = 120.0;
const BAND_REACH: i64 = 2;
/// Share of the time left out at either end of the powers seen. Common practice, no source.
const TRIMMED: f64 = 0.1;

/// Standing time of one kind by bands of temperature; `None` where the temperature is unknown.
type Bands = BTreeMap<(bool, Option<i64>), Vec<(f64, f64)>>;

/// Base load of each knot, inferred from battery power at stops; empty where none is measured.
///
/// A truck that stands unplugged gives its battery power to auxiliaries alone. Their trimmed mean over time, less what
/// is logged of them, stands for the driving in the same band of temperature. A mean, because a compressor that runs
/// half of the time has no middle; trimmed, because a lift gate or the last of the drive is no auxiliary. Parked and
/// stopping are kept apart: a truck switched off says nothing about one that drives.
pub fn infer(track: &Track, plan: &Plan, boundary: PowerBoundary) -> Vec<Option<f64>> {
    let mut bands = Bands::new();
    for run in plan.runs.iter().filter(|run| run.kind != Kind::Driving) {
        for k in run.knots.clone() {
            if let Some(rest_w) = standing_power(track, k, boundary) {
                let key = (run.kind == Kind::Parked, band(track, k));
                bands.entry(key).or_default().push((rest_w, track.seconds(k, k + 1)));
            }
        }
    }
    let means: BTreeMap<_, f64> =
        bands.into_iter().filter_map(|(key, powers)| Some((key, trimmed_mean(powers)?))).collect();
    if means.is_empty() {
        return Vec::new();
    }
    let mut base = vec![None; track.time_ns.len()];
    for run in &plan.runs {
        for k in run.knots.clone() {
            // At the plug a truck draws what nobody sees.
            base[k] =
                if track.plugged[k] { None } else { nearest(&means, run.kind == Kind::Parked, band(track, k)) };
        }
    }
    base
}

/// Battery power less the auxiliaries logged, where a stop shows it and the base is not logged itself. [W]
fn standing_power(track: &Track, k: usize, boundary: PowerBoundary) -> Option<f64> {
    let foreign = track.overhead[k] && boundary == PowerBoundary::Pack;
    if track.plugged[k] || track.engine_on[k] || foreign || track.aux[k].is_some() {
        return None;
    }
    let (start_w, end_w) = track.power[k].zip(track.power[k + 1])?;
    let logged = [track.cab[k], track.battery_thermal[k], track.refrigeration[k]].iter().flatten().sum::<f64>();
    // An inflow at standstill is a charge.
    (start_w >= 0.0 && end_w >= 0.0).then(|| (f64::midpoint(start_w, end_w) - logged).max(0.0))
}

fn band(track: &Track, k: usize) -> Option<i64> {
    track.ambient[k].map(|ambient| (ambient / BAND_K).floor() as i64)
}

fn nearest(means: &BTreeMap<(bool, Option<i64>), f64>, parked: bool, band: Option<i64>) -> Option<f64> {
    let Some(band) = band else { return means.get(&(parked, None)).copied() };
    let around = (0..=BAND_REACH).flat_map(|step| [band.saturating_sub(step), band.saturating_add(step)]);
    around.into_iter().find_map(|band| means.get(&(parked, Some(band))).copied())
}

/// Mean over time of powers, their least and greatest tenth of the time left out.
fn trimmed_mean(mut powers: Vec<(f64, f64)>) -> Option<f64> {
    powers.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total_s: f64 = powers.iter().map(|(_, seconds)| seconds).sum();
    if total_s < BAND_LEAST_S {
        return None;
    }
    let (from, to) = (TRIMMED * total_s, (1.0 - TRIMMED) * total_s);
    let (mut at, mut energy) = (0.0, 0.0);
    for (power, seconds) in powers {
        energy += power * ((at + seconds).min(to) - at.max(from)).max(0.0);
        at += seconds;
    }
    Some(energy / (to - from))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_of_what_runs_half_of_the_time_and_no_lift_gate() {
        let powers = |gate: f64| {
            let half = (0..100).map(|i| (if i % 2 == 0 { 400.0 } else { 2400.0 }, 10.0));
            half.chain([(gate, 30.0)]).collect::<Vec<_>>()
        };
        let mean = trimmed_mean(powers(30_000.0)).unwrap();
        assert!((mean - 1400.0).abs() < 60.0, "{mean}");
        assert_eq!(trimmed_mean(vec![(500.0, 60.0)]), None, "a minute is no pattern");
    }

    #[test]
    fn a_band_lends_to_its_neighbours_only() {
        let means = BTreeMap::from([((false, Some(54)), 900.0), ((true, Some(54)), 30.0)]);
        assert_eq!(nearest(&means, false, Some(56)), Some(900.0));
        assert_eq!(nearest(&means, true, Some(54)), Some(30.0));
        assert_eq!(nearest(&means, false, Some(57)), None);
        assert_eq!(nearest(&means, false, None), None);
    }
}
