//! The library that speeds between slow samples are drawn from: the fleet's own faster trucks, else standard cycles.

use std::sync::{Arc, LazyLock};

use backwatt_physics::{Library, Origin, ReplaySettings, SpeedReading, Trace, is_fast, speed_traces};
use backwatt_store::Layout;
use rayon::prelude::*;

use crate::BackwattError;
use crate::stages::{Typed, read_columns};

/// All that traces of a log need.
const COLUMNS: [&str; 4] = ["time_ns", "speed_m_s", "mask_frozen", "regen_level"];
/// Driving kept of the whole fleet: beyond, nothing is matched better, and the windows of each length cost memory. [h]
const MOST_H: f64 = 60.0;
/// With less of its own driving the fleet is filled from the cycles. [h] Common practice, no source.
const LEAST_H: f64 = 3.0;

/// The cycles of 40 CFR part 86, appendix I(a), and part 600, appendix I: see fixtures/reference/cycles/CARD.md. The
/// WLTC's table at hand is licensed otherwise.
static STANDARD: LazyLock<Arc<Library>> = LazyLock::new(|| {
    let cycles = [
        include_str!("../../../fixtures/reference/cycles/udds.csv"),
        include_str!("../../../fixtures/reference/cycles/hwfet.csv"),
    ];
    let name = "standard cycles UDDS, HWFET".to_owned();
    Arc::new(Library::new(name, Origin::StandardCycles, &cycles.map(|table| speeds_of(table).into())))
});

/// The library of the standard cycles.
pub fn standard_library() -> Arc<Library> {
    Arc::clone(&STANDARD)
}

/// The last column of a cycle's table, below its comments and its header. [m/s]
fn speeds_of(table: &str) -> Vec<f64> {
    table.lines().filter_map(|line| line.rsplit(',').next()?.parse().ok()).collect()
}

/// The settings of the replay with the library that its slow logs need, if any is slow.
///
/// The same whatever the order of vehicles, files or threads: traces are taken in the order of the vehicles' names,
/// and of each vehicle every so many, so that none fills the library alone.
pub fn with_library(
    settings: &ReplaySettings,
    layout: &Layout,
    vehicles: &[Typed<'_>],
) -> Result<ReplaySettings, BackwattError> {
    if settings.speed == SpeedReading::AsLogged {
        return Ok(settings.clone());
    }
    let mut vehicles: Vec<&Typed<'_>> = vehicles.iter().collect();
    vehicles.sort_unstable_by_key(|(name, ..)| *name);
    let speeds = |name: &str| read_columns(layout, name, Some(&COLUMNS));
    let fast = |(name, ..): &&Typed<'_>| Ok::<_, BackwattError>(is_fast(&speeds(name)?)?);
    let are_fast = vehicles.par_iter().map(fast).collect::<Result<Vec<bool>, _>>()?;
    if !are_fast.contains(&false) {
        return Ok(settings.clone());
    }
    let fast: Vec<_> = vehicles.into_iter().zip(&are_fast).filter(|(_, fast)| **fast).collect();
    let most_s = MOST_H * 3600.0 / fast.len().max(1) as f64;
    let traces = |((name, _, of), _): &(&Typed<'_>, _)| {
        let traces = speed_traces(name, &speeds(name)?, &of.sheet.nominal, settings)?;
        Ok::<_, BackwattError>(some_of(traces, most_s))
    };
    let traces = fast.par_iter().map(traces).collect::<Result<Vec<_>, _>>()?;
    let driving = traces.iter().filter(|traces| !traces.is_empty()).count();
    let traces: Vec<Trace> = traces.into_iter().flatten().collect();
    let hours = seconds(&traces) / 3600.0;
    let library = if hours >= LEAST_H {
        let vehicles = if driving == 1 { "vehicle" } else { "vehicles" };
        let name = format!("own fleet, {driving} {vehicles}, {hours:.0} h");
        Arc::new(Library::new(name, Origin::OwnFleet, &traces))
    } else {
        standard_library()
    };
    Ok(ReplaySettings { library: Some(library), ..settings.clone() })
}

fn seconds(traces: &[Trace]) -> f64 {
    traces.iter().map(|trace| trace.speeds.len()).sum::<usize>() as f64
}

/// Every so many of a vehicle's traces that about `most_s` seconds are left, spread over its whole time.
fn some_of(traces: Vec<Trace>, most_s: f64) -> Vec<Trace> {
    let every = (seconds(&traces) / most_s).ceil().max(1.0) as usize;
    traces.into_iter().step_by(every).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published lengths: 1,369 s and 765 s, each beginning at second 0.
    #[test]
    fn the_cycles_are_whole() {
        assert!((STANDARD.hours() * 3600.0 - f64::from(1370 + 766)).abs() < 1e-6);
        assert_eq!(STANDARD.name(), "standard cycles UDDS, HWFET");
    }

    #[test]
    fn a_vehicle_keeps_its_share_and_no_more() {
        let traces = vec![Trace::from(vec![1.0; 600]); 30];
        assert_eq!(some_of(traces.clone(), 1e9).len(), 30);
        assert_eq!(some_of(traces, 6000.0).len(), 10);
    }
}
