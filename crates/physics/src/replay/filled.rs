//! The account of an interval whose speed in between was imputed: means over draws, and what the draws differ by.

use super::between::Paths;
use super::ledger::{self, Ledger, Setting};
use super::track::{GradeBasis, Track};
use crate::kernels::filling::DRAWS;
use crate::truck::Sheet;

/// Books what depends on speed into `ledger`; returns the parts of the interval that brake, in shares of it, each draw's
/// after the other's.
pub fn book(
    ledger: &mut Ledger,
    track: &Track,
    k: usize,
    grade: GradeBasis,
    sheet: &Sheet,
    setting: &Setting,
    paths: Paths<'_>,
) -> Vec<(f64, f64)> {
    let weight = 1.0 / DRAWS as f64;
    let mut parts = Vec::new();
    let mut draws = [(0.0, 0.0); DRAWS];
    for (steps, draw) in paths.steps(track, k, grade).iter().zip(&mut draws) {
        let (mut whole, mut since_s) = (Ledger::default(), 0.0);
        for step in steps {
            let mut one = Ledger::default();
            if let Some((from, to)) = ledger::book_road(&mut one, track, k, step, sheet, setting) {
                let share = |of: f64| (since_s + of * step.duration_s) / ledger.duration_s;
                parts.push((share(from), share(to)));
            }
            since_s += step.duration_s;
            whole.add(&one);
        }
        *draw = (whole.road.braking_j, whole.cascade.recoverable_j);
        add_road(ledger, &whole, weight);
    }
    ledger.filled_s = ledger.duration_s;
    // Intervals that share draws err together: their deviations add up, not their squares.
    let shared = paths.intervals() as f64;
    ledger.braking_draws_j2 = shared * open(draws.map(|draw| draw.0));
    ledger.recoverable_draws_j2 = shared * open(draws.map(|draw| draw.1));
    parts
}

/// Variance of what was driven about the mean of the draws, of which it is one more.
fn open(draws: [f64; DRAWS]) -> f64 {
    let count = DRAWS as f64;
    let mean = draws.iter().sum::<f64>() / count;
    let squares: f64 = draws.iter().map(|draw| (draw - mean).powi(2)).sum();
    squares / (count - 1.0) * (1.0 + 1.0 / count)
}

/// The accounts that depend on speed, times a weight.
fn add_road(sum: &mut Ledger, one: &Ledger, weight: f64) {
    sum.distance_m += one.distance_m * weight;
    sum.road.kinetic_j += one.road.kinetic_j * weight;
    sum.road.grade_j += one.road.grade_j * weight;
    sum.road.rolling_j += one.road.rolling_j * weight;
    sum.road.aero_j += one.road.aero_j * weight;
    sum.road.tractive_j += one.road.tractive_j * weight;
    sum.road.braking_j += one.road.braking_j * weight;
    sum.shares.add_scaled(&one.shares, weight);
    sum.cascade.add_scaled(&one.cascade, weight);
    sum.gains.add_scaled(&one.gains, weight);
    sum.swings.add_scaled(&one.swings, weight);
    sum.refused_full_j += one.refused_full_j * weight;
    sum.refused_cold_j += one.refused_cold_j * weight;
    sum.drive_dc_j += one.drive_dc_j * weight;
    sum.beyond_map_s += one.beyond_map_s * weight;
    sum.recoverable_low_j += one.recoverable_low_j * weight;
    sum.recoverable_high_j += one.recoverable_high_j * weight;
    sum.attainable_j += one.attainable_j * weight;
    sum.braking_above_fade_j += one.braking_above_fade_j * weight;
}
