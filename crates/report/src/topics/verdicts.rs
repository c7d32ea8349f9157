//! Assumptions of the plan with their verdicts: one for each thing the plan says, however many readings it has.

use crate::figure::Kind;

use super::rows::{Read, Row};
use super::units::Units;
use super::{causes, counted, listed};

pub const SCOPE: [&str; 3] = ["vehicle_type", "route", "season"];

/// Assumptions named in one sentence; the rest are counted.
const NAMED: usize = 4;

/// One thing the plan says, with a row for each measure it may mean.
pub struct Assumption<'a> {
    pub readings: Vec<Row<'a>>,
}

/// Readings of a share without a denominator belong together.
pub fn assumptions<'a>(rows: &[Row<'a>]) -> Read<Vec<Assumption<'a>>> {
    let mut found: Vec<Assumption<'a>> = Vec::new();
    for row in rows {
        match found.last_mut() {
            Some(last) if is_another_reading(&last.readings, row)? => last.readings.push(*row),
            _ => found.push(Assumption { readings: vec![*row] }),
        }
    }
    Ok(found)
}

fn is_another_reading(known: &[Row<'_>], row: &Row<'_>) -> Read<bool> {
    let Some(first) = known.first() else { return Ok(false) };
    let mut is_same = !row.text("could_be_true_of")?.is_empty() && !first.text("could_be_true_of")?.is_empty();
    for column in ["assumption", "vehicle_type", "route", "season"] {
        is_same &= row.text(column)? == first.text(column)?;
    }
    // The same measure again is another share of the plan's.
    for one in known {
        is_same &= one.text("measure")? != row.text("measure")?;
    }
    Ok(is_same)
}

impl<'a> Assumption<'a> {
    /// Of several readings: what all of them say, else it cannot be told.
    pub fn verdict(&self) -> Read<&'a str> {
        let Some(first) = self.readings.first() else { return Ok("cannot tell") };
        let verdict = first.text("verdict")?;
        for row in &self.readings {
            if row.text("verdict")? != verdict {
                return Ok("cannot tell");
            }
        }
        Ok(verdict)
    }

    /// "energy of light3".
    pub fn name(&self) -> Read<String> {
        let Some(first) = self.readings.first() else { return Ok(String::new()) };
        let what = first.words("assumption")?;
        let what = what.strip_suffix(" per distance").unwrap_or(&what);
        let scope = first.scope(&SCOPE)?;
        let scope = if scope == "whole pilot" { "the whole pilot".to_owned() } else { scope };
        Ok(format!("{what} of {scope}"))
    }

    /// "energy of light3: planned 0.55 kWh/mile, driven 0.548 (0.501 to 0.595; inferred; 125 vehicle-days)".
    fn told(&self, units: Units) -> Read<String> {
        let name = self.name()?;
        let [row] = &self.readings[..] else { return Ok(name) };
        Ok(format!(
            "{name}: planned {}, driven {} ({}; {}; {} vehicle-days)",
            row.in_unit("plan_value", units)?,
            row.in_unit("value_p50", units)?,
            row.range_in_unit(["value_p05", "value_p95"])?,
            row.words("evidence")?,
            row.whole("vehicle_days")?,
        ))
    }
}

/// How many agree, differ and cannot be told, which, and where the difference comes from.
pub fn lead(assumptions: &[Assumption<'_>], gaps: &[Row<'_>], units: Units) -> Read<String> {
    let (mut agrees, mut differs, mut open) = (Vec::new(), Vec::new(), Vec::new());
    for one in assumptions {
        match one.verdict()? {
            "agrees" => agrees.push(one.told(units)?),
            "differs" => {
                let cause = match one.readings.first() {
                    Some(row) => causes::in_short(row, gaps, units)?,
                    None => None,
                };
                let cause = cause.map_or(String::new(), |cause| format!("; {cause}"));
                differs.push(format!("{}{cause}", one.told(units)?));
            }
            _ => open.push(one.name()?),
        }
    }
    let part = |mut named: Vec<String>, one: &str, several: &str| {
        let n = named.len();
        let verb = if n == 1 { one } else { several };
        let rest = n.saturating_sub(NAMED);
        named.truncate(NAMED + usize::from(rest == 1));
        let rest = if rest > 1 { format!("; and {rest} more") } else { String::new() };
        if n == 0 { format!("none {one}") } else { format!("{n} {verb} ({}{rest})", named.join("; ")) }
    };
    Ok(format!(
        "The plan makes {}: {}.",
        counted(assumptions.len(), "assumption"),
        listed(&[
            part(agrees, "agrees", "agree"),
            part(differs, "differs", "differ"),
            part(open, "cannot be told yet", "cannot be told yet"),
        ])
    ))
}

/// What a share without a denominator could be a share of.
pub fn unstated(assumptions: &[Assumption<'_>], units: Units) -> Read<Vec<String>> {
    let mut told = Vec::new();
    for one in assumptions {
        let Some(first) = one.readings.first() else { continue };
        if first.text("could_be_true_of")?.is_empty() {
            continue;
        }
        let mut could = Vec::new();
        for row in &one.readings {
            could.push(format!(
                "of {}, driven {} ({}; {}; {} vehicle-days): {}",
                bracketed(row.text("measure")?),
                row.in_unit("value_p50", units)?,
                row.range_in_unit(["value_p05", "value_p95"])?,
                row.words("evidence")?,
                row.whole("vehicle_days")?,
                row.text("could_be_true_of")?
            ));
        }
        told.push(format!(
            "The plan's regen share of {} names no denominator. Could it be true {}?",
            first.in_unit("plan_value", units)?,
            could.join("; ")
        ));
    }
    Ok(told)
}

/// "R1 recapture of braking (recovered over braking energy)": a name with what it stands for.
fn bracketed(measure: &str) -> String {
    match measure.split_once(": ") {
        Some((name, formula)) => format!("{name} [{formula}]"),
        None => measure.to_owned(),
    }
}

/// One energy of the plan, with both its intervals and its causes.
pub fn energy(row: &Row<'_>, gaps: &[Row<'_>], units: Units) -> Read<String> {
    let scope = row.scope(&SCOPE)?;
    let planned = row.in_unit("plan_value", units)?;
    if row.number("value_p50")?.is_none() {
        return Ok(format!(
            "Energy, {scope}: planned {planned}, and nothing driven or claimed there to hold it against: {}.",
            row.words("verdict")?,
        ));
    }
    let alone = causes::these_trucks(row, gaps)?;
    let of_these = alone.map_or(String::new(), |[low, high]| {
        let end = |kwh_mi: f64| units.figure(Kind::PerDistance.si_of("_kwh_mi", kwh_mi), Kind::PerDistance, 3);
        format!(", for these trucks alone {} to {}", end(low), end(high))
    });
    let verdict = row.words("verdict")?;
    let left = left_open(row, alone)?.unwrap_or_default();
    let cause = causes::told(row, gaps, units)?.map_or(String::new(), |cause| format!(" {cause}"));
    Ok(format!(
        "Energy, {scope}: {verdict}. Planned {planned}, driven {} (90 % interval for any such trucks {}{of_these}; {}; {} \
         vehicle-days, {} {}).{left}{cause}",
        row.in_unit("value_p50", units)?,
        row.range_in_unit(["value_p05", "value_p95"])?,
        row.words("evidence")?,
        row.whole("vehicle_days")?,
        row.shown("distance_mi", Kind::Distance, 0)?,
        units.distance(),
    ))
}

/// Where there is no verdict on any such trucks, but these trucks are plainly on one side of the margin, or within it.
fn left_open(row: &Row<'_>, alone: Option<[f64; 2]>) -> Read<Option<&'static str>> {
    let margin = row.number("margin_low")?.zip(row.number("margin_high")?);
    let (Some([low, high]), Some((least, most))) = (alone, margin) else { return Ok(None) };
    if row.text("verdict")? != "cannot tell" {
        return Ok(None);
    }
    Ok(if high < least {
        Some(" These trucks lie wholly below what still agrees; open is whether others like them would.")
    } else if low > most {
        Some(" These trucks lie wholly above what still agrees; open is whether others like them would.")
    } else if low > least && high < most {
        Some(" These trucks lie wholly within what still agrees; open is whether others like them would.")
    } else {
        None
    })
}
