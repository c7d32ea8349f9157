//! What only all rows of a vehicle together can tell: which way its battery signals count, and which units are in doubt.

use std::collections::BTreeMap;

use backwatt_schema::Problem;

use crate::frame::{Frame, mask};
use crate::rules::units;
use crate::settings::{Positive, Settings, Source};
use crate::sign;
use crate::signal::{CURRENT, POWER, SIGNALS, VOLTAGE};
use crate::vehicle::FileKind;
use crate::window::Window;

/// Hears windows of rows, each once.
#[derive(Debug, Default)]
pub struct Hearing {
    /// By source and signal.
    signs: BTreeMap<(usize, usize), sign::Witness>,
    /// By source.
    units: BTreeMap<usize, units::Witness>,
}

/// What was settled.
#[derive(Debug, Default)]
pub struct Settled {
    /// By source and signal.
    turns: BTreeMap<(usize, usize), Turn>,
    /// Signals whose unit is in doubt, by source.
    suspected: BTreeMap<usize, Vec<usize>>,
    /// How the sign of the battery signal is known, by source.
    pub signs: BTreeMap<String, String>,
    /// Signals in doubt, by source.
    pub suspected_texts: BTreeMap<String, Vec<String>>,
    pub problems: Vec<Problem>,
}

/// What to multiply a battery signal by, nothing where it is not to be used; and whether that is beyond doubt.
#[derive(Debug, Clone, Copy)]
struct Turn {
    factor: Option<f64>,
    sure: bool,
}

impl Hearing {
    /// Hears the window's own rows.
    pub fn hear(&mut self, settings: &Settings, frame: &Frame, kinds: &[Option<FileKind>], window: &Window) {
        let own = window.own(&frame.time_ns);
        for (number, source) in settings.sources.iter().enumerate() {
            let belongs = |i: usize| own.contains(&i) && kinds[i].is_some_and(|kind| kind.source == number);
            if !own.clone().any(belongs) {
                continue;
            }
            for signal in [CURRENT, POWER] {
                if source.columns.iter().any(|mapping| mapping.signal == signal) {
                    self.signs.entry((number, signal)).or_default().add(frame, signal, belongs);
                }
            }
            self.units.entry(number).or_default().add(frame, belongs);
        }
    }

    pub fn settle(&self, settings: &Settings, vehicle: &str) -> Settled {
        let mut settled = Settled::default();
        for (&(number, signal), witness) in self.signs.iter().filter(|(_, witness)| witness.met) {
            let source = &settings.sources[number];
            if let Some(mapping) = source.columns.iter().find(|mapping| mapping.signal == signal) {
                let turn = decide(mapping.positive, &witness.verdict(), source, vehicle, signal, &mut settled);
                settled.turns.insert((number, signal), turn);
            }
        }
        for (&number, witness) in &self.units {
            let source = &settings.sources[number];
            for suspicion in witness.suspicions(source) {
                settled.suspected.entry(number).or_default().push(suspicion.signal);
                let texts = settled.suspected_texts.entry(source.name.clone()).or_default();
                texts.push(format!("{}, {}", suspicion.text, suspicion.hint));
                settled.problems.push(suspicion.problem(source, vehicle));
            }
        }
        settled
    }
}

impl Settled {
    /// Turns battery signals so that leaving the battery is positive, sets aside what is not proved, and marks what is in doubt.
    pub fn apply(&self, frame: &mut Frame, kinds: &[Option<FileKind>]) {
        units::mark(frame, &self.suspected, |row| kinds[row].map(|kind| kind.source));
        for (&(number, signal), turn) in &self.turns {
            for i in (0..frame.len()).filter(|i| kinds[*i].is_some_and(|kind| kind.source == number)) {
                let value = &mut frame.numbers[signal][i];
                if !turn.sure && !value.is_nan() {
                    frame.mask[i] |= mask::SIGN_UNSETTLED;
                }
                *value = turn.factor.map_or(f64::NAN, |factor| *value * factor + 0.0);
            }
        }
        // Where both are logged the power column stands; elsewhere power is voltage times current.
        for i in 0..frame.len() {
            if frame.numbers[POWER][i].is_nan() {
                frame.numbers[POWER][i] = frame.numbers[VOLTAGE][i] * frame.numbers[CURRENT][i];
            }
        }
    }
}

fn decide(
    positive: Positive,
    verdict: &sign::Verdict,
    source: &Source,
    vehicle: &str,
    signal: usize,
    settled: &mut Settled,
) -> Turn {
    let name = SIGNALS[signal].name;
    let stated = match positive {
        Positive::Discharge => Some(1.0),
        Positive::Charge => Some(-1.0),
        Positive::Prove => None,
    };
    let word = |factor: f64| if factor > 0.0 { "discharge" } else { "charge" };
    let found = verdict.describe();
    let (turn, text) = match (stated, verdict.discharge) {
        (Some(stated), Some(proved)) if stated != proved => {
            let message = format!(
                "{name} of vehicle {vehicle} is stated as positive = \"{}\", but the data say \"{}\" ({found})",
                word(stated),
                word(proved)
            );
            let key = format!("sources.{}.columns.{name}.positive", source.name);
            settled.problems.push(
                Problem::warning("ingest-sign-contradicted", message)
                    .named(key)
                    .hint("the stated sign was used; check it before trusting any battery figure"),
            );
            let text = format!("positive is {}, stated, contradicted by the data ({found})", word(stated));
            (Turn { factor: Some(stated), sure: false }, text)
        }
        (Some(stated), _) => (
            Turn { factor: Some(stated), sure: true },
            format!("positive is {}, stated ({found})", word(stated)),
        ),
        (None, Some(proved)) => (
            Turn { factor: Some(proved), sure: true },
            format!("positive is {}, proved ({found})", word(proved)),
        ),
        (None, None) => {
            let message =
                format!("which way {name} of vehicle {vehicle} counts is not proved by the data ({found})");
            let key = format!("sources.{}.columns.{name}.positive", source.name);
            settled.problems.push(
                Problem::warning("ingest-sign-unproved", message)
                    .named(key)
                    .hint("the signal was set aside; state positive = \"discharge\" or \"charge\" to use it"),
            );
            (Turn { factor: None, sure: false }, format!("not proved, not used ({found})"))
        }
    };
    settled.signs.insert(source.name.clone(), format!("{name}: {text}"));
    turn
}
