//! What is told of one driver: everything shown of that person, and nothing of anybody else.

use backwatt_schema::tables;

use crate::figure::Kind;

use super::compared::{self, ENDS};
use super::drivers::{ABOUT, BASIS, SAFETY};
use super::grid::{self, Grid, figure, words};
use super::rows::{Read, Row};
use super::steps::{WORTH_KWH_DAY, steps};
use super::units::Units;
use super::{Tables, habits};

/// One driver with enough driving to be told something.
#[derive(Debug, Clone, PartialEq)]
pub struct Person {
    /// As the logs say, or the pseudonym.
    pub driver: String,
    /// Each comparison in words, or why there is none.
    pub told: Vec<String>,
    /// What stands out, how much of the difference that is, and what could not be compared.
    pub habits: Vec<String>,
    /// What may be tried, and the exception to it.
    pub steps: Vec<String>,
    /// What was held equal.
    pub allowed_for: String,
    /// Days driven and energy braked: what the figures rest on.
    pub exposure: String,
    pub grids: Vec<Grid>,
    /// Braking events in which a habit shows.
    pub examples: Vec<Examples>,
}

/// A habit and the events in which it cost most: trip and number with a # between, as `habits` names them.
#[derive(Debug, Clone, PartialEq)]
pub struct Examples {
    pub habit: String,
    pub events: Vec<String>,
}

/// How to take it, and what comes before any figure.
pub const NOTES: [&str; 3] = [ABOUT, SAFETY, BASIS];
/// Events of one habit.
const EVENTS: usize = 3;

const OWN: [grid::Column; 8] = [
    words("response", |row, _| row.words("response")),
    figure("kWh a day", |row, _| row.fixed("effect_kwh_day", 2)),
    figure("90 % interval", |row, _| row.range(ENDS, Kind::Energy, 2)),
    figure("{miles} a day", |row, _| row.shown("effect_mi_day", Kind::Distance, 1)),
    figure("not adjusted, standing included, {kWh/mile}", |row, _| {
        row.shown("raw_kwh_mi", Kind::PerDistance, 3)
    }),
    figure("drivers compared", |row, _| row.whole("drivers_compared")),
    figure("n: days", |row, _| row.whole("driving_days")),
    words("evidence", |row, _| row.words("evidence")),
];

/// In the order of the table, which is that of the names.
pub fn all(tables: &Tables, units: Units) -> Read<Vec<Person>> {
    let rows = tables.rows(&tables::DRIVERS);
    let named = tables.rows(&tables::HABITS);
    let same = |a: &Row<'_>, b: &Row<'_>| a.text("driver_id").ok() == b.text("driver_id").ok();
    let people = rows.chunk_by(same).map(|all| person(all, &named, units));
    Ok(people.collect::<Read<Vec<_>>>()?.into_iter().flatten().collect())
}

/// Nothing where no figure of this person may be shown.
fn person(all: &[Row<'_>], named: &[Row<'_>], units: Units) -> Read<Option<Person>> {
    let (mut own, mut told, mut without) = (Vec::new(), Vec::new(), Vec::new());
    // Consumption first: it is the whole, and the other a part of it.
    for row in all.iter().rev() {
        let (response, why) = (row.text("response")?, row.text("why_not_shown")?);
        if !why.is_empty() {
            let meaning = compared::meaning(response);
            without.push(format!("By {response} ({meaning}) there is no comparison: {why}."));
            continue;
        }
        told.push(compared::sentence(row, units)?);
        own.push(*row);
    }
    let Some(first) = own.first() else { return Ok(None) };
    let driver = first.text("driver_id")?;
    told.extend(without);
    let mut habits = Vec::new();
    for row in named {
        if row.text("driver_id")? == driver {
            habits.push(*row);
        }
    }
    let mut grids = vec![Grid::new(
        "Difference from the average of the drivers compared, on like work; plus costs energy",
        &tables::DRIVERS,
        &own,
        &OWN,
        units,
    )?];
    grids.extend(habits::own_grid(&habits, units)?);
    let has_habits = !habits.is_empty();
    Ok(Some(Person {
        driver: driver.to_owned(),
        told,
        habits: if has_habits { habits::told(&habits, driver, &own, units)? } else { Vec::new() },
        steps: if has_habits { steps(&habits, driver, units)? } else { Vec::new() },
        allowed_for: compared::held_equal(&own)?,
        exposure: format!(
            "{} driving days, {} kWh of braking energy at the wheels",
            first.whole("driving_days")?,
            first.fixed("energy_braking_kwh", 0)?
        ),
        grids,
        examples: examples(&habits)?,
    }))
}

fn examples(habits: &[Row<'_>]) -> Read<Vec<Examples>> {
    let mut found = Vec::new();
    for row in habits {
        let events = shown_events(row.text("examples")?);
        let is_worth_a_look = row.number("energy_kwh_day")?.is_none_or(|kwh| kwh >= WORTH_KWH_DAY);
        if !events.is_empty() && is_worth_a_look {
            found.push(Examples { habit: row.text("habit")?.to_owned(), events });
        }
    }
    Ok(found)
}

/// Of the events that a habit names, those that a sheet shows.
pub fn shown_events(text: &str) -> Vec<String> {
    let mut shown = events(text);
    shown.truncate(EVENTS);
    shown
}

/// Events by their names, of which a trip's may hold blanks: each ends with a # and a number.
fn events(text: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    let mut begun: Vec<&str> = Vec::new();
    for word in text.split(' ') {
        begun.push(word);
        if word.rsplit_once('#').is_some_and(|(_, order)| order.parse::<u32>().is_ok()) {
            found.push(begun.join(" "));
            begun.clear();
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trip_of_two_words_is_one_event() {
        assert_eq!(events("H1-7#0 van 2-9#13"), ["H1-7#0", "van 2-9#13"]);
        assert_eq!(events(""), [""; 0]);
    }
}
