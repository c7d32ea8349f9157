//! What a driver may try next: a step for each of the dearest habits, with what it is worth at most.

use super::habits::{ABOVE, LOW_LEVEL, beyond, in_miles};
use super::rows::{Read, Row};
use super::units::Units;

/// Steps that are told, the exception aside.
const STEPS: usize = 2;
/// Less than this is no step worth talking about; ours, no source. [kWh/day]
pub const WORTH_KWH_DAY: f64 = 0.05;
/// Before any step.
const EXCEPTION: &str = "On ice, snow, wet leaves or any slippery road none of this holds: the manufacturer's instruction decides the regen level, and \
    the brake pedal is there to be used.";

/// Of the habits that could be compared first; then of those that cost most by themselves.
pub fn steps(habits: &[Row<'_>], driver: &str, units: Units) -> Read<Vec<String>> {
    let mut told = Vec::new();
    let out = beyond(habits, driver)?;
    for row in &out {
        let Some(action) = action(row.text("habit")?) else { continue };
        if row.number(ABOVE)?.is_some_and(|kwh| kwh >= WORTH_KWH_DAY) {
            told.push(format!(
                "{action} Driven like the average of the others on like work, that saves {} kWh a day{}, modelled.",
                row.fixed(ABOVE, 2)?,
                in_miles(row, "above_group_mi_day", units)?
            ));
        }
    }
    for row in by_themselves(habits, &out)? {
        if let Some(action) = action(row.text("habit")?) {
            told.push(format!(
                "{action} On the days that could be judged that would save up to {} kWh a day{}, modelled, against {}; {}.",
                row.fixed("energy_kwh_day", 2)?,
                in_miles(&row, "energy_mi_day", units)?,
                reference(row.text("habit")?),
                beside_others(&row)?,
            ));
        }
    }
    told.truncate(STEPS);
    if told.is_empty() {
        told.push("Nothing that could be judged is worth a change: go on as you do.".to_owned());
    }
    told.push(EXCEPTION.to_owned());
    Ok(told)
}

/// How a habit that does not stand out lies beside those of the others.
fn beside_others(row: &Row<'_>) -> Read<&'static str> {
    Ok(match row.number(ABOVE)? {
        Some(_) => "on like work the others do much the same",
        None => "not compared with others, and from too few days to promise",
    })
}

/// Habits with a reference of their own that are no step yet, the dearest first.
fn by_themselves<'a>(habits: &[Row<'a>], out: &[Row<'a>]) -> Read<Vec<Row<'a>>> {
    let mut found = Vec::new();
    for row in habits {
        let habit = row.text("habit")?;
        let is_told = out.iter().any(|told| told.text("habit").ok() == Some(habit));
        // Standing has no reference but none at all, and deliveries are in it.
        let has_reference = matches!(habit, LOW_LEVEL | "stops that took friction" | "stops begun late");
        if let Some(kwh) =
            row.number("energy_kwh_day")?.filter(|kwh| *kwh >= WORTH_KWH_DAY && has_reference && !is_told)
        {
            found.push((kwh, *row));
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    Ok(found.into_iter().map(|(_, row)| row).collect())
}

/// What may be done about a habit; nothing where hands should be off it.
fn action(habit: &str) -> Option<&'static str> {
    Some(match habit {
        "stops that took friction" => {
            "Before stops you know, lift off earlier and let regen do more of the slowing; use the brake pedal whenever in doubt."
        }
        "stops begun late" => {
            "Where a stop can be seen coming, lift off sooner and roll up to it; keep the distance to the vehicle ahead."
        }
        LOW_LEVEL => "On dry roads, try the stronger regen level on the routes where it feels right.",
        "speed" => "On open stretches, where limit and traffic allow, drive a little slower.",
        "standing with auxiliaries on" => {
            "At longer stops, see whether all that runs has to run; heating and cooling a cab is not waste."
        }
        _ => return None,
    })
}

fn reference(habit: &str) -> &'static str {
    match habit {
        LOW_LEVEL => "the level that gives most at the same speeds",
        _ => "the gentlest tenth of stops at the same places",
    }
}

#[cfg(test)]
mod tests {
    use backwatt_schema::tables;

    use super::*;
    use crate::figure::plain;
    use crate::topics::made::{Typed, batch};
    use crate::topics::rows::rows;

    #[test]
    fn a_step_says_whether_its_habit_was_compared() {
        let told = |above: &[(&'static str, &'static str)]| {
            let own = [("driver_id", "A"), ("habit", LOW_LEVEL), ("energy_kwh_day", "0.5")];
            let row: Vec<(&str, &str)> = own.iter().chain(above).copied().collect();
            let made: [Typed<'_>; 1] = [&row];
            let table = batch(&tables::HABITS, &made);
            let habits = rows(&tables::HABITS, &table, false);
            plain(&steps(&habits, "A", Units { metric: false }).expect("steps").join(" "))
        };
        let compared = told(&[(ABOVE, "0.17"), ("above_group_p05_kwh_day", "-0.08")]);
        assert!(
            compared.contains("up to 0.50 kWh a day") && compared.contains("others do much the same"),
            "{compared}"
        );
        let alone = told(&[]);
        assert!(alone.contains("not compared with others, and from too few days"), "{alone}");
    }
}
