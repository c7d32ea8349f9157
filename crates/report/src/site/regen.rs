//! The cascade of braking energy, and the ratios side by side.

use askama::Template;

use super::methods;
use super::steps::{self, Steps};
use crate::answers::{Answers, Balance, Group, UNKNOWN};
use crate::chart::{self, Dot, Step};
use crate::figure::{Kind, fixed, markup};
use crate::{ReportError, blending, braking_steps};

#[derive(Template)]
#[template(path = "cascade.html")]
struct Cascade {
    /// As markup; empty where nothing is claimed.
    told: String,
    svg: String,
    rows: Vec<[String; 4]>,
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
            markup(
                &(told(balance, pilot)
                    + &braking_steps::refused(balance).map_or(String::new(), |told| format!(" {told}"))
                    + &blending::told(&answers.settings, &answers.balances)),
            )
        }),
        svg: balance.map(|balance| drawing(balance, pilot)).unwrap_or_default(),
        rows: balance.map(|balance| rows(balance, pilot)).unwrap_or_default(),
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
        "Of {} kWh braked at the wheels (90 % interval {} to {}; modelled) {} kWh came back to the battery terminals ({range}; {}; {} vehicle-days). At the levels as set {} kWh could have; with the \
         best level at every instant {} kWh: the levels withheld {} kWh of that, or {} % of the braking energy (by the vehicle data; at the battery terminals, so less than the bar of the level, which is at the wheels before losses and later limits).",
        balance.shown("energy_braking_kwh", 0),
        pilot.shown("energy_braking_low_kwh", Kind::Energy, 0),
        pilot.shown("energy_braking_high_kwh", Kind::Energy, 0),
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
    let steps = bars(balance, answers.pilot_group(), |_, share| format!("{} %", fixed(100.0 * share, 1)));
    Some(chart::narrow_cascade(TITLE, &steps))
}

fn drawing(balance: &Balance, pilot: Option<&Group>) -> String {
    let told = |kwh: f64, share: f64| format!("{} kWh, {} %", fixed(kwh, 1), fixed(100.0 * share, 1));
    let mut steps = bars(balance, pilot, told);
    // A whole is all of itself: its interval is one of energy.
    let whole = pilot.zip(braking_range(pilot)).zip(steps.first_mut());
    if let Some(((pilot, _), step)) = whole {
        let end = |column: &str| fixed(pilot.figure(column).unwrap_or_default(), 1);
        let ends = [end("energy_braking_low_kwh"), end("energy_braking_high_kwh")];
        step.value = format!("{} kWh ({})", fixed(balance.figure("energy_braking_kwh"), 1), ends.join(" to "));
    }
    chart::cascade(TITLE, &steps)
}

const TITLE: &str = "Where the braking energy went, by the first limit that binds, with 90 % intervals";
const RECOVERED: &str = "energy_recovered_p50_kwh";
const REFUSED: &str = "braking_beyond_acceptance_kwh";

/// `told` puts an energy in kWh and its share of the braking energy in words.
fn bars(balance: &Balance, pilot: Option<&Group>, told: impl Fn(f64, f64) -> String) -> Vec<Step> {
    let braking = balance.figure("energy_braking_kwh");
    let step = |label: &str, share: f64, (from, length): (f64, f64), kept: bool, range: Option<[f64; 2]>| {
        let ends =
            |[low, high]: [f64; 2]| format!(" ({} to {})", fixed(100.0 * low, 1), fixed(100.0 * high, 1));
        let value = told(share * braking, share) + &range.map_or(String::new(), ends);
        Step { label: label.to_owned(), value, from, length, kept, range }
    };
    let mut steps = vec![step("braking energy at the wheels", 1.0, (0.0, 1.0), true, None)];
    let mut left = 1.0;
    let mut recoverable = [0.0; 2];
    for taken in braking_steps::of(balance) {
        let kept = taken.is_recoverable();
        if kept {
            recoverable = taken.range;
        } else {
            left -= taken.share;
        }
        let from = if kept { 0.0 } else { left };
        steps.push(step(taken.name(), taken.share, (from, taken.share), kept, Some(taken.range)));
    }
    let recovered = balance.figure(RECOVERED) / braking;
    let came_back = recovered_range(pilot);
    let short = left - recovered;
    let label = if short >= 0.0 { "recoverable, not recovered" } else { "recovered beyond the sheet" };
    let apart = came_back.map(|back| apart((left, recoverable), (recovered, back)));
    // Beyond the sheet the bar lies on the other side, and its interval with it.
    let apart = apart.map(|[low, high]| if short >= 0.0 { [low, high] } else { [-high, -low] });
    steps.push(step(label, short.abs(), (recovered.min(left), short.abs()), false, apart));
    steps.push(step("recovered at the battery terminals", recovered, (0.0, recovered), true, came_back));
    steps
}

/// The interval of the braking energy itself, in shares of it.
fn braking_range(pilot: Option<&Group>) -> Option<[f64; 2]> {
    let pilot = pilot?;
    let whole = pilot.figure("energy_braking_kwh").filter(|kwh| *kwh > 0.0)?;
    let end = |column: &str| pilot.figure(column).map(|kwh| kwh / whole);
    Some([end("energy_braking_low_kwh")?, end("energy_braking_high_kwh")?])
}

/// The interval of what came back over the braking energy, as every page has it.
fn recovered_range(pilot: Option<&Group>) -> Option<[f64; 2]> {
    let of = pilot?.recapture_of_braking_frac;
    Some([of.low?, of.high?])
}

/// The interval of a difference of two figures that err independently.
///
/// Source   JCGM 100:2008 (GUM), 5.1.2
fn apart((from, from_ends): (f64, [f64; 2]), (less, less_ends): (f64, [f64; 2])) -> [f64; 2] {
    let below = (from - from_ends[0]).hypot(less_ends[1] - less);
    let above = (from_ends[1] - from).hypot(less - less_ends[0]);
    [from - less - below, from - less + above]
}

/// Name, kWh, share of the braking energy and its interval.
fn rows(balance: &Balance, pilot: Option<&Group>) -> Vec<[String; 4]> {
    let row = |name: &str, column: &str, range: Option<[f64; 2]>| {
        let share = balance.share(balance.figure(column), 1);
        let range = range.map(|ends| ends.map(|end| fixed(100.0 * end, 1)).join(" to "));
        [name.to_owned(), markup(&balance.shown(column, 2)), markup(&share), range.unwrap_or("–".to_owned())]
    };
    let steps = braking_steps::of(balance);
    let mut rows = vec![row("braking energy at the wheels", "energy_braking_kwh", braking_range(pilot))];
    for step in &steps {
        rows.push(row(step.name(), step.column, Some(step.range)));
        if step.column == REFUSED {
            rows.push(row("… of it while nearly full", "braking_refused_full_kwh", None));
            rows.push(row("… of it while cold", "braking_refused_cold_kwh", None));
        }
    }
    let best = "recoverable with the best level at every instant";
    rows.push(row(best, "energy_attainable_kwh", None));
    rows.push(row("recovered at the battery terminals", RECOVERED, recovered_range(pilot)));
    rows
}

/// Name, stem of the column, what is divided by what, and what it answers.
const RATIOS: [[&str; 4]; 6] = [
    [
        "recapture of braking",
        "recapture_of_braking",
        "recovered / braking energy at the wheels",
        "how much of the braking came back",
    ],
    [
        "recapture of recoverable",
        "recapture_of_recoverable",
        "recovered / recoverable at the level as set",
        "regen withheld by the truck, and errors of sheet or model; not the driver",
    ],
    [
        "recapture of use",
        "recapture_of_use",
        "recovered / gross discharge",
        "often what “percent regen” means (common practice, no source)",
    ],
    ["recapture over net use", "recapture_over_net_use", "recovered / net use", "also quoted as “percent”"],
    [
        "range gain",
        "range_gain",
        "returned at the dc link / net use (modelled where it is not logged)",
        "how much further the same charge goes",
    ],
    ["braking intensity", "braking_intensity", "braking / tractive energy at the wheels", "route and driver"],
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
        name: "carried by regen",
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
