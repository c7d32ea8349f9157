//! Group F turned round: what the smoother makes of noise and rounding whose effect is known.
//!
//! Standard cycles stand for the truth; noise is drawn with fixed seeds. Without a smoother the same logs brake up to
//! twice as much (checks F6 and F7).

use backwatt_physics::{ReplaySettings, SpeedReading};
use backwatt_schema::tables;
use backwatt_testkit::evidence;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use crate::batches::numbers;
use crate::drive::{Drive, TRUCK, Totals};
use crate::tables::{cycle, in_m_s, wltc_km_h};

struct Seen {
    raw: f64,
    smoothed: f64,
    debiased: f64,
    /// Ends of the claim over the truth.
    band: Option<(f64, f64)>,
    error_m_s: f64,
}

fn see(truth: &[f64], seen: &[f64]) -> Seen {
    let full = Drive::every(1.0, truth).totals(&TRUCK).braking_j() / 3.6e6;
    let totals = Drive::every(1.0, seen).smoothed(&TRUCK);
    let sum = |name: &str| trips(&totals, name).iter().flatten().sum::<f64>() / full;
    let (low, high) = (trips(&totals, "energy_braking_low_kwh"), trips(&totals, "energy_braking_high_kwh"));
    let claimed = low.iter().chain(&high).all(Option::is_some);
    Seen {
        raw: sum("energy_braking_raw_kwh"),
        smoothed: sum("energy_braking_kwh"),
        debiased: sum("energy_braking_debiased_kwh"),
        band: claimed.then(|| (sum("energy_braking_low_kwh"), sum("energy_braking_high_kwh"))),
        error_m_s: trips(&totals, "speed_error_m_s")[0].expect("smoothed"),
    }
}

fn trips(totals: &Totals, name: &str) -> Vec<Option<f64>> {
    numbers(&tables::TRIPS, &totals.replay.trips, name)
}

/// White error on every moving value; a standing wheel reads zero.
fn noisy(truth: &[f64], sd_m_s: f64, seed: u64) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let normal = Normal::new(0.0, sd_m_s).expect("a standard deviation");
    let one = |v: &f64| if *v > 0.0 { (v + normal.sample(&mut rng)).max(0.001) } else { 0.0 };
    truth.iter().map(one).collect()
}

fn rounded(truth: &[f64], unit_m_s: f64) -> Vec<f64> {
    truth.iter().map(|v| (v / unit_m_s).round_ties_even() * unit_m_s).collect()
}

fn cycles(test: &str) -> Vec<(&'static str, Vec<f64>)> {
    let mut all = vec![("udds", cycle("udds")), ("hwfet", cycle("hwfet"))];
    all.extend(wltc_km_h(test).map(|km_h| ("wltc", in_m_s(&km_h, "km/h"))));
    all
}

fn row(name: &str, log: &str, seen: &Seen) -> String {
    let (low, high) = seen.band.unwrap_or((f64::NAN, f64::NAN));
    let Seen { raw, smoothed, debiased, error_m_s, .. } = seen;
    format!("{name},{log},{raw:.4},{smoothed:.4},{debiased:.4},{low:.4},{high:.4},{error_m_s:.4}")
}

const HEADER: &str = "cycle,log,raw,smoothed,debiased,low,high,error_m_s";

fn told(what: &str, seen: &Seen) {
    let (low, high) = seen.band.unwrap_or((f64::NAN, f64::NAN));
    println!(
        "{what}: raw {:.3}, smoothed {:.3}, debiased {:.3}, claimed {low:.3} to {high:.3}, error found {:.3} m/s",
        seen.raw, seen.smoothed, seen.debiased, seen.error_m_s
    );
}

#[test]
fn a_clean_cycle_loses_next_to_nothing() {
    let mut rows = Vec::new();
    for (name, truth) in cycles("a_clean_cycle_loses_next_to_nothing") {
        let seen = see(&truth, &truth);
        told(name, &seen);
        rows.push(row(name, "as tabulated", &seen));
        // Five points of a quadratic, the ceiling at 1 Hz, cost up to 2.3 %.
        assert!((0.985..1.005).contains(&seen.smoothed), "{name}: {}", seen.smoothed);
    }
    evidence::write("smoothing-clean.csv", HEADER, &rows);
}

#[test]
fn white_noise_is_taken_away_and_stops_are_kept() {
    let mut rows = Vec::new();
    for (name, truth) in cycles("white_noise_is_taken_away_and_stops_are_kept") {
        for sd in [0.05, 0.1, 0.2] {
            for seed in 1..=3 {
                let seen = see(&truth, &noisy(&truth, sd, seed));
                told(&format!("{name} with {sd} m/s, {seed}"), &seen);
                rows.push(row(name, &format!("{sd} m/s"), &seen));
                let reach = if sd > 0.15 { 0.10 } else { 0.045 };
                assert!((seen.smoothed - 1.0).abs() < reach, "{name} {sd}: {}", seen.smoothed);
                assert!((seen.smoothed - 1.0).abs() < (seen.raw - 1.0).abs() + 0.02, "{name} {sd}");
                assert!((seen.error_m_s / sd - 1.0).abs() < 0.35, "{name} {sd}: {} m/s", seen.error_m_s);
            }
        }
    }
    evidence::write("smoothing-noise.csv", HEADER, &rows);
}

#[test]
fn rounding_is_taken_away() {
    let mut rows = Vec::new();
    for (name, truth) in cycles("rounding_is_taken_away") {
        for (unit, m_s) in [("mph", 0.447_04), ("km/h", 1.0 / 3.6)] {
            let seen = see(&truth, &rounded(&truth, m_s));
            told(&format!("{name} in whole {unit}"), &seen);
            rows.push(row(name, &format!("whole {unit}"), &seen));
            assert!((seen.smoothed - 1.0).abs() < 0.05, "{name} {unit}: {}", seen.smoothed);
            assert!((seen.debiased - 1.0).abs() < 0.035, "{name} {unit}: {}", seen.debiased);
        }
    }
    evidence::write("smoothing-rounding.csv", HEADER, &rows);
}

/// The claim holds the truth on every cycle, noise and rounding above, or there is none.
#[test]
fn claims_hold_the_truth() {
    for (name, truth) in cycles("claims_hold_the_truth") {
        let mut logs: Vec<(String, Vec<f64>)> = vec![("as tabulated".into(), truth.clone())];
        for sd in [0.05, 0.1, 0.2] {
            logs.extend((1..=5).map(|seed| (format!("{sd} m/s, {seed}"), noisy(&truth, sd, seed))));
        }
        logs.push(("mph".into(), rounded(&truth, 0.447_04)));
        logs.push(("km/h".into(), rounded(&truth, 1.0 / 3.6)));
        for (what, log) in logs {
            let seen = see(&truth, &log);
            let Some((low, high)) = seen.band else {
                told(&format!("{name} {what}, no claim"), &seen);
                assert!(seen.raw > 1.5, "{name} {what}: a claim was due");
                continue;
            };
            // A full claim is a figure, not a band; two percent is what is asked of braking energy at 1 Hz.
            assert!(low - 0.02 <= 1.0 && 1.0 <= high + 0.02, "{name} {what}: {low:.3} to {high:.3}");
        }
    }
}

/// Hard stops from 15 m/s at 3 m/s², ten of them, seen through a tenth of a metre per second of error.
#[test]
fn stops_at_3_m_s2_survive() {
    let once: Vec<f64> = (0..8)
        .map(|s| f64::from(s) * 15.0 / 8.0)
        .chain(std::iter::repeat_n(15.0, 20))
        .chain((0..=5).map(|s| 15.0 - 3.0 * f64::from(s)))
        .chain(std::iter::repeat_n(0.0, 6))
        .collect();
    let truth: Vec<f64> = once.iter().copied().cycle().take(10 * once.len()).collect();
    for sd in [0.0, 0.05, 0.1] {
        let log = if sd > 0.0 { noisy(&truth, sd, 7) } else { truth.clone() };
        let seen = see(&truth, &log);
        told(&format!("stops with {sd} m/s"), &seen);
        assert!((seen.smoothed - 1.0).abs() < 0.02, "{sd}: {}", seen.smoothed);
        let totals = Drive::every(1.0, &log).smoothed(&TRUCK);
        let peaks = numbers(&tables::BRAKING_EVENTS, &totals.replay.braking_events, "decel_peak_m_s2");
        let hardest = peaks.iter().flatten().copied().fold(0.0, f64::max);
        assert!(hardest > 2.7, "{sd}: the hardest second slows by {hardest} m/s2");
    }
}

/// The first stop of udds seen through a tenth of a metre per second: braking power from second to second, drawn in the
/// handbook.
#[test]
fn braking_power_of_one_stop_comes_nearer_to_the_truth() {
    const DRAWN: std::ops::Range<usize> = 80..128;
    let truth = cycle("udds");
    let log = noisy(&truth, 0.1, 1);
    let as_logged = ReplaySettings { speed: SpeedReading::AsLogged, ..ReplaySettings::default() };
    let seen = [(&truth, &as_logged), (&log, &as_logged), (&log, &ReplaySettings::default())].map(
        |(speed, settings)| {
            let trace = Drive::every(1.0, speed).trace(&TRUCK, settings);
            let of = |name| -> Vec<f64> {
                let known = numbers(&tables::POWER_TRACE, &trace, name);
                known[DRAWN].iter().map(|value| value.expect("known")).collect()
            };
            (of("speed_m_s"), of("power_braking_w"))
        },
    );
    let [truth, raw, smoothed] = &seen;
    let rms = |one: &[f64], other: &[f64]| {
        (one.iter().zip(other).map(|(a, b)| (a - b).powi(2)).sum::<f64>() / one.len() as f64).sqrt()
    };
    let (raw_w, smoothed_w) = (rms(&raw.1, &truth.1), rms(&smoothed.1, &truth.1));
    let (raw_m_s, smoothed_m_s) = (rms(&raw.0, &truth.0), rms(&smoothed.0, &truth.0));
    println!(
        "one stop: braking power off by {raw_w:.0} W as logged, {smoothed_w:.0} W smoothed; {raw_m_s:.3}, {smoothed_m_s:.3} m/s"
    );
    assert!(smoothed_w < 0.7 * raw_w && smoothed_m_s < raw_m_s, "{smoothed_w} W of {raw_w} W");
    let rows: Vec<String> = DRAWN
        .enumerate()
        .map(|(at, second)| {
            let [truth, raw, smoothed] =
                seen.each_ref().map(|(speed, watts)| format!("{:.4},{:.0}", speed[at], watts[at]));
            format!("{second},{truth},{raw},{smoothed}")
        })
        .collect();
    evidence::write("smoothed-stop.csv", "second,true_m_s,true_w,raw_m_s,raw_w,smoothed_m_s,smoothed_w", &rows);
}
