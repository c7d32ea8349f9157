use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::*;
use crate::charge_sessions::{ChargeSession, ChargerEfficiency};

const STATED_KWH: f64 = 60.0;
const HOUR_NS: i64 = 3_600_000_000_000;

fn chargers(error_frac: f64) -> ChargerEfficiencies {
    let efficiency = |value_frac| ChargerEfficiency { value_frac, error_frac };
    ChargerEfficiencies { ac: efficiency(0.9), dc: efficiency(0.98) }
}

fn battery() -> Option<BatterySheet> {
    Some(BatterySheet { capacity_kwh: STATED_KWH, battery_efficiency: 1.0 })
}

fn reading(soc_frac: f64, step_frac: f64) -> Option<Reading> {
    Some(Reading { soc_frac, step_frac, wait_s: 0.0, is_stated: false })
}

fn matched(energy_kwh: f64, metered: Metered, ends: (f64, f64), step_frac: f64) -> Matched {
    Matched {
        session: ChargeSession {
            vehicle: "T1".to_owned(),
            from_ns: 0,
            until_ns: 4 * HOUR_NS,
            energy_metered_kwh: energy_kwh,
            metered,
            soc_start_frac: None,
            soc_end_frac: None,
            power_max_w: None,
            line: 2,
        },
        start: reading(ends.0, step_frac),
        end: reading(ends.1, step_frac),
        refused: None,
    }
}

/// Symmetric about the middle, at rest for no time, no loss inside: 40 kWh at the wall, 36 inside, 0.72 of 50 kWh.
#[test]
fn one_session_by_hand() {
    let mut one = [matched(40.0, Metered::Ac, (0.14, 0.86), 1e-6)];
    let found = capacity_from_sessions(&mut one, battery(), chargers(0.0)).expect("it tells");
    let [low, middle, high] = found.capacity_kwh();
    assert!((middle - 50.0).abs() < 1e-6, "{middle}");
    // One session's own hundredth is all that is left open.
    assert!(((high / low).ln() - 2.0 * Z_90 * 0.01).abs() < 1e-4, "{low} {high}");
    let (ratio, sd, sessions) = found.ratio(STATED_KWH);
    assert!((ratio - 50.0 / 60.0).abs() < 1e-8 && (sd / ratio - 0.01).abs() < 1e-5 && sessions == 1);
}

/// A step of 2 %: each end is off by 0.02/√12, so a rise of 0.5 by 0.02/√6 over 0.5.
#[test]
fn the_steps_of_the_display_are_in_the_interval() {
    let mut one = [matched(0.5 * 50.0 / 0.98, Metered::Dc, (0.25, 0.75), 0.02)];
    let found = capacity_from_sessions(&mut one, battery(), chargers(0.0)).expect("it tells");
    let expected = (0.02 / 6.0_f64.sqrt() / 0.5).hypot(0.01);
    assert!((found.inverse_sd_per_kwh / found.inverse_per_kwh - expected).abs() < 1e-4, "{found:?}");
}

/// A hundred sessions take the noise away and leave the doubt of the charger.
#[test]
fn doubt_of_the_charger_does_not_shrink_with_sessions() {
    let mut many: Vec<Matched> = (0..100).map(|_| matched(40.0, Metered::Ac, (0.14, 0.86), 0.01)).collect();
    let found = capacity_from_sessions(&mut many, battery(), chargers(0.05)).expect("it tells");
    let relative = found.inverse_sd_per_kwh / found.inverse_per_kwh;
    assert!((relative - 0.05 / 3.0_f64.sqrt()).abs() < 1e-3, "{relative}");
    // Sessions at another meter narrow it.
    many.extend((0..100).map(|_| matched(36.0 / 0.98, Metered::Dc, (0.14, 0.86), 0.01)));
    let both = capacity_from_sessions(&mut many, battery(), chargers(0.05)).expect("it tells");
    let relative = both.inverse_sd_per_kwh / both.inverse_per_kwh;
    assert!((relative - 0.05 / 6.0_f64.sqrt()).abs() < 1e-3, "{relative}");
}

#[test]
fn energy_that_went_elsewhere_is_refused() {
    let mut some: Vec<Matched> = (0..6).map(|_| matched(40.0, Metered::Ac, (0.14, 0.86), 0.01)).collect();
    some.push(matched(100.0, Metered::Ac, (0.14, 0.86), 0.01));
    some.push(matched(52.0, Metered::Ac, (0.14, 0.86), 0.01));
    let found = capacity_from_sessions(&mut some, battery(), chargers(0.05)).expect("it tells");
    let why = |at: usize| some[at].refused.as_deref().unwrap_or_default();
    assert_eq!((why(0), why(6), why(7)), ("", REASON_ELSEWHERE, REASON_UNLIKE));
    assert_eq!(found.sessions, 6);
    assert!((found.capacity_kwh()[1] - 50.0).abs() < 0.01);
}

#[test]
fn nothing_tells_nothing() {
    assert_eq!(capacity_from_sessions(&mut [], battery(), chargers(0.05)), None);
    let mut blind = [Matched { end: None, ..matched(40.0, Metered::Ac, (0.14, 0.86), 0.01) }];
    assert_eq!(capacity_from_sessions(&mut blind, battery(), chargers(0.05)), None);
}

/// A made-up vehicle of known capacity: its true chargers, voltage and standby drawn as the priors have them, its display
/// rounded or cut off.
fn simulated(rng: &mut ChaCha8Rng, charger_error: f64) -> (f64, Vec<Matched>) {
    let normal = |rng: &mut ChaCha8Rng| -> f64 { StandardNormal.sample(rng) };
    let capacity_kwh = STATED_KWH * rng.random_range(0.75..1.05);
    let off = 1.0 + charger_error * rng.random_range(-1.0..1.0);
    let range = VOLTAGE_RANGE_FRAC + VOLTAGE_RANGE_SD * normal(rng);
    let parked_kw = rng.random_range(0.0..0.06);
    let step = [0.004, 0.005, 0.01, 0.02][rng.random_range(0..4)];
    let is_cut_off = rng.random_bool(0.5);
    let shown = |soc: f64| {
        let steps = soc / step;
        (if is_cut_off { (steps + 1e-9).floor() } else { steps.round() }) * step
    };
    let sessions = rng.random_range(2..40);
    let one = |rng: &mut ChaCha8Rng| {
        let (start, end) = (rng.random_range(0.1..0.6), rng.random_range(0.8..1.0));
        let end = if rng.random_bool(0.5) { 1.0 } else { end };
        let [before_h, after_h]: [f64; 2] = std::array::from_fn(|_| rng.random_range(0.0..12.0));
        let plugged = start - parked_kw * before_h / capacity_kwh;
        let waited = end - parked_kw * after_h / capacity_kwh;
        // ∫ of the open-circuit voltage over the charge.
        let energy = |soc: f64| soc + range * (soc - 0.5).powi(2) / 2.0;
        let inside_kwh = capacity_kwh * (energy(end) - energy(plugged));
        let metered_kwh = inside_kwh / (0.9 * off) * (1.0 + SESSION_FRAC * normal(rng));
        let mut one = matched(metered_kwh, Metered::Ac, (shown(start), shown(waited)), step);
        for (end, wait_h) in [(&mut one.start, before_h), (&mut one.end, after_h)] {
            *end = end.map(|reading| Reading { wait_s: 3600.0 * wait_h, ..reading });
        }
        one
    };
    (capacity_kwh, (0..sessions).map(|_| one(rng)).collect())
}

/// Share of simulated vehicles whose true capacity lies in the 90 % interval, and below and above it.
fn coverage(charger_error: f64) -> [f64; 3] {
    const VEHICLES: u64 = 2000;
    let mut counts = [0_u64; 3];
    for seed in 0..VEHICLES {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.next_u64();
        let (truth_kwh, mut matched) = simulated(&mut rng, charger_error);
        let found = capacity_from_sessions(&mut matched, battery(), chargers(charger_error)).expect("it tells");
        let [low, _, high] = found.capacity_kwh();
        counts[if truth_kwh < low {
            1
        } else if truth_kwh > high {
            2
        } else {
            0
        }] += 1;
    }
    counts.map(|count| count as f64 / VEHICLES as f64)
}

#[test]
fn nine_in_ten_intervals_hold_the_truth() {
    for charger_error in [0.05, 0.005] {
        let [within, below, above] = coverage(charger_error);
        println!("charger to {charger_error}: {within} within, {below} below, {above} above");
        assert!((0.85..=0.95).contains(&within), "{charger_error}: {within} {below} {above}");
        assert!((below - above).abs() < 0.05, "{charger_error}: {below} {above}");
    }
}
