//! What a driver's difference is made of.

use backwatt_schema::tables;

use crate::figure::{Kind, name};

use super::compared::{CONSUMPTION, costly, stands_out};
use super::grid::{self, Grid, figure, page_only, remarks, words};
use super::listed;
use super::rows::{Read, Row};
use super::units::Units;

pub const LOW_LEVEL: &str = "regen level set low";
pub const ABOVE: &str = "above_group_kwh_day";
const ABOVE_ENDS: [&str; 2] = ["above_group_p05_kwh_day", "above_group_p95_kwh_day"];
/// People told of in one sentence; the rest on their sheets.
const TOLD: usize = 12;

const COLUMNS: [grid::Column; 11] = [
    words("driver", |row, _| row.words("driver_id")),
    words("habit", |row, _| row.words("habit")),
    figure("kWh a day", |row, _| row.fixed("energy_kwh_day", 2)),
    page_only(figure("{miles} a day", |row, _| row.shown("energy_mi_day", Kind::Distance, 1))),
    figure("beyond others, kWh a day", |row, _| row.fixed(ABOVE, 2)),
    figure("90 % interval", |row, _| row.range(ABOVE_ENDS, Kind::Energy, 2)),
    figure("beyond others, {miles} a day", |row, _| row.shown("above_group_mi_day", Kind::Distance, 1)),
    figure("driving days", |row, _| row.whole("driving_days")),
    page_only(figure("occasions", |row, _| row.whole("occasions"))),
    remarks("kWh a day is against", |row, _| row.words("reference")),
    page_only(words("evidence", |row, _| row.words("evidence"))),
];

/// The same for one person alone, to be printed upright.
const OWN: [grid::Column; 8] = [
    words("habit", |row, _| row.words("habit")),
    figure("beyond others, kWh a day", |row, _| row.fixed(ABOVE, 2)),
    figure("90 % interval", |row, _| row.range(ABOVE_ENDS, Kind::Energy, 2)),
    figure("beyond others, {miles} a day", |row, _| row.shown("above_group_mi_day", Kind::Distance, 1)),
    figure("by itself, kWh a day", |row, _| row.fixed("energy_kwh_day", 2)),
    remarks("by itself is against", |row, _| row.words("reference")),
    figure("occasions", |row, _| row.whole("occasions")),
    words("evidence", |row, _| row.words("evidence")),
];

/// Habits of those for whom there is a figure.
pub fn grid(rows: &[Row<'_>], units: Units) -> Read<Option<Grid>> {
    let caption = "Habits, at the battery terminals a driving day; plus costs energy; only stops that took friction and stops begun late can be added";
    grid_of(rows, caption, &COLUMNS, units)
}

pub fn own_grid(rows: &[Row<'_>], units: Units) -> Read<Option<Grid>> {
    let caption = "Habits, at the battery terminals a driving day; plus costs energy; a dash where there is nothing to compare";
    grid_of(rows, caption, &OWN, units)
}

fn grid_of(rows: &[Row<'_>], caption: &str, columns: &[grid::Column], units: Units) -> Read<Option<Grid>> {
    let mut shown = Vec::new();
    for row in rows {
        if row.number("energy_kwh_day")?.is_some() || row.number(ABOVE)?.is_some() {
            shown.push(*row);
        }
    }
    if shown.is_empty() {
        return Ok(None);
    }
    Ok(Some(Grid::new(caption, &tables::HABITS, &shown, columns, units)?))
}

/// Habits that cost more than those of the others beyond chance, the dearest first.
pub fn beyond<'a>(rows: &[Row<'a>], driver: &str) -> Read<Vec<Row<'a>>> {
    let mut found = Vec::new();
    for row in rows {
        let is_beyond = row.number(ABOVE_ENDS[0])?.is_some_and(|low| low > 0.0);
        if let Some(kwh) =
            row.number(ABOVE)?.filter(|_| is_beyond && row.text("driver_id").ok() == Some(driver))
        {
            found.push((kwh, *row));
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    Ok(found.into_iter().map(|(_, row)| row).collect())
}

/// Whom a habit stands out with, in one sentence; nothing where it does with nobody.
pub fn of_all(named: &[Row<'_>], shown: &[Row<'_>]) -> Read<Option<String>> {
    let (mut dearer, mut others) = (Vec::new(), Vec::new());
    for person in named.chunk_by(|a, b| a.text("driver_id").ok() == b.text("driver_id").ok()) {
        let Some(driver) = person.first().map(|row| row.text("driver_id")).transpose()? else { continue };
        let Some(habit) = beyond(person, driver)?.first().copied() else { continue };
        let (habit, kwh) = (habit.text("habit")?, habit.fixed(ABOVE, 2)?);
        match costly(driver, shown)? {
            Some(row) => {
                let whole = row.fixed("effect_kwh_day", 2)?;
                let untold = untold(person)?;
                dearer.push(format!("{} {habit}, {kwh} of the {whole} kWh a day{untold}", name(driver)));
            }
            None => others.push(format!("{} {habit}, {kwh} kWh a day", name(driver))),
        }
    }
    if dearer.is_empty() && others.is_empty() {
        return Ok(None);
    }
    Ok(Some(format!(
        "The habit that stands out most, of those that could be compared (modelled){}{}. Habits overlap, so what one leaves of a difference is not split \
         among the others.",
        cut(": ", dearer),
        cut("; where consumption as a whole is not above the average: ", others),
    )))
}

/// " (not compared: regen level set low)": what may be the cause as well.
fn untold(rows: &[Row<'_>]) -> Read<String> {
    let mut habits = Vec::new();
    for row in rows {
        if row.number(ABOVE)?.is_none() {
            habits.push(row.text("habit")?.to_owned());
        }
    }
    Ok(if habits.is_empty() {
        String::new()
    } else {
        format!(" (not compared, see the coaching sheet: {})", listed(&habits))
    })
}

/// So many, behind a word; nothing of none.
fn cut(word: &str, mut told: Vec<String>) -> String {
    let more = told.len().saturating_sub(TOLD);
    told.truncate(TOLD);
    let rest = if more > 0 { format!("; {more} more on their sheets") } else { String::new() };
    if told.is_empty() { String::new() } else { format!("{word}{}{rest}", told.join("; ")) }
}

/// What stands out with one driver, how much of the difference it is, and what could not be compared.
pub fn told(rows: &[Row<'_>], driver: &str, own: &[Row<'_>], units: Units) -> Read<Vec<String>> {
    let mut compared = 0;
    for row in rows {
        compared += usize::from(row.number(ABOVE)?.is_some());
    }
    let mut told = Vec::new();
    let out = beyond(rows, driver)?;
    told.push(match (out.as_slice(), compared) {
        (_, 0) => "No habit could be compared with the others.".to_owned(),
        ([], n) => format!("Of the {n} habits that could be compared, none stands out from the others'."),
        ([first, rest @ ..], n) => standing_out(first, rest, n, units)?,
    });
    told.extend(explained(&out, driver, own)?);
    told.extend(not_compared(rows)?);
    told.extend(against_best_level(rows, units)?);
    Ok(told)
}

fn standing_out(first: &Row<'_>, rest: &[Row<'_>], compared: usize, units: Units) -> Read<String> {
    let mut others = Vec::new();
    for row in rest {
        others.push(format!(
            "{} ({} kWh a day; {})",
            row.text("habit")?,
            row.fixed(ABOVE, 2)?,
            row.range(ABOVE_ENDS, Kind::Energy, 2)?
        ));
    }
    let others = if others.is_empty() { String::new() } else { format!("; then {}", listed(&others)) };
    Ok(format!(
        "Of the {compared} habits that could be compared, {} stands out: {} kWh a day{} beyond the others on like work ({}, 90 %; {}){others}.",
        first.text("habit")?,
        first.fixed(ABOVE, 2)?,
        in_miles(first, "above_group_mi_day", units)?,
        first.range(ABOVE_ENDS, Kind::Energy, 2)?,
        first.words("evidence")?,
    ))
}

/// How much of the difference in consumption the dearest habit is.
fn explained(out: &[Row<'_>], driver: &str, own: &[Row<'_>]) -> Read<Option<String>> {
    let consumption = own.iter().find(|row| row.text("response").ok() == Some(CONSUMPTION));
    let Some(consumption) = consumption else { return Ok(None) };
    let whole = consumption.fixed("effect_kwh_day", 2)?;
    Ok(match (out.first(), stands_out(consumption)?) {
        (Some(habit), Some(true)) => {
            let of = habit.number(ABOVE)?.zip(consumption.number("effect_kwh_day")?);
            let percent = of.map_or(0.0, |(part, whole)| 100.0 * part / whole);
            Some(format!(
                "That is {percent:.0} % of the {whole} kWh a day of consumption above the average. Habits overlap, so the rest is not split among them."
            ))
        }
        (None, Some(true)) => {
            Some(format!("So none of the {whole} kWh a day above the average is explained by them."))
        }
        (Some(_), None) => Some(format!(
            "All the same the consumption of {} cannot be told from the average: other things weigh against it.",
            name(driver)
        )),
        (Some(_), Some(false)) => {
            Some(format!("All told, {} used less than the average all the same.", name(driver)))
        }
        (None, _) => None,
    })
}

/// Habits without a comparison, each reason once.
fn not_compared(rows: &[Row<'_>]) -> Read<Vec<String>> {
    let mut reasons: Vec<(String, Vec<String>)> = Vec::new();
    for row in rows {
        let (habit, why) = (row.text("habit")?, row.text("why_not_shown")?);
        if why.is_empty() || row.number(ABOVE)?.is_some() {
            continue;
        }
        let why = why.strip_suffix(&format!(" of {habit}")).unwrap_or(why).to_owned();
        match reasons.iter_mut().find(|(known, _)| *known == why) {
            Some((_, habits)) => habits.push(habit.to_owned()),
            None => reasons.push((why, vec![habit.to_owned()])),
        }
    }
    let told = |(why, habits): (String, Vec<String>)| {
        let verb = "could not be compared";
        format!(
            "{} {verb}: {why} (stops and regen levels are judged only on trips logged about every second).",
            capital(&listed(&habits))
        )
    };
    Ok(reasons.into_iter().map(told).collect())
}

/// What a level set low costs by itself, where nobody is there to compare it with.
fn against_best_level(rows: &[Row<'_>], units: Units) -> Read<Option<String>> {
    for row in rows {
        if row.text("habit")? == LOW_LEVEL
            && row.number(ABOVE)?.is_none()
            && row.number("energy_kwh_day")?.is_some()
        {
            return Ok(Some(format!(
                "Against the level that gives most at the same speeds, {} kWh a day{} did not come back, on the few days that could be judged and not compared with others ({}).",
                row.fixed("energy_kwh_day", 2)?,
                in_miles(row, "energy_mi_day", units)?,
                row.words("evidence")?,
            )));
        }
    }
    Ok(None)
}

/// " (1.4 miles)", where it is known.
pub fn in_miles(row: &Row<'_>, column: &str, units: Units) -> Read<String> {
    Ok(match row.number(column)? {
        Some(_) => format!(" ({} {})", row.shown(column, Kind::Distance, 1)?, units.distance()),
        None => String::new(),
    })
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
