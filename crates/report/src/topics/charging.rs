//! Does the charging window refill it, on ac or dc?

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{Grid, figure, page_only, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::{Tables, Topic, grid};

const COLUMNS: [grid::Column; 16] = [
    words("type", |row, _| row.words("vehicle_type")),
    page_only(words("route of the day before", |row, _| row.words("route"))),
    words("charger", |row, _| row.words("charger")),
    page_only(words("from", |row, _| row.words("basis"))),
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
    page_only(figure("refill, 90th percentile h", |row, _| row.shown("time_refill_p90_s", Kind::Hours, 1))),
    page_only(figure("refill, kWh at the battery", |row, _| row.fixed("energy_refill_p50_kwh", 1))),
    page_only(figure("kWh from the grid", |row, _| row.fixed("energy_wall_p50_kwh", 1))),
    page_only(figure("least power that would do, kW", |row, _| row.shown("power_least_w", Kind::Power, 1))),
    page_only(figure("midday top-up, {miles}", |row, _| row.shown("topup_midday_mi", Kind::Distance, 0))),
    page_only(words("cost of the median night", |row, _| row.words("cost_night"))),
];

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic =
        Topic::new("charging", "Charging", "Does the charging window refill it?", "plan-and-packs.md");
    let rows = tables.rows(&tables::CHARGING);
    let mut of_all = Vec::new();
    for row in &rows {
        if row.text("route")? == "all" {
            of_all.push(*row);
        }
    }
    let mut nights = false;
    for row in &of_all {
        nights |= row.number("refilled_frac")?.is_some();
    }
    if !nights {
        topic.miss(
            "No night to judge a charger by: that takes two logged service days in a row of one vehicle on a wall clock, \
             and pack energy in its type. [[plan.chargers]] names the chargers, [plan.charging] the hours.",
        );
        return Ok(topic);
    }
    for kind in ["ac", "dc"] {
        for row in &of_all {
            if row.text("kind")? == kind && row.flag("is_smallest")? {
                topic.tell(sentence(row)?);
            }
        }
    }
    if topic.answer.is_empty() {
        topic.tell("None of the chargers looked at refills the share of nights asked for.");
    }
    topic.notes.push(
        "A night: from the last trip of a service day to the first of the next, within the plan's hours. Cold batteries, shared chargers \
         and demand charges are not in it. n: nights. Medians of the nights.",
    );
    topic.grids.push(Grid::new("All nights of a type", &tables::CHARGING, &of_all, &COLUMNS, units)?);
    topic.grids.push(Grid::new("By route", &tables::CHARGING, &rows, &COLUMNS, units)?.folded());
    Ok(topic)
}

fn sentence(row: &Row<'_>) -> Read<String> {
    let cost = match row.text("cost_night")? {
        "" => String::new(),
        cost => format!(", {cost} for the median night"),
    };
    Ok(format!(
        "{}: the weakest {} charger that refills {} % of nights or more is {}: {} % of {} nights (90 % interval {} %; energy {}){cost}.",
        row.words("vehicle_type")?,
        row.text("kind")?,
        row.percent("target_frac", 0)?,
        row.words("charger")?,
        row.percent("refilled_frac", 0)?,
        row.whole("nights")?,
        row.range(["refilled_p05_frac", "refilled_p95_frac"], Kind::Share, 0)?,
        row.words("evidence")?,
    ))
}
