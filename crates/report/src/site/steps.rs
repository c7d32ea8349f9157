//! The steps of the cascade for every vehicle, route and regen level beside each other.

use backwatt_schema::tables;

use crate::answers::{Answers, Balance};
use crate::braking_steps::{self, step_name};
use crate::figure::{Kind, markup, name, of_cell};

/// Groups told of one grouping; the rest is in the CSV.
const GROUPS: usize = 30;
const GROUPINGS: [(&str, &str); 4] = [
    ("vehicle_type", "by vehicle type"),
    ("vehicle", "by vehicle"),
    ("route", "by route"),
    ("regen_level", "by regen level, as chosen"),
];

/// A table: its heads, and parts with a heading of their own; all of it markup.
pub struct Steps {
    pub heads: Vec<&'static str>,
    pub parts: Vec<(&'static str, Vec<Vec<String>>)>,
}

pub fn by_group(answers: &Answers) -> Steps {
    let mut heads: Vec<&'static str> = tables::CASCADE.iter().map(|column| step_name(column)).collect();
    heads.push("recovered at the battery terminals");
    let part = |(grouping, heading): (&str, &'static str)| {
        let own = answers.balances.iter().filter(|balance| balance.grouping == grouping);
        let claimed = own.filter(|balance| balance.figure("energy_braking_kwh") > 0.0);
        (heading, claimed.take(GROUPS).map(row).collect::<Vec<_>>())
    };
    let parts = GROUPINGS.into_iter().map(part).filter(|(_, rows)| rows.len() > 1).collect();
    Steps { heads, parts }
}

/// The name, the braking energy in kWh, then shares of it, each step with its interval.
fn row(balance: &Balance) -> Vec<String> {
    let cell = format!("braking_balance.{}.energy_braking_kwh", balance.row);
    let braking = Kind::Energy.si_of("_kwh", balance.figure("energy_braking_kwh"));
    let mut cells =
        vec![markup(&name(&balance.name)), markup(&of_cell(braking, Kind::Energy, 1, false, &cell))];
    cells.extend(braking_steps::of(balance).iter().map(|step| {
        let share = markup(&balance.share(balance.figure(step.column), 1));
        format!("{share}<span class=\"under\">{}</span>", step.range_shown())
    }));
    cells.push(markup(&balance.share(balance.figure("energy_recovered_p50_kwh"), 1)));
    cells
}
