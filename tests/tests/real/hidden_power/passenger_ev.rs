//! Passenger EV, 25 sound trips of two seasons, each season a pilot of its own.

use std::sync::LazyLock;

use rayon::prelude::*;

use super::coarser::{Coarser, logs};
use super::score::{Coverage, Scored};
use crate::passenger_ev::{DAMAGED, DATA, VEHICLE, WHOLE};
use crate::set::{pilot_without, present, shared_file};

pub const STEPS_PCT: [f64; 3] = [0.1, 0.5, 1.0];
pub const INTERVALS_S: [f64; 4] = [1.0, 5.0, 10.0, 30.0];

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Season {
    Summer,
    Winter,
}

impl Season {
    pub const BOTH: [Season; 2] = [Season::Summer, Season::Winter];

    fn has(self, file: &str) -> bool {
        let begins = if self == Season::Summer { "TripA" } else { "TripB" };
        file.starts_with(begins) && file != DAMAGED
    }
}

/// One derived pilot and how it scored.
pub struct Case {
    pub season: Season,
    pub step_pct: f64,
    pub interval_s: f64,
    pub scored: Scored,
}

const HIDE: Coarser<'static> = Coarser {
    delimiter: b';',
    hidden: &["Battery Voltage", "Battery Current"],
    soc: &["SoC [%]"],
    soc_step: None,
    every: Some(("Time [s]", 1.0)),
};

/// All cases, where the data set is.
pub static CASES: LazyLock<Option<Vec<Case>>> = LazyLock::new(|| {
    let measured = WHOLE.as_ref()?;
    let truth = |file: &str| measured.file_sum(VEHICLE, file, "energy_recovered_kwh");
    let folder = shared_file(DATA, "SANITY.csv").parent().expect("a folder").to_owned();
    // Every interval is made of whole seconds, so one copy each second serves all.
    let seconds: Vec<(String, Vec<u8>)> = logs(&folder, |name| Season::BOTH.iter().any(|season| season.has(name)))
        .into_par_iter()
        .map(|(name, log)| (name, HIDE.of(&log)))
        .collect();
    let pilot = pilot_without("passenger-ev", &["pack_voltage", "pack_current"]);
    let mut plans = Vec::new();
    for interval_s in INTERVALS_S {
        for step_pct in STEPS_PCT {
            plans.extend(Season::BOTH.map(|season| (season, step_pct, interval_s)));
        }
    }
    let run = |(season, step_pct, interval_s): (Season, f64, f64)| {
        let place = tempfile::tempdir().expect("a temporary folder");
        let coarser = Coarser { soc_step: Some(step_pct), every: Some(("Time [s]", interval_s)), ..HIDE };
        for (name, log) in seconds.iter().filter(|(name, _)| season.has(name)) {
            std::fs::write(place.path().join(name), coarser.of(log)).expect("the copy can be written");
        }
        let scored = Scored::run(&pilot, place.path(), VEHICLE, &truth);
        Case { season, step_pct, interval_s, scored }
    };
    Some(plans.into_iter().map(run).collect())
});

#[test]
fn passenger_ev_hidden() {
    if present(&WHOLE, "hidden_power", DATA).is_none() {
        return;
    }
    let cases = CASES.as_ref().expect("the data set is there");
    for case in cases {
        let whole = &case.scored.whole;
        let c = case.scored.coverage();
        println!(
            "{:?} {} % {} s: measured {:.3}, inferred {:.3?}, error {:?}, {}, claimed {:.2}; trips {}/{}/{} p {:.3}",
            case.season, case.step_pct, case.interval_s, whole.measured_kwh, whole.inferred_kwh, whole.error_frac().map(|e| (e*1000.0).round()/10.0),
            whole.evidence, case.scored.claimed_frac, c.held, c.claimed, c.trips, c.p_value()
        );
        if case.interval_s == 1.0 {
            for (name, before, after, half) in &case.scored.learned {
                println!("     {name}: {before:.3} -> {after:.3} +- {half:.3}");
            }
            for t in &case.scored.trips {
                println!("     {} {:.3} {:.3?} {}", t.name, t.measured_kwh, t.inferred_kwh, t.evidence);
            }
        }
    }
}
