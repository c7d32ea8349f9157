//! What is to be reached, over a ten-day pilot of one truck, against the truth.

/// What a pilot logs of the battery, and how often it logs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Log {
    /// Pack voltage and current, once a second.
    Power,
    /// State of charge alone, every so many seconds.
    Charge(u32),
}

impl Log {
    pub fn period_s(self) -> u32 {
        match self {
            Log::Power => 1,
            Log::Charge(period_s) => period_s,
        }
    }

    pub fn label(self) -> String {
        match self {
            Log::Power => "pack voltage and current, 1 Hz".to_owned(),
            Log::Charge(1) => "state of charge, 1 Hz".to_owned(),
            Log::Charge(period_s) => format!("state of charge, {period_s} s"),
        }
    }
}

/// How well the sheet is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Knowledge {
    Known,
    Shop,
}

impl Knowledge {
    pub fn label(self) -> &'static str {
        match self {
            Knowledge::Known => "known",
            Knowledge::Shop => "shop",
        }
    }
}

/// Share of pilots whose 90 % interval is to hold the truth.
pub const COVERAGE_90_PCT: (f64, f64) = (85.0, 95.0);

/// A target for a median error and one for a median half-width of the 90 % interval, in percent of the truth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Target {
    pub error_pct: f64,
    pub half_width_pct: Option<f64>,
}

/// Log; median error known, shop; half-width known, shop.
const RECOVERED_PCT: [(Log, [f64; 2], [f64; 2]); 4] = [
    (Log::Power, [1.0, 1.0], [3.0, 3.0]),
    (Log::Charge(1), [3.0, 6.0], [8.0, 12.0]),
    (Log::Charge(10), [8.0, 12.0], [20.0, 25.0]),
    (Log::Charge(30), [20.0, 25.0], [40.0, 40.0]),
];

/// The same for one regen level, of a log of state of charge at 1 Hz.
const LEVEL_PCT: ([f64; 2], [f64; 2]) = ([6.0, 10.0], [15.0, 20.0]);

/// Braking energy at the wheels: period [s]; median error known, shop. The interval's width has no target.
const BRAKING_PCT: [(u32, [f64; 2]); 3] = [(1, [2.0, 4.0]), (10, [5.0, 7.0]), (30, [8.0, 10.0])];

pub fn recovered(log: Log, knowledge: Knowledge) -> Option<Target> {
    let row = RECOVERED_PCT.iter().find(|row| row.0 == log)?;
    Some(Target { error_pct: pick(row.1, knowledge), half_width_pct: Some(pick(row.2, knowledge)) })
}

pub fn level(log: Log, knowledge: Knowledge) -> Option<Target> {
    let (errors, halves) = LEVEL_PCT;
    let target = Target { error_pct: pick(errors, knowledge), half_width_pct: Some(pick(halves, knowledge)) };
    (log == Log::Charge(1)).then_some(target)
}

pub fn braking(log: Log, knowledge: Knowledge) -> Option<Target> {
    let row = BRAKING_PCT.iter().find(|row| row.0 == log.period_s())?;
    Some(Target { error_pct: pick(row.1, knowledge), half_width_pct: None })
}

fn pick(pair: [f64; 2], knowledge: Knowledge) -> f64 {
    match knowledge {
        Knowledge::Known => pair[0],
        Knowledge::Shop => pair[1],
    }
}
