//! One driver beside the others on like work, in words.

use crate::figure::{Kind, prose};

use super::listed;
use super::rows::{Read, Row};
use super::units::Units;

pub const CONSUMPTION: &str = "consumption";
pub const AVOIDABLE: &str = "avoidable loss";

/// Ends of the 90 % interval of a difference.
pub const ENDS: [&str; 2] = ["effect_p05_kwh_day", "effect_p95_kwh_day"];

/// What is compared, said before a figure of it.
pub fn meaning(response: &str) -> &'static str {
    match response {
        CONSUMPTION => "everything the battery gave for driving, speed and regen level included",
        AVOIDABLE => "energy that a gentler stop at the same place would have saved",
        _ => "energy over distance",
    }
}

/// True above the average, false below, nothing where the interval holds it.
pub fn stands_out(row: &Row<'_>) -> Read<Option<bool>> {
    Ok(match (row.number(ENDS[0])?, row.number(ENDS[1])?) {
        (Some(low), _) if low > 0.0 => Some(true),
        (_, Some(high)) if high < 0.0 => Some(false),
        _ => None,
    })
}

/// One comparison, beyond chance or not.
pub fn sentence(row: &Row<'_>, units: Units) -> Read<String> {
    let response = row.text("response")?;
    let about = format!("By {response} ({}), ", meaning(response));
    let rests = format!("{}; {} days", row.words("evidence")?, row.whole("driving_days")?);
    let (name, drivers) = (row.words("driver_id")?, row.whole("drivers_compared")?);
    let Some(is_more) = stands_out(row)? else {
        return Ok(format!(
            "{about}the difference between {name} and the average of {drivers} drivers on like work cannot be told from chance: {} kWh a day ({}, 90 %; {rests}).",
            row.fixed("effect_kwh_day", 2)?,
            row.range(ENDS, Kind::Energy, 2)?,
        ));
    };
    let (sign, word) = if is_more { (1.0, "more") } else { (-1.0, "less") };
    let ends = if is_more { ENDS } else { [ENDS[1], ENDS[0]] };
    let verb = if response == AVOIDABLE { "lost" } else { "used" };
    let miles = match row.number("effect_mi_day")? {
        Some(_) => {
            format!(", about {} {} of range a day", row.signed("effect_mi_day", sign, 1)?, units.distance())
        }
        None => String::new(),
    };
    Ok(format!(
        "{about}{name} {verb} {} kWh a day {word} than the average of {drivers} drivers on like work ({}, 90 %){miles} ({rests}).",
        row.signed("effect_kwh_day", sign, 2)?,
        row.signed_range(ends, sign, 2)?,
    ))
}

/// What was held equal, in the order a reader thinks of it: of the columns of the model, those that say the same thing are one.
pub fn allowed(adjusted_for: &str) -> String {
    let has = |name: &str| adjusted_for.split(", ").any(|part| part == name);
    let where_known =
        |name: &str, is_partly: bool| if is_partly { format!("{name} (where known)") } else { name.to_owned() };
    let mut parts = Vec::new();
    for name in ["vehicle", "route"] {
        if has(name) {
            parts.push(name.to_owned());
        }
    }
    if has("payload") {
        parts.push(where_known("payload", has("payload unknown")));
    }
    if has("cold") || has("heat") {
        parts.push(where_known("temperature", has("cold unknown") || has("heat unknown")));
    }
    let mut through = Vec::new();
    for (name, word) in [("day", "day"), ("hour of the day", "hour")] {
        if has(name) {
            through.push(word.to_owned());
        }
    }
    let said = parts.join(", ");
    match (said.is_empty(), through.is_empty()) {
        // Words of another model than the one known here are told as they are.
        (true, true) => prose(adjusted_for),
        (_, true) => said,
        (true, _) => format!("traffic and weather through the {}", listed(&through)),
        _ => format!("{said}; traffic and weather through the {}", listed(&through)),
    }
}

/// What was held equal, once for each way of saying it.
pub fn held_equal(shown: &[Row<'_>]) -> Read<String> {
    let mut known: Vec<(String, Vec<String>)> = Vec::new();
    for row in shown {
        let (words, response) = (allowed(row.text("adjusted_for")?), row.text("response")?.to_owned());
        match known.iter_mut().find(|(said, _)| *said == words) {
            Some((_, responses)) if responses.contains(&response) => {}
            Some((_, responses)) => responses.push(response),
            None => known.push((words, vec![response])),
        }
    }
    let told: Vec<String> =
        known.iter().map(|(said, responses)| format!("for {}: {said}", listed(responses))).collect();
    Ok(format!("On like work: held equal {}.", told.join("; ")))
}

/// The consumption of a driver that costs more, if it does.
pub fn costly<'a>(driver: &str, shown: &[Row<'a>]) -> Read<Option<Row<'a>>> {
    for row in of(CONSUMPTION, shown)? {
        if row.text("driver_id")? == driver && stands_out(&row)? == Some(true) {
            return Ok(Some(row));
        }
    }
    Ok(None)
}

/// Rows of one response.
pub fn of<'a>(response: &str, rows: &[Row<'a>]) -> Read<Vec<Row<'a>>> {
    let mut own = Vec::new();
    for row in rows {
        if row.text("response")? == response {
            own.push(*row);
        }
    }
    Ok(own)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_allowed_for_is_told_in_words() {
        assert_eq!(
            allowed("vehicle, route, day, payload, payload unknown, cold, hour of the day"),
            "vehicle, route, payload (where known), temperature; traffic and weather through the day and hour"
        );
        assert_eq!(allowed("vehicle, cold, cold unknown"), "vehicle, temperature (where known)");
        assert_eq!(allowed("day"), "traffic and weather through the day");
        assert_eq!(allowed("phase of the moon"), "phase of the moon");
    }
}
