//! Packs in sentences: whether those a truck has are enough, on which days they are not, and how few would do.

use super::pack_cases::{AS_DRIVEN, Case, days, interval, probability};
use super::rows::{Read, Row};
use super::{counted, listed};

/// Cases named in one sentence; the rest are counted.
const NAMED: usize = 3;

/// Of each type whose packs are known: are they enough?
pub fn fitted(cases: &[Case<'_>], tells_charging: bool) -> Read<Vec<String>> {
    let mut told = Vec::new();
    for of_type in by_type(cases)? {
        if let Some(sentence) = of_fitted(of_type, tells_charging)? {
            told.push(sentence);
        }
    }
    Ok(told)
}

/// Cases of one type, which stand together.
fn by_type<'c, 'a>(cases: &'c [Case<'a>]) -> Read<Vec<&'c [Case<'a>]>> {
    let mut types = Vec::new();
    let mut from = 0;
    for at in 1..=cases.len() {
        let ends = match cases.get(at) {
            Some(case) => case.words("vehicle_type")? != cases[from].words("vehicle_type")?,
            None => true,
        };
        if ends {
            types.push(&cases[from..at]);
            from = at;
        }
    }
    Ok(types)
}

fn of_fitted(cases: &[Case<'_>], tells_charging: bool) -> Read<Option<String>> {
    let Some((name, packs)) = cases.first().and_then(|case| Some((case.words("vehicle_type"), case.fitted?)))
    else {
        return Ok(None);
    };
    let (mut enough, mut short, mut silent) = (Vec::new(), Vec::new(), Vec::new());
    for case in cases {
        let place = case.place(tells_charging)?;
        let Some(row) = case.fitted(AS_DRIVEN)? else { continue };
        if row.number("probability_finish_frac")?.is_none() {
            silent.push(format!("{place}, not known ({})", days(&row)?));
        } else if row.flag("meets_target")? && is_sure(&row)? {
            enough.push((place, row));
        } else if row.flag("meets_target")? {
            short.push(format!("{place}, probably enough ({})", told_of(&row)?));
        } else {
            short.push(format!("{place}, {} ({})", verdict(&row)?, told_of(&row)?));
        }
    }
    let head = format!("{} has {}", name?, counted(packs as usize, "pack"));
    if enough.is_empty() && short.is_empty() {
        return Ok(Some(format!(
            "{head}: of so many nothing can be said, for want of days or because they were not looked at."
        )));
    }
    let several = short.len() + silent.len();
    short.extend(silent);
    let Some((place, row)) = least_sure(&enough)? else {
        return Ok(Some(format!("{head}, not shown to be enough as driven on any route: {}.", some(short))));
    };
    let all = if several == 0 { String::new() } else { format!(" but these: {}", some(short)) };
    let rest = if enough.len() == 1 { "The other" } else { "Least sure of the rest" };
    let rest = if several == 0 { "Least sure" } else { rest };
    Ok(Some(format!(
        "{head}, enough as driven on every route and season{all}. {rest}: {place} ({}).",
        told_of(row)?
    )))
}

/// Whether the whole interval meets the target. Said probabilities run a little high, as checked on made-up pilots.
fn is_sure(row: &Row<'_>) -> Read<bool> {
    let ends = row.number("probability_finish_p05_frac")?.zip(row.number("target_frac")?);
    Ok(ends.is_none_or(|(low, target)| low >= target))
}

/// "finished on 90 of 100 such days, interval 84 to over 99; 3 vehicle-days; inferred".
fn told_of(row: &Row<'_>) -> Read<String> {
    Ok(format!("{}; {}; {}", chance(row)?, days(row)?, row.words("evidence")?))
}

/// "on 90 of 100 such days, 84 to over 99".
fn chance(row: &Row<'_>) -> Read<String> {
    let (probability, interval) = (probability(row)?, interval(row)?);
    Ok(if interval == probability {
        format!("on {probability} of 100 such days")
    } else {
        format!("on {probability} of 100 such days, {interval}")
    })
}

/// On which kinds of day the packs that are there fall short, beside days as driven.
pub fn other_days(cases: &[Case<'_>], kinds: &[&str], tells_charging: bool) -> Read<Vec<String>> {
    let others: Vec<&str> = kinds.iter().copied().filter(|kind| *kind != AS_DRIVEN).collect();
    let mut told = Vec::new();
    if others.is_empty() {
        return Ok(told);
    }
    for of_type in by_type(cases)? {
        let Some((name, packs)) =
            of_type.first().and_then(|case| Some((case.words("vehicle_type"), case.fitted?)))
        else {
            continue;
        };
        let (mut short, mut judged) = (Vec::new(), 0);
        for case in of_type {
            let mut missed = Vec::new();
            for kind in &others {
                let Some(row) = case.fitted(kind)? else { continue };
                if row.number("probability_finish_frac")?.is_none() {
                    continue;
                }
                judged += 1;
                if !row.flag("meets_target")? {
                    missed.push(format!("{kind}: {}", chance(&row)?));
                }
            }
            if !missed.is_empty() {
                short.push(format!("{} ({})", case.place(tells_charging)?, missed.join("; ")));
            }
        }
        let (name, days) = (name?, others.join("; "));
        if judged > 0 {
            told.push(if short.is_empty() {
                format!("The {packs} packs of {name} are enough on every other kind of day as well ({days}), wherever there are days enough to say.")
            } else {
                format!("Of the other kinds of day ({days}) the {packs} packs of {name} are not shown to be enough on {}.", some(short))
            });
        }
    }
    Ok(told)
}

/// Of a count that misses the target: sure of it only where the whole interval does.
fn verdict(row: &Row<'_>) -> Read<&'static str> {
    let ends = row.number("probability_finish_p95_frac")?.zip(row.number("target_frac")?);
    Ok(if ends.is_some_and(|(high, target)| high < target) { "not enough" } else { "not shown to be enough" })
}

/// How few would do as driven, and of which that is least sure.
pub fn fewest(cases: &[Case<'_>], tells_charging: bool) -> Read<String> {
    let (mut counts, mut enough, mut short, mut silent) = (Vec::new(), Vec::new(), 0, 0);
    for case in cases {
        let Some(row) = case.fewest(AS_DRIVEN)? else { continue };
        match (row.flag("is_smallest")?, row.number("probability_finish_frac")?) {
            (true, _) => {
                counts.extend(row.count("packs")?);
                enough
                    .push((format!("{} on {}", case.words("vehicle_type")?, case.place(tells_charging)?), row));
            }
            (false, Some(_)) => short += 1,
            (false, None) => silent += 1,
        }
    }
    let mut parts = Vec::new();
    let mut different = counts.clone();
    different.sort_unstable();
    different.dedup();
    for packs in different {
        let times = counts.iter().filter(|n| **n == packs).count();
        parts.push(format!("{packs} in {times}"));
    }
    if short > 0 {
        parts.push(format!("none of those looked at in {short}"));
    }
    if silent > 0 {
        parts.push(format!("not known in {silent}, for want of days"));
    }
    let least = match least_sure(&enough)? {
        Some((place, row)) => {
            format!(" Least sure of these: {} packs, {place} ({}).", row.whole("packs")?, told_of(row)?)
        }
        None => String::new(),
    };
    Ok(format!(
        "The fewest packs that will do as driven, of {} of type, route and season: {}.{least}",
        counted(cases.len(), "case"),
        listed(&parts)
    ))
}

/// The lowest probability among those that will do; of equals the one whose interval reaches lowest.
fn least_sure<'r, 'a>(enough: &'r [(String, Row<'a>)]) -> Read<Option<(&'r str, &'r Row<'a>)>> {
    let mut least: Option<([f64; 2], (&str, &Row<'_>))> = None;
    for (place, row) in enough {
        let of = |column: &str| -> Read<f64> { Ok(row.number(column)?.unwrap_or(1.0)) };
        let sure = [of("probability_finish_frac")?, of("probability_finish_p05_frac")?];
        if least.as_ref().is_none_or(|(known, _)| sure < *known) {
            least = Some((sure, (place, row)));
        }
    }
    Ok(least.map(|(_, of)| of))
}

fn some(mut named: Vec<String>) -> String {
    let rest = named.len().saturating_sub(NAMED);
    named.truncate(NAMED);
    let rest = if rest > 0 { format!("; and {rest} more") } else { String::new() };
    format!("{}{rest}", named.join("; "))
}
