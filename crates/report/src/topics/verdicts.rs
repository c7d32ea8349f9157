//! Assumptions of the plan with their verdicts: one for each thing the plan says, however many readings it has.

use crate::figure::Kind;

use super::rows::{Read, Row};
use super::units::Units;
use super::{causes, counted};

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

    /// "energy of light3, planned 0.55 kWh/mile, driven 0.548 kWh/mile (90 % interval 0.501 to 0.595; inferred; 125 vehicle-days)".
    fn told(&self, units: Units) -> Read<String> {
        let name = self.name()?;
        let [row] = &self.readings[..] else { return Ok(name) };
        Ok(format!(
            "{name}, planned {}, driven {} (90 % interval for any such trucks {}; {}; {} vehicle-days)",
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
            "agrees" => {
                let told = one.told(units)?;
                let cancels = one.readings.first().map_or(Ok(false), |row| causes::cancels(row, gaps))?;
                agrees.push(if cancels { format!("{told}, but by parts that cancel") } else { told });
            }
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
    Ok(format!(
        "The plan makes {}.{}{}{}{}",
        counted(assumptions.len(), "assumption"),
        part(agrees, "agrees", "agree"),
        part(differs, "differs", "differ"),
        part(open, "cannot be told yet", "cannot be told yet"),
        by_reading(assumptions)?,
    ))
}

/// A share that names no denominator stands in picture and table once for each thing it may be a share of.
fn by_reading(assumptions: &[Assumption<'_>]) -> Read<String> {
    let (mut agree, mut differ, mut readings) = (0, 0, 0);
    for row in assumptions.iter().flat_map(|one| &one.readings) {
        readings += 1;
        match row.text("verdict")? {
            "agrees" => agree += 1,
            "differs" => differ += 1,
            _ => {}
        }
    }
    Ok(if readings == assumptions.len() {
        String::new()
    } else {
        format!(
            " A share that names no denominator is held against each thing it may be a share of: of {readings} readings in all {agree} agree, {differ} differ and {} cannot be told.",
            readings - agree - differ
        )
    })
}

/// " 2 agree: one; another."
fn part(mut named: Vec<String>, one: &str, several: &str) -> String {
    let n = named.len();
    if n == 0 {
        return format!(" None {one}.");
    }
    let verb = if n == 1 { one } else { several };
    let rest = if n > NAMED + 1 { format!("; and {} more", n - NAMED) } else { String::new() };
    if !rest.is_empty() {
        named.truncate(NAMED);
    }
    format!(" {n} {verb}: {}{rest}.", named.join("; "))
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
                "Of {}, driven {} (90 % interval {}; {}; {} vehicle-days): {}",
                bracketed(row.text("measure")?),
                row.in_unit("value_p50", units)?,
                row.range_in_unit(["value_p05", "value_p95"])?,
                row.words("evidence")?,
                row.whole("vehicle_days")?,
                row.text("could_be_true_of")?
            ));
        }
        told.push(format!(
            "The plan's regen share of {} names no denominator. Could it be true? {}.",
            first.in_unit("plan_value", units)?,
            could.join(". ")
        ));
    }
    Ok(told)
}

/// "recapture of braking (recovered over braking energy)": a name with what it stands for.
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

#[cfg(test)]
mod tests {
    use backwatt_schema::tables;

    use super::*;
    use crate::figure::plain;
    use crate::topics::made::{Typed, batch};
    use crate::topics::rows::rows;

    const US: Units = Units { metric: false };
    const VAN: [(&str, &str); 12] = [
        ("assumption", "energy per distance"),
        ("vehicle_type", "van"),
        ("unit", "kW.h/[mi_i]"),
        ("plan_value", "1.1"),
        ("margin_low", "0.99"),
        ("margin_high", "1.21"),
        ("value_p05", "0.75"),
        ("value_p50", "0.8"),
        ("value_p95", "1.02"),
        ("verdict", "cannot tell"),
        ("evidence", "modelled"),
        ("vehicle_days", "12"),
    ];
    const SHARE: [(&str, &str); 3] = [("assumption", "regen share"), ("unit", "1"), ("plan_value", "0.3")];

    fn reading(measure: &'static str, verdict: &'static str) -> Vec<(&'static str, &'static str)> {
        let could = if verdict == "differs" { "no" } else { "cannot tell" };
        [&SHARE[..], &[("measure", measure), ("verdict", verdict), ("could_be_true_of", could)]].concat()
    }

    #[test]
    fn readings_of_one_share_are_one_assumption() {
        let of = [
            reading("R1", "differs"),
            reading("R4", "cannot tell"),
            reading("R1", "differs"),
            reading("R4", "differs"),
        ];
        let typed: Vec<Typed<'_>> = std::iter::once(&VAN[..]).chain(of.iter().map(Vec::as_slice)).collect();
        let table = batch(&tables::PLAN_CHECK, &typed);
        let found = assumptions(&rows(&tables::PLAN_CHECK, &table, false)).expect("assumptions");
        let verdicts: Vec<_> =
            found.iter().map(|one| (one.readings.len(), one.verdict().expect("a verdict"))).collect();
        assert_eq!(verdicts, [(1, "cannot tell"), (2, "cannot tell"), (2, "differs")]);
        let told = lead(&found, &[], US).expect("a sentence");
        assert_eq!(
            plain(&told),
            "The plan makes 3 assumptions. None agrees. 1 differs: regen share of the whole pilot. 2 cannot be told yet: energy of van; regen share \
             of the whole pilot. A share that names no denominator is held against each thing it may be a share of: of 5 readings in all 0 agree, \
             3 differ and 2 cannot be told."
        );
    }

    #[test]
    fn trucks_that_lie_beside_the_margin_are_told_from_all_such_trucks() {
        let whole = |high| {
            [
                ("vehicle_type", "van"),
                ("part", "whole"),
                ("gap_p05_kwh_mi", "-0.4"),
                ("gap_p50_kwh_mi", "-0.3"),
                ("gap_p95_kwh_mi", high),
            ]
        };
        let part = |part, p05, p50, p95| {
            [
                ("vehicle_type", "van"),
                ("part", part),
                ("gap_p05_kwh_mi", p05),
                ("gap_p50_kwh_mi", p50),
                ("gap_p95_kwh_mi", p95),
            ]
        };
        for (high, told_so) in [("-0.2", true), ("-0.1", false)] {
            let gap = [
                whole(high),
                part("observed less the model of what was driven", "-0.05", "0.01", "0.07"),
                part("payload", "0.01", "0.02", "0.03"),
                part("grade", "0.02", "0.03", "0.04"),
                part("the model of the plan's scenario less the plan", "-0.42", "-0.36", "-0.3"),
            ];
            let gap: Vec<Typed<'_>> = gap.iter().map(|row| &row[..]).collect();
            let (check, gap) = (batch(&tables::PLAN_CHECK, &[&VAN]), batch(&tables::PLAN_GAP, &gap));
            let (check, gap) = (rows(&tables::PLAN_CHECK, &check, false), rows(&tables::PLAN_GAP, &gap, false));
            let told = plain(&energy(&check[0], &gap, US).expect("a sentence"));
            assert_eq!(told.contains("These trucks lie wholly below what still agrees"), told_so, "{told}");
            assert!(told.contains("for these trucks alone 0.700 to "), "{told}");
            assert!(
                told.contains("use what the model expects of them (0.010 kWh/mile, -0.050 to 0.070)"),
                "{told}"
            );
            assert!(told.contains("Payload and grade add 0.050 kWh/mile"), "{told}");
            assert!(told.contains("own number is 0.360 kWh/mile above"), "{told}");
            let cause = causes::in_short(&check[0], &gap, US).expect("a cause").map(|cause| plain(&cause));
            assert_eq!(
                cause.as_deref(),
                Some(
                    "by the model the plan's number is 0.360 kWh/mile too high even for the load, hills, weather and level it assumes; with what and how it was driven added 0.060, so 0.300 is left"
                )
            );
        }
    }
}
