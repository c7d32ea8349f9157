//! One long trip logged every 5.2 s: pack voltage and current hidden, auxiliaries left as logged.

use std::sync::LazyLock;

use super::coarser::{Coarser, logs};
use super::score::{Answer, nothing_is_measured};
use crate::set::{Set, pilot_without, present, shared_file};
use crate::slow_log::{DATA, VEHICLE, WHOLE};

/// Steps of the state of charge; the log's own are 0.0001 %. [%]
const STEPS_PCT: [Option<f64>; 3] = [None, Some(0.1), Some(1.0)];
/// The column counts ten-thousandths of a percent.
const PER_PCT: f64 = 1e4;

pub struct Case {
    pub step_pct: Option<f64>,
    pub answer: Answer,
    /// Net use over distance, and its 90 % interval. [kWh/mi]
    pub use_kwh_mi: [f64; 3],
}

/// What the samples leave open of recovered energy, its middle and net use. [kWh, kWh/mi]
pub struct Truth {
    pub recovered_kwh: [f64; 3],
    pub use_kwh_mi: f64,
}

pub fn truth() -> Option<Truth> {
    let set = WHOLE.as_ref()?;
    let known = |column: &str| set.answer("vehicle", VEHICLE, column).expect("power is logged");
    let net = set.segments.sum("energy_discharged_kwh") - set.segments.sum("energy_recovered_kwh");
    Some(Truth {
        recovered_kwh: ["p05", "p50", "p95"].map(|end| known(&format!("energy_recovered_{end}_kwh"))),
        use_kwh_mi: net / known("distance_mi"),
    })
}

pub static CASES: LazyLock<Option<Vec<Case>>> = LazyLock::new(|| {
    WHOLE.as_ref()?;
    let pilot = pilot_without("slow-log", &["pack_voltage", "pack_current"]);
    let folder = shared_file(DATA, "SANITY.csv").parent().expect("a folder").to_owned();
    let (name, log) = logs(&folder, |name| name == "Log.csv").remove(0);
    let run = |step_pct: Option<f64>| {
        let coarser = Coarser {
            delimiter: b',',
            hidden: &["Pack Volts", "Pack Amps"],
            soc: &["SOC"],
            soc_step: step_pct.map(|step| step * PER_PCT),
            every: None,
        };
        let place = tempfile::tempdir().expect("a temporary folder");
        std::fs::write(place.path().join(&name), coarser.of(&log)).expect("the copy can be written");
        let set = Set::run_text(&pilot, place.path());
        nothing_is_measured(&set);
        let used = |end: &str| set.answer("vehicle", VEHICLE, &format!("consumption{end}_kwh_mi"));
        let use_kwh_mi = ["_p05", "", "_p95"].map(|end| used(end).expect("state of charge is logged"));
        Case { step_pct, answer: Answer::of(&set, "vehicle", VEHICLE), use_kwh_mi }
    };
    Some(STEPS_PCT.into_iter().map(run).collect())
});

/// Every 5.2 s is too slow for a claim about braking, unless the way between is filled in; what was used is told
/// all the same.
#[test]
fn slow_log_tells_what_was_used() {
    if present(&WHOLE, "hidden_power", DATA).is_none() {
        return;
    }
    let truth = truth().expect("the log is there");
    for case in CASES.iter().flatten() {
        let [low, middle, high] = case.use_kwh_mi;
        println!(
            "slow log, steps of {:?} %: {low:.4} to {high:.4}, {middle:.4} kWh/mi; measured {:.4}; {:?}",
            case.step_pct, truth.use_kwh_mi, case.answer
        );
        assert!(
            (low..=high).contains(&truth.use_kwh_mi),
            "{low} to {high} kWh/mi, {} measured",
            truth.use_kwh_mi
        );
    }
}
