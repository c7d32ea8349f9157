//! Which pilots are made: fixed corners of the sheet's errors, one error at a time, and random draws crossed with
//! what is logged.

use backwatt_demo::trial::{Base, SheetSays, Trial};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::targets::{Knowledge, Log};

/// Days of a pilot, as the targets have it.
const DAYS: usize = 10;
/// Repeats of each cell of the random draws, and of a corner on each truck.
const REPEATS: usize = 2;
/// Pilots with pack voltage and current, for each truck and what is known.
const POWER_REPEATS: usize = 6;
const BASES: [Base; 2] = [Base::Light, Base::Medium];
pub const PERIODS_S: [u32; 4] = [1, 5, 10, 30];
pub const SOC_STEPS_PCT: [f64; 3] = [0.4, 0.5, 1.0];
/// Of corners and single errors.
pub const FIXED_SOC_STEP_PCT: f64 = 0.4;
pub const HEIGHT_DRIFTS_M: [f64; 2] = [0.0, 15.0];

/// Slower trucks have a fast one of their type beside them, whose seconds may serve as a library.
pub const COMPANION_FROM_S: u32 = 10;

/// How far the truth may lie from a sheet that is known, for every figure on it.
pub const KNOWN_FRAC: f64 = 0.02;
/// The same for a sheet of the shop: payload, drag area, rolling resistance, capacity.
pub const PAYLOAD_FRAC: f64 = 0.20;
pub const DRAG_FRAC: f64 = 0.15;
pub const ROLLING_FRAC: f64 = 0.20;
pub const CAPACITY_FRAC: f64 = 0.05;
/// Empty mass is weighed: only the one-factor corners move it.
const MASS_FRAC: f64 = 0.03;
/// The one efficiency on a shop's sheet lies so far either way of the usual one.
pub const EFFICIENCY_REACH: f64 = 0.03;

/// Pilots that are judged together.
#[derive(Debug, Clone, PartialEq)]
pub struct Class {
    pub label: String,
    pub kind: Kind,
    pub log: Log,
    pub knowledge: Knowledge,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Drawn,
    Corner,
    OneFactor,
}

/// One pilot to be made.
#[derive(Debug, Clone)]
pub struct Plan {
    pub class: Class,
    pub trial: Trial,
    pub seed: u64,
}

/// Every class once, in the order of its first pilot.
pub fn classes(plans: &[Plan]) -> Vec<Class> {
    let mut found: Vec<Class> = Vec::new();
    for plan in plans {
        if !found.contains(&plan.class) {
            found.push(plan.class.clone());
        }
    }
    found
}

/// The whole design.
pub fn full(seed: u64) -> Vec<Plan> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let all = power(&mut rng).into_iter().chain(charge(&mut rng)).chain(corners()).chain(one_factor());
    seeded(all.collect(), seed)
}

/// So many of them, drawn without replacement, in their order.
pub fn some(mut all: Vec<Plan>, count: usize, seed: u64) -> Vec<Plan> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    while all.len() > count {
        all.remove(rng.random_range(0..all.len()));
    }
    all
}

/// Short pilots of every kind of log.
pub fn small(seed: u64) -> Vec<Plan> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut draw = |base, log, knowledge, days| {
        let trial = drawn(&mut rng, base, log, knowledge, 0.5, 15.0);
        Plan { class: class_of(log, knowledge), trial: Trial { days, ..trial }, seed: 0 }
    };
    let mut plans = vec![
        draw(Base::Light, Log::Charge(1), Knowledge::Known, 3),
        draw(Base::Medium, Log::Power, Knowledge::Shop, 2),
        draw(Base::Medium, Log::Charge(5), Knowledge::Shop, 2),
        draw(Base::Light, Log::Charge(10), Knowledge::Shop, 2),
        draw(Base::Medium, Log::Charge(30), Knowledge::Known, 2),
    ];
    plans.extend(corners().into_iter().take(1));
    plans[5].trial.days = 2;
    seeded(plans, seed)
}

/// Every pilot has weather, crews and noise of its own.
fn seeded(plans: Vec<Plan>, seed: u64) -> Vec<Plan> {
    let of = |(index, plan)| Plan { seed: seed * 10_000 + index as u64, ..plan };
    plans.into_iter().enumerate().map(of).collect()
}

fn power(rng: &mut ChaCha8Rng) -> Vec<Plan> {
    let mut plans = Vec::new();
    for knowledge in [Knowledge::Known, Knowledge::Shop] {
        for base in BASES {
            for repeat in 0..POWER_REPEATS {
                let drift_m = HEIGHT_DRIFTS_M[repeat % HEIGHT_DRIFTS_M.len()];
                let trial = drawn(
                    rng,
                    base,
                    Log::Power,
                    knowledge,
                    SOC_STEPS_PCT[repeat % SOC_STEPS_PCT.len()],
                    drift_m,
                );
                plans.push(Plan { class: class_of(Log::Power, knowledge), trial, seed: 0 });
            }
        }
    }
    plans
}

fn charge(rng: &mut ChaCha8Rng) -> Vec<Plan> {
    let mut plans = Vec::new();
    for period_s in PERIODS_S {
        let log = Log::Charge(period_s);
        for knowledge in [Knowledge::Known, Knowledge::Shop] {
            for base in BASES {
                for soc_step_pct in SOC_STEPS_PCT {
                    for drift_m in HEIGHT_DRIFTS_M {
                        for _ in 0..REPEATS {
                            let trial = drawn(rng, base, log, knowledge, soc_step_pct, drift_m);
                            plans.push(Plan { class: class_of(log, knowledge), trial, seed: 0 });
                        }
                    }
                }
            }
        }
    }
    plans
}

fn class_of(log: Log, knowledge: Knowledge) -> Class {
    Class { label: format!("{}, {}", log.label(), knowledge.label()), kind: Kind::Drawn, log, knowledge }
}

/// A pilot whose sheet errs at random within its ranges.
fn drawn(
    rng: &mut ChaCha8Rng,
    base: Base,
    log: Log,
    knowledge: Knowledge,
    soc_step_pct: f64,
    drift_m: f64,
) -> Trial {
    let is_known = knowledge == Knowledge::Known;
    let mut factor = |shop_frac: f64| {
        let range = if is_known { KNOWN_FRAC } else { shop_frac };
        1.0 + rng.random_range(-range..range)
    };
    let sheet = SheetSays {
        payload_factor: factor(PAYLOAD_FRAC),
        payload_range_frac: if is_known { KNOWN_FRAC } else { PAYLOAD_FRAC },
        drag_area_range_frac: if is_known { KNOWN_FRAC } else { DRAG_FRAC },
        rolling_range_frac: if is_known { KNOWN_FRAC } else { ROLLING_FRAC },
        capacity_range_frac: if is_known { KNOWN_FRAC } else { CAPACITY_FRAC },
        drag_area_factor: factor(DRAG_FRAC),
        rolling_factor: factor(ROLLING_FRAC),
        capacity_factor: factor(CAPACITY_FRAC),
        ..SheetSays::RIGHT
    };
    let reach = if is_known { 0.0 } else { rng.random_range(-EFFICIENCY_REACH..EFFICIENCY_REACH) };
    let sheet = SheetSays { motor_efficiency: sheet.motor_efficiency + reach, ..sheet };
    Trial { has_payload_column: is_known, soc_step_pct, height_drift_m: drift_m, ..logged(base, log, sheet) }
}

fn logged(base: Base, log: Log, sheet: SheetSays) -> Trial {
    let period_s = log.period_s();
    Trial {
        base,
        days: DAYS,
        period_s,
        soc_step_pct: FIXED_SOC_STEP_PCT,
        has_pack_power: log == Log::Power,
        has_payload_column: false,
        has_level_column: true,
        height_drift_m: 0.0,
        has_fast_companion: period_s >= COMPANION_FROM_S,
        sheet,
    }
}

/// Where the truth lies against a shop's sheet, in ranges: payload, drag area, rolling resistance, capacity.
const CORNERS: [(&str, [f64; 4]); 6] = [
    ("all above", [1.0, 1.0, 1.0, 1.0]),
    ("all below", [-1.0, -1.0, -1.0, -1.0]),
    ("payload above, others below", [1.0, -1.0, -1.0, -1.0]),
    ("payload below, others above", [-1.0, 1.0, 1.0, 1.0]),
    ("capacity above, others below", [-1.0, -1.0, -1.0, 1.0]),
    ("capacity below, others above", [1.0, 1.0, 1.0, -1.0]),
];

fn corners() -> Vec<Plan> {
    let mut plans = Vec::new();
    for (label, signs) in CORNERS {
        for base in BASES {
            plans.extend(std::iter::repeat_n(fixed(Kind::Corner, label, base, at(signs)), REPEATS));
        }
    }
    plans
}

fn at([payload, drag, rolling, capacity]: [f64; 4]) -> SheetSays {
    SheetSays {
        payload_factor: 1.0 + payload * PAYLOAD_FRAC,
        payload_range_frac: PAYLOAD_FRAC,
        drag_area_range_frac: DRAG_FRAC,
        rolling_range_frac: ROLLING_FRAC,
        capacity_range_frac: CAPACITY_FRAC,
        drag_area_factor: 1.0 + drag * DRAG_FRAC,
        rolling_factor: 1.0 + rolling * ROLLING_FRAC,
        capacity_factor: 1.0 + capacity * CAPACITY_FRAC,
        ..SheetSays::RIGHT
    }
}

fn fixed(kind: Kind, label: &str, base: Base, sheet: SheetSays) -> Plan {
    let class = Class { label: label.to_owned(), kind, log: Log::Charge(1), knowledge: Knowledge::Shop };
    Plan { class, trial: logged(base, Log::Charge(1), sheet), seed: 0 }
}

/// A right sheet, and then one error after the other at the end of its range.
fn one_factor() -> Vec<Plan> {
    let right = at([0.0; 4]);
    let efficiency = right.motor_efficiency;
    let cases = [
        ("nothing".to_owned(), right),
        (above("payload", PAYLOAD_FRAC), at([1.0, 0.0, 0.0, 0.0])),
        (below("payload", PAYLOAD_FRAC), at([-1.0, 0.0, 0.0, 0.0])),
        (above("drag area", DRAG_FRAC), at([0.0, 1.0, 0.0, 0.0])),
        (below("drag area", DRAG_FRAC), at([0.0, -1.0, 0.0, 0.0])),
        (above("rolling resistance", ROLLING_FRAC), at([0.0, 0.0, 1.0, 0.0])),
        (below("rolling resistance", ROLLING_FRAC), at([0.0, 0.0, -1.0, 0.0])),
        (above("capacity", CAPACITY_FRAC), at([0.0, 0.0, 0.0, 1.0])),
        (below("capacity", CAPACITY_FRAC), at([0.0, 0.0, 0.0, -1.0])),
        (above("empty mass", MASS_FRAC), SheetSays { mass_factor: 1.0 + MASS_FRAC, ..right }),
        (below("empty mass", MASS_FRAC), SheetSays { mass_factor: 1.0 - MASS_FRAC, ..right }),
        (
            format!("the sheet's efficiency {:.2}", efficiency + EFFICIENCY_REACH),
            SheetSays { motor_efficiency: efficiency + EFFICIENCY_REACH, ..right },
        ),
        (
            format!("the sheet's efficiency {:.2}", efficiency - EFFICIENCY_REACH),
            SheetSays { motor_efficiency: efficiency - EFFICIENCY_REACH, ..right },
        ),
        ("blending not stated".to_owned(), SheetSays { is_blending_stated: false, ..right }),
    ];
    let of =
        |(label, sheet): &(String, SheetSays)| BASES.map(|base| fixed(Kind::OneFactor, label, base, *sheet));
    cases.iter().flat_map(of).collect()
}

fn above(what: &str, frac: f64) -> String {
    format!("{what} {:.0} % above the sheet", 100.0 * frac)
}

fn below(what: &str, frac: f64) -> String {
    format!("{what} {:.0} % below the sheet", 100.0 * frac)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_design_has_two_hundred_pilots_at_least_and_no_seed_twice() {
        let plans = full(1);
        assert!(plans.len() >= 200, "{}", plans.len());
        let mut seeds: Vec<u64> = plans.iter().map(|plan| plan.seed).collect();
        seeds.dedup();
        assert_eq!(seeds.len(), plans.len());
        assert_eq!(plans.iter().filter(|plan| plan.class.kind == Kind::Corner).count(), 24);
    }

    #[test]
    fn known_sheets_err_by_two_percent_at_most_and_shops_use_their_ranges() {
        let reach = |knowledge: Knowledge, of: fn(&SheetSays) -> f64| {
            let plans = full(3);
            let own =
                plans.iter().filter(|plan| plan.class.kind == Kind::Drawn && plan.class.knowledge == knowledge);
            own.map(|plan| (of(&plan.trial.sheet) - 1.0).abs()).fold(0.0, f64::max)
        };
        assert!(reach(Knowledge::Known, |sheet| sheet.payload_factor) <= KNOWN_FRAC);
        assert!((0.18..=0.2).contains(&reach(Knowledge::Shop, |sheet| sheet.payload_factor)));
        assert!((0.045..=0.05).contains(&reach(Knowledge::Shop, |sheet| sheet.capacity_factor)));
    }

    #[test]
    fn a_part_of_the_design_keeps_its_order() {
        let seeds: Vec<u64> = some(full(1), 40, 1).iter().map(|plan| plan.seed).collect();
        assert!(seeds.len() == 40 && seeds.windows(2).all(|pair| pair[0] < pair[1]));
    }
}
