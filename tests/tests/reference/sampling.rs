//! Group F: what slow or coarse logging does to braking energy, and how coarse a state of charge is.

use backwatt_estimate::rounded_difference_kwh;
use backwatt_testkit::close;

use crate::drive::{Drive, TRUCK};
use crate::tables::{cycle, cycle_mph, in_m_s, wltc_km_h};

const THINNED_RATIO: f64 = 0.02;
const ROUNDED_RATIO: f64 = 0.002;
/// Printed digits.
const SOC_SD_KWH: f64 = 5e-4;

fn braking(speeds: &[f64], step_s: f64) -> f64 {
    Drive::every(step_s, speeds).totals(&TRUCK).braking_j()
}

/// Braking energy of every n-th second over that of every second, mean over where one begins; tails dropped.
fn thinned(speeds: &[f64], step: usize) -> f64 {
    let full = braking(speeds, 1.0);
    let from = |first: usize| {
        let kept: Vec<f64> = speeds.iter().skip(first).step_by(step).copied().collect();
        braking(&kept, step as f64) / full
    };
    (0..step).map(from).sum::<f64>() / step as f64
}

fn check_thinned(name: &str, speeds: &[f64], expected: [(usize, f64); 6]) {
    for (step, ratio) in expected {
        close(&format!("{name} every {step} s"), thinned(speeds, step), ratio, THINNED_RATIO);
    }
}

/// Derived once with another program (numpy) on the same tables.
#[test]
fn f5_thinned_udds() {
    let expected = [(2, 0.972), (5, 0.910), (10, 0.804), (15, 0.704), (30, 0.413), (60, 0.10)];
    check_thinned("udds", &cycle("udds"), expected);
}

/// At 30 s the figure depends on what is done with the tail: 0.311 to 0.341.
#[test]
fn f5_thinned_hwfet() {
    let expected = [(2, 0.969), (5, 0.872), (10, 0.700), (15, 0.571), (30, 0.326), (60, 0.06)];
    check_thinned("hwfet", &cycle("hwfet"), expected);
}

#[test]
fn f5_thinned_wltc() {
    let Some(km_h) = wltc_km_h("f5_thinned_wltc") else { return };
    let expected = [(2, 0.983), (5, 0.893), (10, 0.717), (15, 0.550), (30, 0.293), (60, 0.10)];
    check_thinned("wltc", &in_m_s(&km_h, "km/h"), expected);
}

/// Ratio with the speeds rounded in a unit, ties to even, over that without.
fn rounded(speeds: &[f64], unit: &str) -> f64 {
    let coarse: Vec<f64> = speeds.iter().map(|speed| speed.round_ties_even()).collect();
    braking(&in_m_s(&coarse, unit), 1.0) / braking(&in_m_s(speeds, unit), 1.0)
}

fn scaled(speeds: &[f64], factor: f64) -> Vec<f64> {
    speeds.iter().map(|speed| speed * factor).collect()
}

const KM_H_PER_MPH: f64 = 1.609_344;

#[test]
fn f6_rounded_to_miles_per_hour() {
    close("udds", rounded(&cycle_mph("udds"), "mph"), 1.113, ROUNDED_RATIO);
    close("hwfet", rounded(&cycle_mph("hwfet"), "mph"), 1.480, ROUNDED_RATIO);
    if let Some(km_h) = wltc_km_h("f6_rounded_to_miles_per_hour (wltc)") {
        close("wltc", rounded(&scaled(&km_h, 1.0 / KM_H_PER_MPH), "mph"), 1.140, ROUNDED_RATIO);
    }
}

#[test]
fn f6_rounded_to_kilometres_per_hour() {
    close("udds", rounded(&scaled(&cycle_mph("udds"), KM_H_PER_MPH), "km/h"), 1.044, ROUNDED_RATIO);
    close("hwfet", rounded(&scaled(&cycle_mph("hwfet"), KM_H_PER_MPH), "km/h"), 1.042, ROUNDED_RATIO);
    if let Some(km_h) = wltc_km_h("f6_rounded_to_kilometres_per_hour (wltc)") {
        close("wltc", rounded(&km_h, "km/h"), 1.038, ROUNDED_RATIO);
    }
}

/// The difference of two readings rounded to steps q is off by q/sqrt(6): half-step errors of variance q^2/12 each.
#[test]
fn f9_rounding_of_state_of_charge() {
    let cases = [(0.01, 100.0, 0.408), (0.004, 100.0, 0.163), (0.005, 60.0, 0.122), (0.01, 180.0, 0.735)];
    for (step, capacity, expected) in cases {
        let rounding = rounded_difference_kwh(step, capacity);
        close(&format!("{step} of {capacity} kWh [kWh]"), rounding, expected, SOC_SD_KWH);
    }
}
