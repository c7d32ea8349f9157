//! One long trip logged every 5.2 s: pack voltage and current hidden, auxiliaries left as logged.

use std::sync::LazyLock;

use backwatt_testkit::within;

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

/// Recovered energy at the sensor's word, between the ends that the samples leave open, and net use. [kWh, kWh/mi]
pub struct Truth {
    pub recovered_kwh: [f64; 2],
    pub use_kwh_mi: f64,
}

pub fn truth() -> Option<Truth> {
    let set = WHOLE.as_ref()?;
    let sum = |column: &str| set.segments.sum(column);
    let distance_mi = set.answer("vehicle", VEHICLE, "distance_mi").expect("it drove");
    Some(Truth {
        recovered_kwh: [sum("energy_recovered_kwh"), sum("energy_recovered_high_kwh")],
        use_kwh_mi: (sum("energy_discharged_kwh") - sum("energy_recovered_kwh")) / distance_mi,
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

/// Net use against measured. [1] Found 4 to 6 % too much; at steps of 1 % the interval begins 0.6 % above.
const USED: f64 = 0.1;

/// Every 5.2 s braking hides between the samples: what is claimed of it, if anything, must meet what they leave open.
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
        within("net use kWh/mi", middle, truth.use_kwh_mi, USED);
        if let Some([low, _, high]) = case.answer.inferred_kwh {
            let [least, most] = truth.recovered_kwh;
            assert!(low <= most && least <= high, "{low} to {high} kWh inferred, {least} to {most} measured");
        }
    }
}
