//! Pack sizing on made-up days whose truth is known: do its probabilities come true?

use backwatt_estimate::plan::{Leg, PlanSettings, Season, TypePlan, VehicleDay, pack_sizing};
use backwatt_schema::{BatchView, number_at, tables};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const PACKS: f64 = 3.0;
const CAPACITY_KWH: f64 = 48.0;
const RESERVE: f64 = 0.1;

fn settings() -> PlanSettings {
    PlanSettings {
        assumptions: Vec::new(),
        reserve_frac: RESERVE,
        target_frac: 0.95,
        pack_counts: Vec::new(),
        chargers: Vec::new(),
        price: None,
        planned: Vec::new(),
        is_southern: false,
        cold_usable_frac: 0.9,
        worn_usable_frac: 0.8,
        causes: Vec::new(),
    }
}

fn types() -> Vec<TypePlan> {
    vec![TypePlan {
        name: "van".to_owned(),
        packs: Some(PACKS),
        payload_full_kg: 1000.0,
        aux_w: [500.0, 400.0, 700.0],
        charge_power_max_w: 60e3,
        charge_taper_start_frac: 0.9,
    }]
}

/// Days of one route: rounds that repeat, weather that all trucks share, trucks a little apart, and now and then a day with
/// an errand more. The law is not the normal one the probabilities are built of.
struct World {
    typical_kwh: f64,
    of_vehicle: Vec<f64>,
    spread: f64,
}

impl World {
    fn new(rng: &mut ChaCha8Rng) -> Self {
        // Typical days from far inside the pack to just beyond it.
        let typical_kwh = rng.random_range(25.0..50.0);
        let of_vehicle = (0..3).map(|_| rng.random_range(-0.04..0.04)).collect();
        World { typical_kwh, of_vehicle, spread: rng.random_range(0.04..0.12) }
    }

    fn day_kwh(&self, rng: &mut ChaCha8Rng, vehicle: usize) -> f64 {
        // The sum of uniforms is nearly normal; an errand is not.
        let normal: f64 = (0..12).map(|_| rng.random_range(-0.5..0.5)).sum();
        let errand = if rng.random_range(0.0..1.0) < 0.15 { rng.random_range(0.05..0.2) } else { 0.0 };
        self.typical_kwh * (self.of_vehicle[vehicle] + self.spread * normal + errand).exp()
    }
}

fn day(vehicle: usize, number: usize, kwh: f64) -> VehicleDay {
    let legs = [0.6, 0.4].map(|share| Leg {
        trip: format!("{vehicle}-{number}"),
        route: "r".to_owned(),
        distance_mi: 50.0 * share,
        driving_kwh: kwh * share,
        ..Leg::default()
    });
    VehicleDay {
        vehicle: format!("v{vehicle}"),
        vehicle_type: "van".to_owned(),
        day: format!("2026-01-{:02}", number + 1),
        season: Some(Season::Winter),
        legs: legs.into(),
        capacity_kwh: Some((CAPACITY_KWH, 0.0)),
        ..VehicleDay::default()
    }
}

/// What was said of finishing as driven, and the interval.
fn said(days: &[VehicleDay]) -> [f64; 3] {
    let found = pack_sizing(days, &types(), &settings()).unwrap();
    let view = BatchView::new(&tables::PACK_SIZING, &found);
    assert_eq!(view.texts("scenario").unwrap().value(0), "as driven");
    ["probability_finish_p05_frac", "probability_finish_frac", "probability_finish_p95_frac"]
        .map(|name| number_at(view.numbers(name).unwrap(), 0).unwrap())
}

/// 600 worlds of 12 days each: probability said against the share of 200 further days that finished. Printed for the method
/// page with `--nocapture`.
#[test]
fn what_is_said_of_finishing_comes_true() {
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let mut bins = [(0.0, 0.0, 0usize); 6];
    let edges = [0.05, 0.25, 0.5, 0.75, 0.95, 1.01];
    let (mut brier, mut brier_truth, mut brier_mean, mut covered, mut finished_all) = (0.0, 0.0, 0.0, 0, 0.0);
    const WORLDS: usize = 600;
    let mut outcomes = Vec::new();
    for _ in 0..WORLDS {
        let world = World::new(&mut rng);
        let days: Vec<VehicleDay> =
            (0..12).map(|at| day(at % 3, at / 3, world.day_kwh(&mut rng, at % 3))).collect();
        let [low, value, high] = said(&days);
        let mut finishes = || {
            let vehicle = rng.random_range(0..3);
            f64::from(u8::from(world.day_kwh(&mut rng, vehicle) <= CAPACITY_KWH * (1.0 - RESERVE)))
        };
        let truth = (0..200).map(|_| finishes()).sum::<f64>() / 200.0;
        let next = finishes();
        brier += (value - next).powi(2) / WORLDS as f64;
        brier_truth += (truth - next).powi(2) / WORLDS as f64;
        finished_all += next / WORLDS as f64;
        outcomes.push(next);
        covered += usize::from((low - 0.01..=high + 0.01).contains(&truth));
        let bin = edges.iter().position(|edge| value < *edge).unwrap_or(5);
        bins[bin] = (bins[bin].0 + value, bins[bin].1 + truth, bins[bin].2 + 1);
    }
    outcomes.iter().for_each(|next| brier_mean += (finished_all - next).powi(2) / WORLDS as f64);
    for (said, truth, count) in bins {
        let of = count.max(1) as f64;
        println!("said {:.3}, came true {:.3}, {count} worlds", said / of, truth / of);
        assert!(count < 20 || (said / of - truth / of).abs() < 0.06, "{said} {truth} {count}");
    }
    let coverage = covered as f64 / WORLDS as f64;
    println!(
        "Brier {brier:.4}; of the truth {brier_truth:.4}; of the mean {brier_mean:.4}; 90 % interval holds {coverage:.3}"
    );
    assert!(brier < brier_truth + 0.02 && brier < 0.5 * brier_mean);
    assert!(coverage > 0.8, "{coverage}");
}

#[test]
fn nothing_is_said_of_two_days_or_of_none() {
    assert_eq!(pack_sizing(&[], &types(), &settings()).unwrap().num_rows(), 0);
    let days = [day(0, 0, 30.0), day(0, 1, 31.0)];
    let found = pack_sizing(&days, &types(), &settings()).unwrap();
    let view = BatchView::new(&tables::PACK_SIZING, &found);
    assert!(found.num_rows() > 0);
    assert_eq!(number_at(view.numbers("probability_finish_frac").unwrap(), 0), None);
}
