//! The cascade of braking energy, and the ratios side by side.

use askama::Template;
use backwatt_schema::tables;

use super::methods;
use super::steps::{self, Steps};
use crate::answers::{Answers, Balance, Group, UNKNOWN};
use crate::chart::{self, Dot, Step};
use crate::figure::{Kind, fixed, markup};
use crate::sentences::step_name;
use crate::{ReportError, blending};

#[derive(Template)]
#[template(path = "cascade.html")]
struct Cascade {
    /// As markup; empty where nothing is claimed.
    told: String,
    svg: String,
    rows: Vec<[String; 3]>,
    by_group: Steps,
    method: String,
}

#[derive(Template)]
#[template(path = "ratios.html")]
struct Ratios {
    rows: Vec<Ratio>,
    svg: String,
    evidence: String,
    days: u64,
    method: String,
}

struct Ratio {
    name: &'static str,
    value: String,
    range: String,
    formula: &'static str,
    answers: &'static str,
}

pub fn cascade(answers: &Answers) -> Result<String, ReportError> {
    let balance = answers.balance_of("pilot", "all").filter(|b| b.figure("energy_braking_kwh") > 0.0);
    let pilot = answers.of("pilot").next();
    let page = Cascade {
        told: balance.zip(pilot).map_or(String::new(), |(balance, pilot)| {
            markup(&(told(balance, pilot) + &blending::told(&answers.settings, &answers.balances)))
        }),
        svg: balance.map(drawing).unwrap_or_default(),
        rows: balance.map(rows).unwrap_or_default(),
        by_group: steps::by_group(answers),
        method: methods::href("ledger.md"),
    };
    Ok(page.render()?)
}

/// What came back, how sure, and what the levels that were set left behind.
fn told(balance: &Balance, pilot: &Group) -> String {
    let range = pilot.range("energy_recovered", "kwh", Kind::Energy, 0);
    let range = range.map_or("no interval".to_owned(), |range| format!("90 % interval {range}"));
    let withheld = balance.figure("energy_attainable_kwh") - balance.figure("energy_recoverable_kwh");
    format!(
        "Of {} kWh braked at the wheels {} kWh came back to the battery terminals ({range}; {}; {} vehicle-days). At the levels as set {} kWh could have; with the \
         best level at every instant {} kWh: the levels withheld {} kWh of that, or {} % of the braking energy (by the vehicle data; at the battery terminals, so less than the bar of the level, which is at the wheels before losses and later limits).",
        balance.shown("energy_braking_kwh", 0),
        balance.shown("energy_recovered_p50_kwh", 0),
        pilot.recapture_evidence,
        pilot.vehicle_days,
        balance.shown("energy_recoverable_kwh", 0),
        balance.shown("energy_attainable_kwh", 0),
        pilot.other(Kind::Energy.si_of("_kwh", withheld), Kind::Energy, 0),
        balance.share(withheld, 1),
    )
}

/// The cascade of the whole pilot by shares alone; nothing where no braking energy is claimed.
pub fn in_short(answers: &Answers) -> Option<String> {
    let balance = answers.balance_of("pilot", "all").filter(|b| b.figure("energy_braking_kwh") > 0.0)?;
    let steps = bars(balance, |_, share| format!("{} %", fixed(100.0 * share, 1)));
    Some(chart::narrow_cascade(TITLE, &steps))
}

fn drawing(balance: &Balance) -> String {
    let told = |kwh: f64, share: f64| format!("{} kWh, {} %", fixed(kwh, 1), fixed(100.0 * share, 1));
    chart::cascade(TITLE, &bars(balance, told))
}

const TITLE: &str = "Where the braking energy went, by the first limit that binds";

/// `told` puts an energy in kWh and its share of the braking energy in words.
fn bars(balance: &Balance, told: impl Fn(f64, f64) -> String) -> Vec<Step> {
    let braking = balance.figure("energy_braking_kwh");
    let value = |kwh: f64| told(kwh, kwh / braking);
    let step = |label: &str, kwh: f64, from: f64, length: f64, kept: bool| Step {
        label: label.to_owned(),
        value: value(kwh),
        from,
        length,
        kept,
    };
    let mut steps = vec![step("braking energy at the wheels", braking, 0.0, 1.0, true)];
    let mut left = 1.0;
    for column in tables::CASCADE {
        let kwh = balance.figure(column);
        let share = kwh / braking;
        let kept = column == "energy_recoverable_kwh";
        left -= if kept { 0.0 } else { share };
        steps.push(step(step_name(column), kwh, if kept { 0.0 } else { left }, share, kept));
    }
    let recovered = balance.figure("energy_recovered_p50_kwh");
    let short = left - recovered / braking;
    let label = if short >= 0.0 { "recoverable, not recovered" } else { "recovered beyond the sheet" };
    steps.push(step(label, short * braking, (recovered / braking).min(left), short.abs(), false));
    steps.push(step("recovered at the battery terminals", recovered, 0.0, recovered / braking, true));
    steps
}

fn rows(balance: &Balance) -> Vec<[String; 3]> {
    let row = |name: &str, column: &str| {
        let share = balance.share(balance.figure(column), 1);
        [name.to_owned(), markup(&balance.shown(column, 2)), markup(&share)]
    };
    let mut rows = vec![row("braking energy at the wheels", "energy_braking_kwh")];
    rows.extend(tables::CASCADE.iter().map(|column| row(step_name(column), column)));
    rows.push(row("recoverable with the best level at every instant", "energy_attainable_kwh"));
    rows.push(row("recovered at the battery terminals", "energy_recovered_p50_kwh"));
    rows
}

/// Name, stem of the column, what is divided by what, and what it answers.
const RATIOS: [[&str; 4]; 6] = [
    [
        "R1 recapture of braking",
        "recapture_of_braking",
        "recovered / braking energy at the wheels",
        "how much of the braking came back",
    ],
    [
        "R2 recapture of recoverable",
        "recapture_of_recoverable",
        "recovered / recoverable at the level as set",
        "regen withheld by the truck, and errors of sheet or model; not the driver",
    ],
    [
        "R4 recapture of use",
        "recapture_of_use",
        "recovered / gross discharge",
        "often what “percent regen” means (common practice, no source)",
    ],
    ["R5 recapture over net use", "recapture_over_net_use", "recovered / net use", "also quoted as “percent”"],
    [
        "R7 range gain",
        "range_gain",
        "returned at the dc link / net use (modelled where it is not logged)",
        "how much further the same charge goes",
    ],
    [
        "R8 braking intensity",
        "braking_intensity",
        "braking / tractive energy at the wheels",
        "route and driver",
    ],
];

pub fn ratios(answers: &Answers) -> Result<String, ReportError> {
    let Some(group) = answers.pilot_group() else { return Ok(String::new()) };
    let mut rows: Vec<Ratio> = RATIOS
        .iter()
        .map(|[name, stem, formula, answers]| Ratio {
            name,
            value: percent(group, &format!("{stem}_frac")),
            range: markup(&group.range(stem, "frac", Kind::Share, 1).unwrap_or(UNKNOWN.to_owned())),
            formula,
            answers,
        })
        .collect();
    rows.push(carried(group));
    let page = Ratios {
        rows,
        svg: drawn(group),
        evidence: group.recapture_evidence.clone(),
        days: group.vehicle_days,
        method: methods::href("ledger.md"),
    };
    Ok(page.render()?)
}

fn percent(group: &Group, column: &str) -> String {
    let shown = group.shown(column, Kind::Share, 1);
    if shown == UNKNOWN { shown } else { format!("{} %", markup(&shown)) }
}

fn carried(group: &Group) -> Ratio {
    let value = match group.figure("carried_by_regen_mi") {
        Some(_) => format!(
            "{} {}; counting the terminals alone {}",
            group.shown("carried_by_regen_mi", Kind::Distance, 0),
            group.unit(Kind::Distance),
            group.shown("carried_by_regen_low_mi", Kind::Distance, 0)
        ),
        None => UNKNOWN.to_owned(),
    };
    let range = group.range("carried_by_regen", "mi", Kind::Distance, 0);
    Ratio {
        name: "R10 carried by regen",
        value: markup(&value),
        range: markup(&range.unwrap_or(UNKNOWN.to_owned())),
        formula: "distance × returned at the dc link / (net use + returned at the dc link)",
        answers: "distance that regen paid for",
    }
}

fn drawn(group: &Group) -> String {
    let dots: Vec<Dot> = RATIOS
        .iter()
        .filter_map(|[name, stem, ..]| {
            let at = |percentile: &str| group.figure(&format!("{stem}_{percentile}frac")).map(|v| 100.0 * v);
            let value = at("")?;
            Some(Dot {
                label: (*name).to_owned(),
                value,
                low: at("p05_"),
                high: at("p95_"),
                shown: format!("{} %", fixed(value, 1)),
                evidence: group.recapture_evidence.clone(),
            })
        })
        .collect();
    if dots.len() < 2 {
        return String::new();
    }
    chart::dots("The same recovered energy over each denominator, with 90 % intervals", "%", &dots)
}
