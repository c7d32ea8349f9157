//! Why driven and planned energy differ: the parts of the gap in words.

use crate::figure::Kind;

use super::listed;
use super::rows::{Read, Row};
use super::units::Units;
use super::verdicts::SCOPE;

const OF_SHEET: &str = "observed less the model of what was driven";
const OF_PLAN: &str = "the model of the plan's scenario less the plan";

/// A part of the gap as a reader is told it.
pub fn part(row: &Row<'_>) -> Read<String> {
    Ok(match row.text("part")? {
        "whole" => "the whole gap: driven less planned".to_owned(),
        OF_SHEET => "the trucks against their sheet".to_owned(),
        OF_PLAN => "the plan's number, off for its own scenario".to_owned(),
        _ => row.words("part")?,
    })
}

/// The parts of one assumption's gap.
struct Gap<'a> {
    whole: Row<'a>,
    of_sheet: Row<'a>,
    of_plan: Row<'a>,
    /// Of how it was driven, with a figure.
    driving: Vec<Row<'a>>,
    not_split: Vec<Row<'a>>,
}

impl<'a> Gap<'a> {
    /// None where the assumption's gap is not split.
    fn of(check: &Row<'_>, gaps: &[Row<'a>]) -> Read<Option<Self>> {
        let (mut whole, mut of_sheet, mut of_plan) = (None, None, None);
        let (mut driving, mut not_split) = (Vec::new(), Vec::new());
        if !check.text("assumption")?.starts_with("energy") {
            return Ok(None);
        }
        for row in gaps {
            let mut is_of_it = true;
            for column in SCOPE {
                is_of_it &= row.text(column)? == check.text(column)?;
            }
            if !is_of_it {
                continue;
            }
            let is_known = row.number("gap_p50_kwh_mi")?.is_some();
            match row.text("part")? {
                "whole" if is_known => whole = Some(*row),
                OF_SHEET if is_known => of_sheet = Some(*row),
                OF_PLAN if is_known => of_plan = Some(*row),
                _ if is_known => driving.push(*row),
                _ => not_split.push(*row),
            }
        }
        Ok(match (whole, of_sheet, of_plan) {
            (Some(whole), Some(of_sheet), Some(of_plan)) => {
                Some(Self { whole, of_sheet, of_plan, driving, not_split })
            }
            _ => None,
        })
    }

    /// What was driven otherwise than planned adds, in all. [kWh/mi]
    fn driven_otherwise(&self) -> Read<f64> {
        self.driving.iter().map(|row| Ok(row.number("gap_p50_kwh_mi")?.unwrap_or(0.0))).sum()
    }
}

/// The 90 % interval of what was driven for these trucks alone, from the whole gap. [kWh/mi]
pub fn these_trucks(check: &Row<'_>, gaps: &[Row<'_>]) -> Read<Option<[f64; 2]>> {
    let (Some(gap), Some(plan)) = (Gap::of(check, gaps)?, check.number("plan_value")?) else { return Ok(None) };
    let ends = gap.whole.number("gap_p05_kwh_mi")?.zip(gap.whole.number("gap_p95_kwh_mi")?);
    Ok(ends.map(|(low, high)| [plan + low, plan + high]))
}

/// The part that weighs most on the side of the whole gap.
pub fn in_short(check: &Row<'_>, gaps: &[Row<'_>], units: Units) -> Read<Option<String>> {
    let Some(gap) = Gap::of(check, gaps)? else { return Ok(None) };
    let of = |row: &Row<'_>| -> Read<f64> { Ok(row.number("gap_p50_kwh_mi")?.unwrap_or(0.0)) };
    let side = of(&gap.whole)?.signum();
    let parts = [side * of(&gap.of_sheet)?, side * gap.driven_otherwise()?, side * of(&gap.of_plan)?];
    let most = parts.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if most <= 0.0 {
        return Ok(None);
    }
    let most_of_it = format!("{} {}", amount(most, units), units.per_distance());
    Ok(Some(if most == parts[2] {
        let way = if side < 0.0 { "high" } else { "low" };
        format!(
            "by the model the plan's number is {most_of_it} too {way} even for the load, hills, weather and level it assumes{}",
            taken_back(&gap, side, most, units)?
        )
    } else if most == parts[0] {
        format!("the trucks use {most_of_it} {} than the model expects of them", more_or_less(side))
    } else {
        format!("what was driven otherwise than planned takes {most_of_it} {}", more_or_less(side))
    }))
}

/// What the other parts take back of the greatest, so that the gap itself is left.
fn taken_back(gap: &Gap<'_>, side: f64, most: f64, units: Units) -> Read<String> {
    let whole = side * gap.whole.number("gap_p50_kwh_mi")?.unwrap_or(0.0);
    let back = most - whole;
    Ok(if back > 0.0 {
        let way = if side < 0.0 { "added" } else { "took off" };
        format!(
            "; with what and how it was driven {way} {}, so {} is left",
            amount(back, units),
            amount(whole, units)
        )
    } else {
        String::new()
    })
}

/// Each part of the gap in turn.
pub fn told(check: &Row<'_>, gaps: &[Row<'_>], units: Units) -> Read<Option<String>> {
    let Some(gap) = Gap::of(check, gaps)? else { return Ok(None) };
    let mut told = vec![of_sheet(&gap.of_sheet, units)?];
    if !gap.driving.is_empty() {
        let sum = gap.driven_otherwise()?;
        let names = gap.driving.iter().map(|row| row.words("part")).collect::<Read<Vec<_>>>()?;
        let verb = match (sum < 0.0, names.len()) {
            (true, 1) => "takes off",
            (true, _) => "take off",
            (false, 1) => "adds",
            (false, _) => "add",
        };
        told.push(format!(
            "{} {verb} {} {} against the plan's scenario (sum of the parts; their intervals do not add up).",
            capital(&listed(&names)),
            amount(sum.abs(), units),
            units.per_distance(),
        ));
    }
    told.push(of_plan(&gap.of_plan, units)?);
    if let Some([own, other]) = cancel(check, &gap)? {
        told.push(format!(
            "So it agrees by parts that cancel ({} and {} {}): other driving would show the difference.",
            amount(other, units),
            amount(own, units),
            units.per_distance(),
        ));
    }
    if !gap.not_split.is_empty() {
        let names = gap.not_split.iter().map(|row| row.words("part")).collect::<Read<Vec<_>>>()?;
        told.push(format!(
            "{} cannot be split: the plan's scenario states nothing of it.",
            capital(&listed(&names))
        ));
    }
    Ok(Some(format!("By the model: {}", told.join(" "))))
}

fn of_sheet(row: &Row<'_>, units: Units) -> Read<String> {
    let value = row.number("gap_p50_kwh_mi")?.unwrap_or(0.0);
    let range = row.range(["gap_p05_kwh_mi", "gap_p95_kwh_mi"], Kind::PerDistance, 3)?;
    Ok(if holds_none(row)? {
        format!(
            "the trucks use what the model expects of them ({} {}, {range}).",
            row.shown("gap_p50_kwh_mi", Kind::PerDistance, 3)?,
            units.per_distance()
        )
    } else {
        format!(
            "the trucks use {} {} {} than the model expects of them ({range}).",
            amount(value.abs(), units),
            units.per_distance(),
            more_or_less(value),
        )
    })
}

fn of_plan(row: &Row<'_>, units: Units) -> Read<String> {
    let value = row.number("gap_p50_kwh_mi")?.unwrap_or(0.0);
    let range = row.range(["gap_p05_kwh_mi", "gap_p95_kwh_mi"], Kind::PerDistance, 3)?;
    if holds_none(row)? {
        return Ok(format!(
            "The plan's number is what its own scenario gives by the model ({} {}, {range}).",
            row.shown("gap_p50_kwh_mi", Kind::PerDistance, 3)?,
            units.per_distance()
        ));
    }
    let (way, so) = if value < 0.0 { ("above", "high") } else { ("below", "low") };
    Ok(format!(
        "The plan's own number is {} {} {way} what its scenario gives by the model (model less plan {range}): the assumption is {so}.",
        amount(value.abs(), units),
        units.per_distance(),
    ))
}

/// True where the interval has zero in it.
fn holds_none(row: &Row<'_>) -> Read<bool> {
    let ends = row.number("gap_p05_kwh_mi")?.zip(row.number("gap_p95_kwh_mi")?);
    Ok(ends.is_some_and(|(low, high)| low <= 0.0 && high >= 0.0))
}

/// The plan's number against its own scenario and all the rest, where the plan agrees although the first is further off
/// than the margin is wide. [kWh/mi]
fn cancel(check: &Row<'_>, gap: &Gap<'_>) -> Read<Option<[f64; 2]>> {
    let of = |row: &Row<'_>| -> Read<f64> { Ok(row.number("gap_p50_kwh_mi")?.unwrap_or(0.0)) };
    let (own, other) = (of(&gap.of_plan)?, of(&gap.of_sheet)? + gap.driven_otherwise()?);
    let margin = check.number("margin_high")?.zip(check.number("plan_value")?);
    let cancels =
        check.text("verdict")? == "agrees" && margin.is_some_and(|(high, plan)| own.abs() > high - plan);
    Ok(cancels.then_some([own, other]))
}

/// True where an agreement rests on parts that cancel.
pub fn cancels(check: &Row<'_>, gaps: &[Row<'_>]) -> Read<bool> {
    match Gap::of(check, gaps)? {
        Some(gap) => Ok(cancel(check, &gap)?.is_some()),
        None => Ok(false),
    }
}

fn more_or_less(value: f64) -> &'static str {
    if value < 0.0 { "less" } else { "more" }
}

/// It stands in no table by itself.
fn amount(kwh_mi: f64, units: Units) -> String {
    units.figure(Kind::PerDistance.si_of("_kwh_mi", kwh_mi), Kind::PerDistance, 3)
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
