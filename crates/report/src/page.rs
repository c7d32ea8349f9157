//! The page: one file that opens without a network.

use askama::Template;
use backwatt_schema::tables;

use crate::answers::{Answers, Balance, Group, Measure};
use crate::chart::{self, Dot, Step};
use crate::sentences::{interval, step_name};
use crate::text::CAUTION;
use crate::{ReportError, SettingRow};

const KM_PER_MILE: f64 = 1.609_344;
/// Rows of one table on the page; the rest is in the CSV beside it.
const ROWS: usize = 60;
/// Longest name shown; the tables hold the whole of it.
const NAME_CHARS: usize = 40;

#[derive(Template)]
#[template(path = "index.html")]
struct Page<'a> {
    answers: &'a Answers,
    cascade_svg: String,
    cascade_rows: Vec<[String; 3]>,
    ratios: Vec<RatioRow>,
    sections: Vec<Section>,
    length_unit: &'static str,
    consumption_unit: &'static str,
    trust_lines: Vec<String>,
    rules: Vec<RuleRow>,
    files: Vec<FileRow>,
    settings: &'a [SettingRow],
    caution: &'static str,
}

struct RatioRow {
    name: &'static str,
    value: String,
    formula: &'static str,
    answers: &'static str,
}

struct Section {
    id: &'static str,
    heading: &'static str,
    note: &'static str,
    svg: String,
    rows: Vec<GroupRow>,
    more: usize,
    /// What to keep in mind, each once, numbered from 1.
    cautions: Vec<String>,
}

struct GroupRow {
    name: String,
    distance: String,
    consumption: String,
    interval: String,
    recapture: String,
    recapture_interval: String,
    of_recoverable: String,
    of_use: String,
    gain: String,
    evidence: String,
    recapture_evidence: String,
    trips: u64,
    days: u64,
    /// Numbers of the section's cautions.
    marks: String,
    claimed: String,
    braking: String,
    carried: String,
}

struct RuleRow {
    rule: String,
    count: u64,
    /// Of the rows read.
    share: String,
    first: String,
}

struct FileRow {
    file: String,
    rows_in: u64,
    rows_rejected: u64,
    cells_refused: u64,
    rows_frozen: u64,
    interval: String,
    gap: String,
    note: String,
}

pub fn render(answers: &Answers) -> Result<String, ReportError> {
    let balance = answers.balance_of("pilot", "all");
    let (length_unit, consumption_unit) = if answers.metric { ("km", "kWh/km") } else { ("miles", "kWh/mile") };
    let page = Page {
        answers,
        cascade_svg: balance.map(cascade).unwrap_or_default(),
        cascade_rows: balance.map(cascade_rows).unwrap_or_default(),
        ratios: answers.pilot_group().map(|group| ratios(group, answers.metric)).unwrap_or_default(),
        sections: sections(answers, consumption_unit),
        length_unit,
        consumption_unit,
        trust_lines: trust_lines(answers),
        rules: rules(answers),
        files: files(answers),
        settings: &answers.settings,
        caution: CAUTION,
    };
    Ok(page.render()?)
}

fn cascade(balance: &Balance) -> String {
    let braking = balance.figure("energy_braking_kwh");
    if braking <= 0.0 {
        return String::new();
    }
    let value = |kwh: f64| format!("{kwh:.1} kWh, {:.1} %", 100.0 * kwh / braking);
    let mut steps = vec![Step {
        label: "braking energy at the wheels".to_owned(),
        value: value(braking),
        from: 0.0,
        length: 1.0,
        kept: true,
    }];
    let mut left = 1.0;
    for column in tables::CASCADE {
        let kwh = balance.figure(column);
        let share = kwh / braking;
        let kept = column == "energy_recoverable_kwh";
        left -= if kept { 0.0 } else { share };
        steps.push(Step {
            label: step_name(column).to_owned(),
            value: value(kwh),
            from: if kept { 0.0 } else { left },
            length: share,
            kept,
        });
    }
    let recovered = balance.figure("energy_recovered_p50_kwh");
    let short = left - recovered / braking;
    steps.push(Step {
        label: if short >= 0.0 { "recoverable, not recovered" } else { "recovered beyond the sheet" }
            .to_owned(),
        value: value(short * braking),
        from: (recovered / braking).min(left),
        length: short.abs(),
        kept: false,
    });
    steps.push(Step {
        label: "recovered at the battery terminals".to_owned(),
        value: value(recovered),
        from: 0.0,
        length: recovered / braking,
        kept: true,
    });
    chart::cascade("Where the braking energy went, by the first limit that binds", &steps)
}

fn cascade_rows(balance: &Balance) -> Vec<[String; 3]> {
    let braking = balance.figure("energy_braking_kwh");
    tables::CASCADE
        .iter()
        .map(|column| {
            let kwh = balance.figure(column);
            let share =
                if braking > 0.0 { format!("{:.1} %", 100.0 * kwh / braking) } else { "–".to_owned() };
            [step_name(column).to_owned(), format!("{kwh:.2}"), share]
        })
        .collect()
}

fn ratios(group: &Group, metric: bool) -> Vec<RatioRow> {
    let (scale, length) = if metric { (KM_PER_MILE, "km") } else { (1.0, "miles") };
    let percent = |stem: &str| {
        let measure = group.measure(stem, "frac");
        match measure.value {
            Some(_) => format!("{} ({})", self::percent(measure.value), interval(measure, 100.0, 1)),
            None => "–".to_owned(),
        }
    };
    let row = |name, value, formula, answers| RatioRow { name, value, formula, answers };
    let miles = |measure: Measure| match measure.value {
        Some(value) => {
            let least = group.figure("carried_by_regen_low_mi").unwrap_or(0.0);
            format!(
                "{:.0} {length} ({}; counting the terminals alone {:.0})",
                value * scale,
                interval(measure, scale, 0),
                least * scale
            )
        }
        None => "–".to_owned(),
    };
    vec![
        row(
            "R1 recapture of braking",
            percent("recapture_of_braking"),
            "recovered / braking energy at the wheels",
            "how much of the braking came back",
        ),
        row(
            "R2 recapture of recoverable",
            percent("recapture_of_recoverable"),
            "recovered / recoverable at the level as set",
            "regen withheld by the truck, and errors of sheet or model; not the driver",
        ),
        row(
            "R4 recapture of use",
            percent("recapture_of_use"),
            "recovered / gross discharge",
            "often what “percent regen” means (common practice, no source)",
        ),
        row(
            "R5 recapture over net use",
            percent("recapture_over_net_use"),
            "recovered / net use",
            "also quoted as “percent”",
        ),
        row(
            "R7 range gain",
            percent("range_gain"),
            "returned at the dc link / net use (modelled where it is not logged)",
            "how much further the same charge goes",
        ),
        row(
            "R8 braking intensity",
            self::percent(group.figure("braking_intensity_frac")),
            "braking / tractive energy at the wheels",
            "route and driver",
        ),
        row(
            "R10 carried by regen",
            miles(group.measure("carried_by_regen", "mi")),
            "distance × returned at the dc link / (net use + returned at the dc link)",
            "distance that regen paid for",
        ),
    ]
}

const SECTIONS: [(&str, &str, &str); 7] = [
    ("vehicle", "By vehicle", ""),
    ("route", "By route", ""),
    (
        "driver",
        "By driver",
        "Not adjusted for route, load, traffic or weather, and therefore no ranking of people. \
         Individual figures appear from 10 driving days and 50 kWh of braking energy on. A coaching aid, not a sole \
         basis for discipline or pay.",
    ),
    (
        "regen_level",
        "By regen level",
        "Levels were chosen, not assigned: a difference is an association, not an effect.",
    ),
    ("temperature_band", "By outside temperature", ""),
    ("service_day", "By service day", "Cut at 03:00 local time; a trip belongs to the day it began."),
    ("trip", "By trip", ""),
];

fn sections(answers: &Answers, unit: &str) -> Vec<Section> {
    SECTIONS
        .iter()
        .filter_map(|(id, heading, note)| {
            let groups: Vec<&Group> = answers.of(id).collect();
            if groups.is_empty() {
                return None;
            }
            let scale = if answers.metric { 1.0 / KM_PER_MILE } else { 1.0 };
            let cautions = cautions(&groups);
            let drawn = if *id == "trip" || *id == "service_day" { Vec::new() } else { dots(&groups, scale) };
            let title = format!("{heading}: consumption with 90 % intervals");
            let svg = if drawn.len() > 1 { chart::dots(&title, unit, &drawn) } else { String::new() };
            Some(Section {
                id,
                heading,
                note,
                svg,
                rows: groups.iter().take(ROWS).map(|group| row(group, answers, &cautions)).collect(),
                more: groups.len().saturating_sub(ROWS),
                cautions,
            })
        })
        .collect()
}

fn dots(groups: &[&Group], scale: f64) -> Vec<Dot> {
    groups
        .iter()
        .take(ROWS)
        .filter_map(|group| {
            let measure = group.consumption_kwh_mi;
            let value = measure.value? * scale;
            Some(Dot {
                label: short(&group.name),
                value,
                low: measure.low.map(|v| v * scale),
                high: measure.high.map(|v| v * scale),
                shown: format!("{value:.2}, {}", group.evidence),
            })
        })
        .collect()
}

/// Every caution of the rows shown, once, in the order met.
fn cautions(groups: &[&Group]) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for caution in groups.iter().take(ROWS).flat_map(|group| group.caution.split("; ")) {
        if !caution.is_empty() && !found.iter().any(|known| known == caution) {
            found.push(caution.to_owned());
        }
    }
    found
}

fn row(group: &Group, answers: &Answers, cautions: &[String]) -> GroupRow {
    let scale = if answers.metric { 1.0 / KM_PER_MILE } else { 1.0 };
    let miles = group.figure("distance_mi").unwrap_or(0.0);
    let range = |low: Option<f64>, high: Option<f64>, scale: f64, digits: usize| {
        low.zip(high)
            .map_or("–".to_owned(), |(l, h)| format!("{:.digits$} to {:.digits$}", l * scale, h * scale))
    };
    let (r9, r1) = (group.consumption_kwh_mi, group.recapture_of_braking_frac);
    GroupRow {
        name: short(&answers.label(group)),
        distance: format!("{:.1}", miles / scale),
        consumption: r9.value.map_or("–".to_owned(), |v| format!("{:.3}", v * scale)),
        interval: range(r9.low, r9.high, scale, 3),
        recapture: percent(r1.value),
        recapture_interval: range(r1.low, r1.high, 100.0, 0),
        of_recoverable: percent(group.figure("recapture_of_recoverable_frac")),
        of_use: percent(group.figure("recapture_of_use_frac")),
        gain: percent(group.figure("range_gain_frac")),
        evidence: graded(&group.evidence, group.figure("evidence_measured_share_frac")),
        recapture_evidence: if group.recapture_evidence == "none" {
            "no claim".to_owned()
        } else {
            graded(&group.recapture_evidence, group.figure("recapture_measured_share_frac"))
        },
        trips: group.trips,
        days: group.vehicle_days,
        marks: cautions
            .iter()
            .enumerate()
            .filter(|(_, caution)| group.caution.split("; ").any(|own| own == caution.as_str()))
            .map(|(at, _)| (at + 1).to_string())
            .collect::<Vec<_>>()
            .join(" "),
        claimed: percent_round(group.figure("recapture_distance_share_frac")),
        braking: match group.figure("energy_braking_paired_kwh") {
            Some(kwh) if kwh > 0.0 => format!("{kwh:.1}"),
            _ => "–".to_owned(),
        },
        carried: group.figure("carried_by_regen_mi").map_or("–".to_owned(), |v| format!("{:.0}", v / scale)),
    }
}

fn percent_round(share: Option<f64>) -> String {
    share.map_or("–".to_owned(), |share| format!("{:.0} %", 100.0 * share))
}

fn percent(share: Option<f64>) -> String {
    share.map_or("–".to_owned(), |share| format!("{:.1} %", 100.0 * share))
}

fn short(name: &str) -> String {
    if name.chars().count() <= NAME_CHARS {
        return name.to_owned();
    }
    name.chars().take(NAME_CHARS - 1).chain(['…']).collect()
}

fn trust_lines(answers: &Answers) -> Vec<String> {
    let trust = &answers.trust;
    let list = |counts: &std::collections::BTreeMap<String, u64>| {
        counts.iter().map(|(name, n)| format!("{name} {n}")).collect::<Vec<_>>().join(", ")
    };
    let rows = trust.rows_in();
    let share = if rows == 0 { 0.0 } else { 100.0 * trust.rows_rejected() as f64 / rows as f64 };
    vec![
        format!(
            "{rows} rows read, {} refused whole ({share:.2} %): each is in the rejects table with reason, file and line.",
            trust.rows_rejected()
        ),
        format!(
            "{} trips; {:.0} min within them lost to gaps, {:.0} min to frozen signals. No energy is built across either.",
            trust.trips,
            trust.gap_s / 60.0,
            trust.frozen_s / 60.0
        ),
        format!("What may be claimed of braking energy, by trip: {}.", list(&trust.claims)),
        format!(
            "What the inflow into the battery can be put down to, by trip: {}.",
            list(&trust.recovery_checks)
        ),
        format!("What the height rests on, by trip: {}.", list(&trust.grades)),
        format!(
            "The ledger closes to {:.0e} of tractive plus braking energy on the worst trip.",
            trust.ledger_residual_worst_frac
        ),
    ]
}

fn rules(answers: &Answers) -> Vec<RuleRow> {
    let trust = &answers.trust;
    let row = |(code, count): (&String, &u64)| RuleRow {
        rule: code.clone(),
        count: *count,
        share: format!("{:.3} %", 100.0 * trust.rule_share(code)),
        first: trust.rule_examples(code),
    };
    trust.rules.iter().map(row).collect()
}

fn files(answers: &Answers) -> Vec<FileRow> {
    let seconds = |value: Option<f64>| value.map_or("–".to_owned(), |v| format!("{v:.1}"));
    let note = |file: &crate::trust::FileTrust| {
        let missing = (!file.columns_missing.is_empty()).then(|| format!("lacks {}", file.columns_missing));
        let unit = file.unit_suspected.as_ref().map(|text| format!("another unit suspected: {text}"));
        [file.problem.clone(), unit, file.sign.clone(), missing]
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join("; ")
    };
    answers
        .trust
        .files
        .iter()
        .take(ROWS * 5)
        .map(|file| FileRow {
            file: file.file.clone(),
            rows_in: file.rows_in,
            rows_rejected: file.rows_rejected,
            cells_refused: file.cells_refused,
            rows_frozen: file.rows_frozen,
            interval: seconds(file.sample_interval_s),
            gap: seconds(file.gap_longest_s),
            note: note(file),
        })
        .collect()
}

/// The weakest grade, and how much is measured all the same.
fn graded(evidence: &str, measured: Option<f64>) -> String {
    match measured {
        Some(share) if evidence != "measured" && share >= 0.005 => {
            format!("{evidence}, {:.0} % measured", 100.0 * share)
        }
        _ => evidence.to_owned(),
    }
}
