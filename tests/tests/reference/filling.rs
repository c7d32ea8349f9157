//! Group F turned round again: what the speed drawn between slow samples is worth.
//!
//! Standard cycles are the truth; each is thinned as in F5 and filled from the others. They are the worst library a pilot
//! can have: other vehicles on other roads, 26 to 54 minutes of them.

use std::sync::Arc;

use backwatt_physics::{Library, Origin, ReplaySettings};
use backwatt_schema::tables;
use backwatt_testkit::within;

use crate::batches::numbers;
use crate::drive::{Drive, TRUCK, Totals};
use crate::tables::{cycle, in_m_s, wltc_km_h};

/// Places of the first sample that are averaged over.
const STARTS: usize = 5;

struct Refilled {
    /// Braking energy over that of every second: lines between the samples, and drawn.
    line: f64,
    drawn: f64,
    /// What the draws leave open, and half the claimed band.
    sd: f64,
    half: f64,
}

/// A cycle thinned and filled from others, mean over where the samples fall.
fn refilled(speeds: &[f64], others: &[&[f64]], every_s: usize) -> Refilled {
    let traces: Vec<Vec<f64>> = others.iter().map(|of| of.to_vec()).collect();
    let library = Arc::new(Library::new("other cycles".to_owned(), Origin::StandardCycles, &traces));
    let settings = ReplaySettings { library: Some(library), ..ReplaySettings::default() };
    let mut sum = Refilled { line: 0.0, drawn: 0.0, sd: 0.0, half: 0.0 };
    for start in 0..STARTS {
        let first = start * every_s / STARTS;
        let kept: Vec<f64> = speeds.iter().skip(first).step_by(every_s).copied().collect();
        let last = first + (kept.len() - 1) * every_s;
        let truth = Drive::every(1.0, &speeds[first..=last]).totals(&TRUCK).braking_j() / 3.6e6;
        let drive = Drive::every(every_s as f64, &kept);
        let drawn = drive.replay(&TRUCK, &settings);
        let of = |name: &str| trips(&drawn, name).iter().flatten().sum::<f64>() / (truth * STARTS as f64);
        sum.line += drive.totals(&TRUCK).braking_j() / 3.6e6 / (truth * STARTS as f64);
        sum.drawn += of("energy_braking_kwh");
        sum.sd += of("energy_braking_imputation_sd_kwh");
        sum.half += (of("energy_braking_high_kwh") - of("energy_braking_low_kwh")) / 2.0;
    }
    sum
}

fn trips(totals: &Totals, name: &str) -> Vec<Option<f64>> {
    numbers(&tables::TRIPS, &totals.replay.trips, name)
}

/// Tolerances are what the claim says of standard cycles: half its band at most, on every cycle.
fn check(name: &str, speeds: &[f64], others: &[&[f64]]) {
    for every_s in [2, 5, 10, 30] {
        let seen = refilled(speeds, others, every_s);
        println!(
            "{name} every {every_s} s: lines {:.3}, drawn {:.3} +- {:.3} (draws), claimed +- {:.3}",
            seen.line, seen.drawn, seen.sd, seen.half
        );
        assert!(seen.sd > 0.0, "{name}: draws that all agree are no draws");
        within(&format!("{name} every {every_s} s"), seen.drawn, 1.0, seen.half);
        assert!(
            (seen.drawn - 1.0).abs() < (seen.line - 1.0).abs(),
            "{name} every {every_s} s: drawn {:.3} is no better than lines {:.3}",
            seen.drawn,
            seen.line
        );
    }
}

/// UDDS and HWFET from each other and the WLTC, and the WLTC from them, where its table is at hand.
#[test]
fn f10_cycles_thinned_and_filled_from_the_others() {
    let (udds, hwfet) = (cycle("udds"), cycle("hwfet"));
    let Some(km_h) = wltc_km_h("f10_cycles_thinned_and_filled_from_the_others") else { return };
    let wltc = in_m_s(&km_h, "km/h");
    check("udds", &udds, &[&hwfet, &wltc]);
    check("hwfet", &hwfet, &[&udds, &wltc]);
    check("wltc", &wltc, &[&udds, &hwfet]);
}
