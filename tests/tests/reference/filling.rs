//! Group F turned round again: what the speed drawn between slow samples is worth.
//!
//! Standard cycles are the truth; each is thinned as in F5 and filled from the others. They are the worst library a pilot
//! can have: other vehicles on other roads, 26 to 54 minutes of them.

use std::sync::Arc;

use backwatt_physics::{Library, Origin, ReplaySettings, Trace};
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
fn refilled(speeds: &[f64], others: &[&Vec<f64>], every_s: usize) -> Refilled {
    let traces: Vec<Trace> = others.iter().map(|of| (*of).clone().into()).collect();
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

/// One cycle from two others may be a quarter off, which is what the claim says of such libraries; the three together
/// may not. [1] The target at 30 s; at 5 s it would be 5 % and at 10 s as well, from a fleet's own trucks.
const TOGETHER: f64 = 0.08;

/// UDDS and HWFET from each other and the WLTC, and the WLTC from them, where its table is at hand.
#[test]
fn f10_cycles_thinned_and_filled_from_the_others() {
    let (udds, hwfet) = (cycle("udds"), cycle("hwfet"));
    let Some(km_h) = wltc_km_h("f10_cycles_thinned_and_filled_from_the_others") else { return };
    let wltc = in_m_s(&km_h, "km/h");
    let cases =
        [("udds", &udds, [&hwfet, &wltc]), ("hwfet", &hwfet, [&udds, &wltc]), ("wltc", &wltc, [&udds, &hwfet])];
    for every_s in [2, 5, 10, 30] {
        let (mut line, mut drawn) = (0.0, 0.0);
        for (name, speeds, others) in &cases {
            let seen = refilled(speeds, others, every_s);
            println!(
                "{name} every {every_s} s: lines {:.3}, drawn {:.3} +- {:.3} (draws), claimed +- {:.3}",
                seen.line, seen.drawn, seen.sd, seen.half
            );
            assert!(seen.sd > 0.0, "{name}: draws that all agree are no draws");
            within(&format!("{name} every {every_s} s"), seen.drawn, 1.0, seen.half);
            line += seen.line / cases.len() as f64;
            drawn += seen.drawn / cases.len() as f64;
        }
        println!("together every {every_s} s: lines {line:.3}, drawn {drawn:.3}");
        within(&format!("together every {every_s} s"), drawn, 1.0, TOGETHER);
        assert!(
            (drawn - 1.0).abs() < (line - 1.0).abs(),
            "every {every_s} s: {drawn} is no better than {line}"
        );
    }
}
