//! Whose change it is: a driver who keeps to one truck takes it along when either of them changes.

use std::collections::BTreeMap;

use backwatt_stats::mixed::{Design, Fit, fit, is_independent};

use super::comparison::Model;
use super::driver_days::Key;

/// What the rows say of a step that was found for one subject.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Whose {
    Own,
    /// The step of the other explains it, and nothing of its own is left.
    Of(String),
    /// Either step explains it as well.
    Either(String),
}

/// Who drove, or what was driven.
type OfKey = fn(&Key) -> &str;

/// Another who was there on this share of the subject's distance may be behind its change. Ours, no source.
const TOGETHER: f64 = 0.2;
const COVERAGE: f64 = 0.95;

/// The step of a driver or vehicle from a day on, with a step on the same day of each of those it mostly went with beside it.
///
/// y = model + a [own, from the day on] + b [other, from the day on]; own where a keeps clear of nothing whoever the other is
/// Missing  nobody of the other kind went with it often enough: its own
/// Source   partial regression in the mixed model of the comparison; small-sample intervals as for every contrast there
pub(super) fn whose(model: &Model, keys: &[&Key], kind: &'static str, name: &str, day: &str) -> Whose {
    let (own, other, other_kind): (OfKey, OfKey, _) = if kind == "driver" {
        (|key| &key.driver, |key| &key.vehicle, "vehicle")
    } else {
        (|key| &key.vehicle, |key| &key.driver, "driver")
    };
    let step = |of: OfKey, name: &str| -> Vec<f64> {
        let is = |key: &&Key| of(key) == name && key.day.as_str() >= day;
        keys.iter().map(|key| f64::from(u8::from(is(key)))).collect()
    };
    let mut open = None;
    for rival in together(model, keys, own, other, name) {
        let called = || format!("{other_kind} {rival}");
        match tells(&model.design, step(own, name), step(other, &rival)) {
            Some([true, _]) => {}
            Some([false, true]) => return Whose::Of(called()),
            Some([false, false]) | None => open = open.or_else(|| Some(called())),
        }
    }
    open.map_or(Whose::Own, Whose::Either)
}

/// Those of the other kind on enough of the subject's distance, most first.
fn together(model: &Model, keys: &[&Key], own: OfKey, other: OfKey, name: &str) -> Vec<String> {
    let mut shares: BTreeMap<&str, f64> = BTreeMap::new();
    let mut whole = 0.0;
    for (key, weight) in keys.iter().zip(&model.design.weight).filter(|(key, _)| own(key) == name) {
        *shares.entry(other(key)).or_default() += weight;
        whole += weight;
    }
    let mut found: Vec<(&str, f64)> =
        shares.into_iter().filter(|(_, share)| *share >= TOGETHER * whole).collect();
    found.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(b.0)));
    found.into_iter().map(|(name, _)| name.to_owned()).collect()
}

/// Whether each of two steps is there with the other beside it; `None` where the rows do not tell them apart.
fn tells(design: &Design, own: Vec<f64>, other: Vec<f64>) -> Option<[bool; 2]> {
    let mut fixed = design.fixed.clone();
    let first = fixed.len();
    fixed.extend([own, other]);
    if !is_independent(&fixed) {
        return None;
    }
    let both = Design { fixed, ..design.clone() };
    let fit = fit(&both).ok()?;
    let is_there = |at: usize| is_there(&fit, at);
    Some([is_there(first)?, is_there(first + 1)?])
}

fn is_there(fit: &Fit<'_>, column: usize) -> Option<bool> {
    let unit: Vec<f64> = (0..=column).map(|at| f64::from(u8::from(at == column))).collect();
    let estimate = fit.contrast(&unit, &[]);
    Some(estimate.value.abs() > estimate.half_width(COVERAGE)?)
}
