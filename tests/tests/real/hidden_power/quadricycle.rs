//! Quadricycle: the state of charge has steps of 0.02 %, and the same rounded.

use std::sync::LazyLock;

use super::coarser::{Coarser, logs};
use super::score::{Answer, nothing_is_measured};
use crate::quadricycle::{DATA, VEHICLE};
use crate::set::{Set, figure, pilot_without, sanity, shared_file};
use backwatt_testkit::{shared, skipped};

/// "about 6.1 kWh; not stated in the dataset" (data README). [kWh]
const PACK_KWH: f64 = 6.1;
/// The log's own steps are 0.02 %. [%]
const STEPS_PCT: [f64; 4] = [0.02, 0.1, 0.5, 1.0];

pub struct Case {
    pub step_pct: f64,
    pub answer: Answer,
    /// Braking energy at the wheels. [kWh]
    pub braking_kwh: f64,
}

pub static CASES: LazyLock<Option<Vec<Case>>> = LazyLock::new(|| {
    shared(&format!("data/{DATA}"))?;
    let pilot = pilot_without("quadricycle", &[]);
    let folder = shared_file(DATA, "SANITY.csv").parent().expect("a folder").to_owned();
    let logs = logs(&folder, |name| name.starts_with('T') && name.ends_with(".csv"));
    let run = |step_pct: f64| {
        let coarser = Coarser {
            delimiter: b',',
            hidden: &[],
            soc: &["Soc", "SoC"],
            soc_step: (step_pct > 0.02).then_some(step_pct),
            every: None,
        };
        let place = tempfile::tempdir().expect("a temporary folder");
        for (name, log) in &logs {
            std::fs::write(place.path().join(name), coarser.of(log)).expect("the copy can be written");
        }
        let set = Set::run_text(&pilot, place.path());
        nothing_is_measured(&set);
        let braking_kwh = set.answer("vehicle", VEHICLE, "energy_braking_kwh").expect("a claim");
        Case { step_pct, answer: Answer::of(&set, "vehicle", VEHICLE), braking_kwh }
    };
    Some(STEPS_PCT.into_iter().map(run).collect())
});

/// "Recovered energy = sum of SoC rises while moving x usable capacity" (data README). Steps swallow what rises by less than
/// one, and the pack is not stated: an order of size, no truth. [kWh]
pub fn rises_kwh() -> f64 {
    sanity(DATA).iter().map(|row| figure(row, "soc_sum_up_moving") / 100.0 * PACK_KWH).sum()
}

/// Coarse steps leave less certain, not other, figures: each interval holds what the finest steps say.
#[test]
fn quadricycle_does_not_hang_on_the_step() {
    let Some(cases) = CASES.as_ref() else { return skipped("hidden_power", &format!("data/{DATA}")) };
    let of = |case: &Case| case.answer.inferred_kwh.expect("1 Hz is fast enough for a claim");
    let finest = of(&cases[0]);
    for case in cases {
        let [low, middle, high] = of(case);
        println!(
            "quadricycle, steps of {} %: {low:.3} to {high:.3}, {middle:.3} of {:.3} kWh braked, {}",
            case.step_pct, case.braking_kwh, case.answer.evidence
        );
        assert!((low..=high).contains(&finest[1]), "{finest:?} kWh from 0.02 %, {:?}", of(case));
        assert!(middle <= case.braking_kwh, "{middle} kWh of {} kWh braked", case.braking_kwh);
    }
}
