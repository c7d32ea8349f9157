//! Which drivers leave energy on the road, at like work?

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{Grid, figure, page_only, remarks, words};
use super::rows::{Read, Row, chance};
use super::units::Units;
use super::{Tables, Topic, counted, grid, habits};

pub const ABOUT: &str = "These are estimates about energy, made to help in coaching. They are no basis on their own for discipline or pay, and say \
    nothing of safe driving; whoever they are about may see what they rest on and contest it. Names stand in the order of the alphabet: this is no ranking.";
pub const SAFETY: &str = "Safe stopping comes first: nothing here advises avoiding or delaying the brake pedal, or closing up to the vehicle ahead. A full or \
    cold battery refuses regen, and no driver is to be blamed for it. On ice, snow or wet leaves the manufacturer's instruction decides the level. \
    Logs that name drivers are personal data; local rules and works agreements apply.";
/// From this chance on a quarter is put into words.
const LIKELY: f64 = 0.8;

const COLUMNS: [grid::Column; 13] = [
    words("driver", |row, _| row.words("driver_id")),
    words("response", |row, _| row.words("response")),
    figure("kWh a day", |row, _| row.fixed("effect_kwh_day", 2)),
    figure("90 % interval", |row, _| row.range(["effect_p05_kwh_day", "effect_p95_kwh_day"], Kind::Energy, 2)),
    figure("{miles} a day", |row, _| row.shown("effect_mi_day", Kind::Distance, 1)),
    page_only(figure("{kWh/mile}", |row, _| row.shown("effect_kwh_mi", Kind::PerDistance, 4))),
    page_only(figure("not adjusted, {kWh/mile}", |row, _| row.shown("raw_kwh_mi", Kind::PerDistance, 3))),
    page_only(figure("chance of the quarter that costs most, %", |row, _| {
        Ok(chance(row.number("worst_quarter_probability_frac")?))
    })),
    page_only(figure("compared with", |row, _| row.whole("drivers_compared"))),
    figure("days", |row, _| row.whole("driving_days")),
    page_only(figure("braking energy, kWh", |row, _| row.fixed("energy_braking_kwh", 0))),
    words("evidence", |row, _| row.words("evidence")),
    remarks("allowed for", |row, _| row.joined(&["adjusted_for", "caution"])),
];

/// The same for one person alone.
pub const OWN: [grid::Column; 10] = [
    words("response", |row, _| row.words("response")),
    figure("kWh a day", |row, _| row.fixed("effect_kwh_day", 2)),
    figure("90 % interval", |row, _| row.range(["effect_p05_kwh_day", "effect_p95_kwh_day"], Kind::Energy, 2)),
    figure("{miles} a day", |row, _| row.shown("effect_mi_day", Kind::Distance, 1)),
    figure("{kWh/mile}", |row, _| row.shown("effect_kwh_mi", Kind::PerDistance, 4)),
    figure("not adjusted, {kWh/mile}", |row, _| row.shown("raw_kwh_mi", Kind::PerDistance, 3)),
    figure("compared with", |row, _| row.whole("drivers_compared")),
    figure("n: days", |row, _| row.whole("driving_days")),
    figure("braking energy, kWh", |row, _| row.fixed("energy_braking_kwh", 0)),
    words("evidence", |row, _| row.words("evidence")),
];

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "coaching",
        "Drivers, at like work",
        "Which drivers leave energy on the road?",
        "comparing-drivers.md",
    );
    let rows = tables.rows(&tables::DRIVERS);
    let named = tables.rows(&tables::HABITS);
    let mut shown = Vec::new();
    for row in &rows {
        if row.text("why_not_shown")?.is_empty() {
            shown.push(*row);
        }
    }
    if rows.is_empty() && tables.leaves {
        topic.miss(
            "No driver is told apart in this copy: there are fewer than five, or none has enough driving.",
        );
        return Ok(topic);
    }
    if rows.is_empty() {
        topic.miss(
            "No driver is named. Map a driver column under [sources.columns], or name who drove when in a file under [shifts]; pseudonyms will do.",
        );
        return Ok(topic);
    }
    topic.tell(told(&shown, &rows)?);
    topic.notes.extend([ABOUT, SAFETY]);
    // In the order of names: what is told of one person, then the habit it may come from.
    for person in shown.chunk_by(|a, b| a.text("driver_id").ok() == b.text("driver_id").ok()) {
        let mut told = Vec::new();
        for row in person {
            if stands_out(row)?.is_some() {
                told.push(format!("{}{}", sentence(row, units)?, quarter(row)?));
            }
        }
        if let Some(first) = person.first().filter(|_| !told.is_empty()) {
            told.push(habits::standing_out(&named, first.text("driver_id")?, units)?);
            topic.tell(told.join(" "));
        }
    }
    if let Some(sentence) = allowed_for(&shown)? {
        topic.tell(sentence);
    }
    for why in reasons(&rows)? {
        topic.miss(why);
    }
    if !shown.is_empty() {
        topic.grids.push(Grid::new(
            "Difference from the average of the drivers compared, at like work; plus costs energy",
            &tables::DRIVERS,
            &shown,
            &COLUMNS,
            units,
        )?);
    }
    topic.grids.extend(habits::grid(&named, units)?);
    Ok(topic)
}

fn told(shown: &[Row<'_>], rows: &[Row<'_>]) -> Read<String> {
    let (mut more, mut less) = (0, 0);
    for row in shown {
        match stands_out(row)? {
            Some(true) => more += 1,
            Some(false) => less += 1,
            None => {}
        }
    }
    if shown.is_empty() {
        return Ok(format!("None of {} can be shown.", counted(rows.len(), "comparison")));
    }
    Ok(format!(
        "Of {} of a driver with the others at like work, {more} cost more than the average beyond chance (90 % interval), {less} less, and {} cannot be told \
         from it; {} not shown.",
        counted(shown.len(), "comparison"),
        shown.len() - more - less,
        rows.len() - shown.len(),
    ))
}

/// True above the average, false below, nothing where the interval holds it.
fn stands_out(row: &Row<'_>) -> Read<Option<bool>> {
    let (low, high) = (row.number("effect_p05_kwh_day")?, row.number("effect_p95_kwh_day")?);
    Ok(match (low, high) {
        (Some(low), _) if low > 0.0 => Some(true),
        (_, Some(high)) if high < 0.0 => Some(false),
        _ => None,
    })
}

/// One comparison in words, beyond chance or not.
pub fn compared(row: &Row<'_>, units: Units) -> Read<String> {
    if stands_out(row)?.is_some() {
        return Ok(format!("{}{}", sentence(row, units)?, quarter(row)?));
    }
    Ok(format!(
        "By {} the difference from the average of {} drivers at like work cannot be told from chance: {} kWh a day ({}, 90 %; {}; {} days).",
        row.text("response")?,
        row.whole("drivers_compared")?,
        row.fixed("effect_kwh_day", 2)?,
        row.range(["effect_p05_kwh_day", "effect_p95_kwh_day"], Kind::Energy, 2)?,
        row.words("evidence")?,
        row.whole("driving_days")?,
    ))
}

fn sentence(row: &Row<'_>, units: Units) -> Read<String> {
    let sign = if stands_out(row)? == Some(false) { -1.0 } else { 1.0 };
    let (verb, more) = if sign > 0.0 { ("leaves", "more on the road") } else { ("needs", "less") };
    let ends = if sign > 0.0 {
        ["effect_p05_kwh_day", "effect_p95_kwh_day"]
    } else {
        ["effect_p95_kwh_day", "effect_p05_kwh_day"]
    };
    let range = match row.number("effect_mi_day")? {
        Some(_) => {
            format!(", about {} {} of range a day", row.signed("effect_mi_day", sign, 1)?, units.distance())
        }
        None => String::new(),
    };
    Ok(format!(
        "By {}, {} {verb} {} kWh a day {more} than the average of {} drivers at like work ({}, 90 %){range} ({}; {} days).",
        row.text("response")?,
        row.words("driver_id")?,
        row.signed("effect_kwh_day", sign, 2)?,
        row.whole("drivers_compared")?,
        row.signed_range(ends, sign, 2)?,
        row.words("evidence")?,
        row.whole("driving_days")?,
    ))
}

/// What was allowed for, once for each response.
fn allowed_for(shown: &[Row<'_>]) -> Read<Option<String>> {
    let mut known: Vec<String> = Vec::new();
    for row in shown {
        let text = format!("{}: {}", row.text("response")?, row.text("adjusted_for")?);
        if !known.contains(&text) {
            known.push(text);
        }
    }
    Ok((!known.is_empty()).then(|| format!("Allowed for: {}.", known.join("; "))))
}

fn quarter(row: &Row<'_>) -> Read<String> {
    Ok(match row.number("worst_quarter_probability_frac")? {
        Some(likely) if likely >= LIKELY => {
            format!(" The chance of being among the quarter that costs most is {} %.", chance(Some(likely)))
        }
        _ => String::new(),
    })
}

/// Why people have no figure, each reason once with whom it is about.
fn reasons(rows: &[Row<'_>]) -> Read<Vec<String>> {
    let mut reasons: Vec<(String, Vec<String>)> = Vec::new();
    for row in rows {
        let why = row.text("why_not_shown")?;
        if why.is_empty() {
            continue;
        }
        let (why, driver) = (format!("{} ({})", why, row.text("response")?), row.words("driver_id")?);
        match reasons.iter_mut().find(|(known, _)| *known == why) {
            Some((_, drivers)) => drivers.push(driver),
            None => reasons.push((why, vec![driver])),
        }
    }
    Ok(reasons
        .into_iter()
        .map(|(why, drivers)| format!("No figure for {}: {why}.", drivers.join(", ")))
        .collect())
}
