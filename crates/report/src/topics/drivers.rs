//! Which drivers use more energy, on like work?

use backwatt_schema::tables;

use crate::differences::{Difference, Words, differences};
use crate::figure::{Kind, plain};

use super::compared::{self, AVOIDABLE, CONSUMPTION, ENDS, of, stands_out};
use super::grid::{Grid, figure, page_only, remarks, words};
use super::rows::{Read, Row, chance};
use super::units::Units;
use super::{Drawing, Tables, Topic, grid, habits, listed};

pub const ABOUT: &str = "These are estimates about energy, made to help in coaching. They are no basis on their own for discipline or pay, and say \
    nothing of safe driving; whoever they are about may see what they rest on and contest it. Names are pseudonyms, as the logs have them or as this \
    report deals them out, and stand in the order of the alphabet: this is no ranking.";
pub const SAFETY: &str = "Safe stopping comes first: nothing here advises avoiding or delaying the brake pedal, or closing up to the vehicle ahead. A full or \
    cold battery refuses regen, and no driver is to be blamed for it. On ice, snow or wet leaves the manufacturer's instruction decides the level. \
    Logs that name drivers are personal data; local rules and works agreements apply.";
const INTERVAL: &str = "An interval holds what chance between days, trucks and routes leaves open. It leaves out what the vehicle data may be off by \
    (mass, drag, rolling, limits of regen): that shifts the modelled figures of all drivers alike, avoidable loss and habits, and differences less.";
pub const BASIS: &str = "Not adjusted: over the days whose battery energy is known. Where it is read from the state of charge, a day's energy holds the \
    standing within its trips as well, so the figure is mostly above the one as driven, which is \
    driving alone over every mile.";
/// Figures of one side told one by one; more are told by their ends.
const ONE_BY_ONE: usize = 3;
/// Rows of one chart; the rest is in the table.
const DRAWN: usize = 60;

const COLUMNS: [grid::Column; 13] = [
    words("driver", |row, _| row.words("driver_id")),
    words("response", |row, _| row.words("response")),
    figure("kWh a day", |row, _| row.fixed("effect_kwh_day", 2)),
    figure("90 % interval", |row, _| row.range(ENDS, Kind::Energy, 2)),
    figure("{miles} a day", |row, _| row.shown("effect_mi_day", Kind::Distance, 1)),
    page_only(figure("{kWh/mile}", |row, _| row.shown("effect_kwh_mi", Kind::PerDistance, 4))),
    page_only(figure("not adjusted, standing included, {kWh/mile}", |row, _| {
        row.shown("raw_kwh_mi", Kind::PerDistance, 3)
    })),
    page_only(figure("chance of being among the dearest quarter of drivers, %", |row, _| {
        Ok(chance(row.number("worst_quarter_probability_frac")?))
    })),
    page_only(figure("compared with", |row, _| row.whole("drivers_compared"))),
    figure("driving days", |row, _| row.whole("driving_days")),
    page_only(figure("braking energy, kWh", |row, _| row.fixed("energy_braking_kwh", 0))),
    words("evidence", |row, _| row.words("evidence")),
    remarks("to keep in mind", |row, _| row.words("caution")),
];

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "coaching",
        "Drivers, on like work",
        "Which drivers use more energy than others on like work?",
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
    for response in [CONSUMPTION, AVOIDABLE] {
        topic.answer.extend(counted_drivers(response, &shown, &rows, units)?);
        let drawn = of(response, &shown)?;
        if drawn.len() > 1 {
            topic.drawings.push(drawing(response, &drawn)?);
        }
    }
    topic.notes.extend([ABOUT, SAFETY]);
    if let Some(sentence) = habits::of_all(&named, &shown)? {
        topic.tell(sentence);
    }
    if !shown.is_empty() {
        topic.tell(compared::held_equal(&shown)?);
        topic.notes.extend([INTERVAL, BASIS]);
    }
    for why in reasons(&rows)? {
        topic.miss(why);
    }
    if !shown.is_empty() {
        topic.grids.push(Grid::new(
            "Difference from the average of the drivers compared, on like work; plus costs energy",
            &tables::DRIVERS,
            &shown,
            &COLUMNS,
            units,
        )?);
    }
    topic.grids.extend(habits::grid(&named, units)?);
    Ok(topic)
}

/// How many drivers differ by one response and by how much.
fn counted_drivers(response: &str, shown: &[Row<'_>], rows: &[Row<'_>], units: Units) -> Read<Option<String>> {
    let (own, all) = (of(response, shown)?, of(response, rows)?.len());
    if all == 0 {
        return Ok(None);
    }
    let without = match all - own.len() {
        0 => String::new(),
        n => format!("; {n} more have no figure"),
    };
    if own.is_empty() {
        return Ok(Some(format!("By {response}, none of {all} drivers can be compared.")));
    }
    let (mut more, mut less) = (Vec::new(), Vec::new());
    for row in &own {
        match stands_out(row)? {
            Some(true) => more.push(*row),
            Some(false) => less.push(*row),
            None => {}
        }
    }
    let unclear = match own.len() - more.len() - less.len() {
        0 => String::new(),
        n => format!("; {n} cannot be told from it"),
    };
    Ok(Some(format!(
        "By {response}, {} of {} drivers cost more than the average on like work, beyond chance{}; {} less{}{unclear} (90 % intervals; {}; {}){without}.",
        more.len(),
        own.len(),
        format_args!("{}{}", amounts(&more, 1.0)?, in_distance(&more, units)?),
        less.len(),
        amounts(&less, -1.0)?,
        evidence(&own)?,
        days(&own)?,
    )))
}

/// ": Bram 0.95 (0.51 to 1.39) and Doru 3.93 (3.43 to 4.46) kWh a day", by size; of many the least and the most.
fn amounts(rows: &[Row<'_>], sign: f64) -> Read<String> {
    let mut sized = Vec::new();
    for row in rows {
        sized.push((sign * row.number("effect_kwh_day")?.unwrap_or(0.0), *row));
    }
    sized.sort_by(|a, b| a.0.total_cmp(&b.0));
    let ends = if sign > 0.0 { ENDS } else { [ENDS[1], ENDS[0]] };
    let one = |(_, row): &(f64, Row<'_>)| -> Read<String> {
        let amount = row.signed("effect_kwh_day", sign, 2)?;
        Ok(format!("{} {amount} ({})", row.words("driver_id")?, row.signed_range(ends, sign, 2)?))
    };
    Ok(match sized.as_slice() {
        [] => String::new(),
        [first, .., last] if sized.len() > ONE_BY_ONE => {
            format!(", from {} up to {} kWh a day", one(first)?, one(last)?)
        }
        few => format!(": {} kWh a day", listed(&few.iter().map(one).collect::<Read<Vec<_>>>()?)),
    })
}

/// ", worth up to 6.3 miles a day": the most that any of them is worth.
fn in_distance(rows: &[Row<'_>], units: Units) -> Read<String> {
    let mut most: Option<(f64, String)> = None;
    for row in rows {
        let worth = row.number("effect_mi_day")?;
        if let Some(worth) = worth.filter(|worth| most.as_ref().is_none_or(|(known, _)| worth > known)) {
            most = Some((worth, row.shown("effect_mi_day", Kind::Distance, 1)?));
        }
    }
    Ok(most.map_or(String::new(), |(_, told)| format!(", worth up to {told} {} a day", units.distance())))
}

fn evidence(rows: &[Row<'_>]) -> Read<String> {
    let mut grades: Vec<String> = Vec::new();
    for row in rows {
        let grade = row.words("evidence")?;
        if !grades.contains(&grade) {
            grades.push(grade);
        }
    }
    Ok(listed(&grades))
}

fn days(rows: &[Row<'_>]) -> Read<String> {
    let mut counts = Vec::new();
    for row in rows {
        counts.extend(row.count("driving_days")?);
    }
    Ok(match (counts.iter().min(), counts.iter().max()) {
        (Some(least), Some(most)) if least < most => format!("{least} to {most} days each"),
        (Some(least), _) => format!("{least} days each"),
        _ => "days unknown".to_owned(),
    })
}

fn drawing(response: &str, rows: &[Row<'_>]) -> Read<Drawing> {
    let mut drawn = Vec::new();
    for row in rows.iter().take(DRAWN) {
        let columns = [ENDS[0], "effect_kwh_day", ENDS[1]];
        let [Some(low), Some(middle), Some(high)] =
            [row.number(columns[0])?, row.number(columns[1])?, row.number(columns[2])?]
        else {
            continue;
        };
        drawn.push(Difference {
            label: row.text("driver_id")?.to_owned(),
            label_metric: None,
            values: [low, middle, high],
            cells: columns.map(|column| row.cell(column)),
            evidence: row.text("evidence")?.to_owned(),
            rests: format!("{} days, {}", plain(&row.whole("driving_days")?), row.text("evidence")?),
        });
    }
    let words = Words { zero: "average", unit: "kWh a day".to_owned(), open: "cannot be told" };
    let caption = match response {
        CONSUMPTION => {
            "Consumption: everything the battery gave for driving, speed and regen level included. Difference from the average on like work, with 90 % \
             interval, broken where it cannot be told from none. A full dot is measured, a ring inferred, a square modelled."
        }
        _ => {
            "Avoidable loss, on a scale of its own: energy that a gentler stop at the same place would have saved. Difference from the average on like work, with 90 % interval; \
             broken where it cannot be told from none."
        }
    };
    Ok(Drawing {
        caption,
        svg: differences(&format!("Difference in {response} by driver"), &words, &drawn),
        is_half: false,
        is_detail: false,
    })
}

/// Why people have no figure, each reason once with whom it is about.
fn reasons(rows: &[Row<'_>]) -> Read<Vec<String>> {
    let mut reasons: Vec<([&str; 2], Vec<String>)> = Vec::new();
    for row in rows {
        let why = [row.text("response")?, row.text("why_not_shown")?];
        if why[1].is_empty() {
            continue;
        }
        let driver = row.words("driver_id")?;
        match reasons.iter_mut().find(|(known, _)| *known == why) {
            Some((_, drivers)) => drivers.push(driver),
            None => reasons.push((why, vec![driver])),
        }
    }
    Ok(reasons
        .into_iter()
        .map(|([response, why], drivers)| {
            let takes = if response == AVOIDABLE { " (that takes speeds of about every second)" } else { "" };
            format!("No {response} is compared for {}: {why}{takes}.", listed(&drivers))
        })
        .collect())
}
