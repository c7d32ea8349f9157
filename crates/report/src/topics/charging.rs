//! Does the charging window refill it, on ac or dc?

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{self, Grid, figure, page_only, shared, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::{Tables, Topic};

const COLUMNS: [grid::Column; 14] = [
    shared("type", |row, _| {
        let name = row.words("vehicle_type")?;
        Ok(if row.text("route")? == "all" {
            name
        } else {
            format!("{name}, after a day on {}", row.words("route")?)
        })
    }),
    words("charger", charger),
    figure("nights refilled, %", |row, _| row.percent("refilled_frac", 0)),
    figure("90 % interval", |row, _| row.range(["refilled_p05_frac", "refilled_p95_frac"], Kind::Share, 0)),
    words("enough", |row, _| {
        let silent = row.number("refilled_frac")?.is_none();
        Ok(if silent {
            "no night"
        } else if row.flag("meets_target")? {
            "yes"
        } else {
            "no"
        }
        .to_owned())
    }),
    figure("n", |row, _| row.whole("nights")),
    figure("stands, h", |row, _| row.shown("dwell_p50_s", Kind::Hours, 1)),
    figure("refill, h", |row, _| row.shown("time_refill_p50_s", Kind::Hours, 1)),
    page_only(figure("90th percen\u{ad}tile, h", |row, _| row.shown("time_refill_p90_s", Kind::Hours, 1))),
    page_only(figure("into the battery, kWh", |row, _| row.fixed("energy_refill_p50_kwh", 1))),
    page_only(figure("from the grid, kWh", |row, _| row.fixed("energy_wall_p50_kwh", 1))),
    page_only(figure("least power, kW", |row, _| row.shown("power_least_w", Kind::Power, 1))),
    page_only(figure("midday, {miles} a day", |row, _| row.shown("topup_midday_mi", Kind::Distance, 0))),
    page_only(words("cost a night", |row, _| row.words("cost_night"))),
];

/// With its power, where its name does not tell it.
fn charger(row: &Row<'_>, units: Units) -> Read<String> {
    let name = row.words("charger")?;
    if row.text("basis")? != "plan" {
        return Ok(name);
    }
    let power = row.shown("power_w", Kind::Power, 1)?;
    Ok(format!("{name} ({power} {} {})", units.unit(Kind::Power), row.text("kind")?))
}

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "charging",
        "Charging",
        "Does the charging window refill it, and is ac enough?",
        "plan-and-packs.md",
    );
    let rows = tables.rows(&tables::CHARGING);
    let mut of_all = Vec::new();
    for row in &rows {
        if row.text("route")? == "all" {
            of_all.push(*row);
        }
    }
    let types = types(&of_all)?;
    if types.is_empty() {
        topic.miss(
            "No night to judge a charger by: that takes two logged service days in a row of one vehicle on a wall clock, \
             and pack energy in its type. [[plan.chargers]] names the chargers, [plan.charging] the hours.",
        );
        return Ok(topic);
    }
    topic.tell(lead(&types, units)?);
    for one in &types {
        if let Some(sentence) = one.night(units)? {
            topic.tell(sentence);
        }
    }
    topic.notes.push(
        "A night: from the last trip of a service day to the first of the next, within the plan's hours. Cold batteries, shared chargers \
         and demand charges are not in it. n: nights. Hours, kWh and cost are those of the median night. Least power: the weakest of that \
         kind that would refill the share of nights asked for. Midday: what this charger puts in during the longest standing between trips, mean of the days.",
    );
    let asked = match of_all.first() {
        Some(row) => format!("; enough: {} % of nights or more", row.percent("target_frac", 0)?),
        None => String::new(),
    };
    let caption = format!("All nights of a type{asked}");
    topic.grids.push(Grid::new(caption, &tables::CHARGING, &of_all, &COLUMNS, units)?);
    let caption =
        "By route of the day before: the weakest charger of each kind that will do, else the strongest";
    topic.grids.push(Grid::new(caption, &tables::CHARGING, &by_route(&rows)?, &COLUMNS, units)?.folded());
    Ok(topic)
}

/// A type with a night, and the weakest charger of each kind that will do.
struct OfType<'a> {
    any: Row<'a>,
    ac: Option<Row<'a>>,
    dc: Option<Row<'a>>,
}

fn types<'a>(of_all: &[Row<'a>]) -> Read<Vec<OfType<'a>>> {
    let mut types: Vec<OfType<'a>> = Vec::new();
    for row in of_all {
        if row.number("refilled_frac")?.is_none() {
            continue;
        }
        let is_known = match types.last() {
            Some(last) => last.any.text("vehicle_type")? == row.text("vehicle_type")?,
            None => false,
        };
        if !is_known {
            types.push(OfType { any: *row, ac: None, dc: None });
        }
        let Some(last) = types.last_mut() else { continue };
        if row.flag("is_smallest")? {
            match row.text("kind")? {
                "ac" => last.ac = last.ac.or(Some(*row)),
                _ => last.dc = last.dc.or(Some(*row)),
            }
        }
    }
    Ok(types)
}

/// Of each type, route and kind, which stand together from weak to strong: the first that will do, else the last.
fn by_route<'a>(rows: &[Row<'a>]) -> Read<Vec<Row<'a>>> {
    let mut chosen: Vec<Row<'a>> = Vec::new();
    for row in rows {
        if row.text("route")? == "all" {
            continue;
        }
        let mut is_same = !chosen.is_empty();
        for column in ["vehicle_type", "route", "kind"] {
            is_same &= chosen.last().map_or(Ok(""), |last| last.text(column))? == row.text(column)?;
        }
        match chosen.last_mut() {
            Some(last) if is_same => {
                if !last.flag("is_smallest")? {
                    *last = *row;
                }
            }
            _ => chosen.push(*row),
        }
    }
    Ok(chosen)
}

/// Ac or dc, for every type.
fn lead(types: &[OfType<'_>], units: Units) -> Read<String> {
    let mut told = Vec::new();
    for one in types {
        told.push(one.verdict(units)?);
    }
    let told = told.join("; ");
    let asked = match types.first() {
        Some(one) => format!(" ({} % of nights asked for)", one.any.percent("target_frac", 0)?),
        None => String::new(),
    };
    Ok(if types.iter().all(|one| one.ac.is_some()) {
        format!("AC is enough and DC is not needed{asked}: {told}.")
    } else if types.iter().all(|one| one.ac.is_none() && one.dc.is_none()) {
        format!("None of the chargers looked at is enough{asked}: {told}.")
    } else {
        format!("AC is not enough for every type{asked}: {told}.")
    })
}

impl OfType<'_> {
    fn verdict(&self, units: Units) -> Read<String> {
        let name = self.any.words("vehicle_type")?;
        let (row, head) = match (&self.ac, &self.dc) {
            (Some(ac), _) => (ac, String::new()),
            (None, Some(dc)) => (dc, "dc alone, ".to_owned()),
            (None, None) => {
                return Ok(format!("{name}: none of ac or dc, of {} nights", self.any.whole("nights")?));
            }
        };
        Ok(format!(
            "{name}: {head}{}, the weakest {} looked at that does, refills {} % of {} nights (90 % interval {}; energy {})",
            charger(row, units)?,
            row.text("kind")?,
            row.percent("refilled_frac", 0)?,
            row.whole("nights")?,
            row.range(["refilled_p05_frac", "refilled_p95_frac"], Kind::Share, 0)?,
            row.words("evidence")?,
        ))
    }

    /// The median night on the weakest charger of each kind that will do.
    fn night(&self, units: Units) -> Read<Option<String>> {
        let mut ways = Vec::new();
        for row in [&self.ac, &self.dc].into_iter().flatten() {
            let cost = match row.text("cost_night")? {
                "" => String::new(),
                cost => format!(", {cost}"),
            };
            ways.push(format!(
                "{} h at {}, with {} kWh from the grid{cost}",
                row.shown("time_refill_p50_s", Kind::Hours, 1)?,
                charger(row, units)?,
                row.fixed("energy_wall_p50_kwh", 1)?,
            ));
        }
        if ways.is_empty() {
            return Ok(None);
        }
        Ok(Some(format!(
            "{}, the median of {} nights: {} kWh into the battery ({}) while it stands {} h: {}.",
            self.any.words("vehicle_type")?,
            self.any.whole("nights")?,
            self.any.fixed("energy_refill_p50_kwh", 1)?,
            self.any.words("evidence")?,
            self.any.shown("dwell_p50_s", Kind::Hours, 1)?,
            ways.join("; "),
        )))
    }
}
