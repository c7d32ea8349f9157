//! The answers on a terminal, 80 columns wide.

use std::fmt::Write as _;

use comfy_table::{CellAlignment, Table, presets};

use crate::answers::{Answers, Group, Measure};
use crate::figure::{band, plain};

pub(crate) const WIDTH: usize = 80;
/// Rows shown of one grouping; the rest is in the tables.
const ROWS: usize = 12;
const KM_PER_MILE: f64 = 1.609_344;

/// Groupings and their headings, in the order shown.
const SHOWN: [(&str, &str); 8] = [
    ("vehicle_type", "By vehicle type"),
    ("vehicle", "By vehicle"),
    ("route", "By route"),
    ("driver", "By driver (unadjusted: no ranking of people)"),
    ("regen_level", "By regen level (levels were chosen, not assigned)"),
    ("level_of_type", "By vehicle type and regen level (levels were chosen, not assigned)"),
    ("temperature_band", "By outside temperature"),
    ("trip", "By trip"),
];

/// The whole summary.
pub fn text(answers: &Answers) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", answers.pilot);
    let _ = writeln!(out, "{}\n", "=".repeat(answers.pilot.chars().count().clamp(1, WIDTH)));
    for sentence in &answers.sentences {
        let told = format!("{} {} {}", sentence.question, plain(&sentence.text), plain(&sentence.more));
        let _ = writeln!(out, "{}", wrapped(told.trim_end()));
        out.push('\n');
    }
    let other = if answers.level_grouping() == "regen_level" { "level_of_type" } else { "regen_level" };
    for (grouping, heading) in SHOWN.into_iter().filter(|(grouping, _)| *grouping != other) {
        let groups: Vec<&Group> = answers.of(grouping).collect();
        if groups.is_empty() || (groups.len() == 1 && grouping != "trip" && grouping != "vehicle") {
            continue;
        }
        let _ = writeln!(out, "{heading}\n{}", table(&groups, answers));
        if groups.len() > ROWS {
            let _ = writeln!(out, "… {} more in the recovery table", groups.len() - ROWS);
        }
        out.push('\n');
    }
    out.push_str(&crate::topics::text(&answers.topics));
    out.push_str(&trust(answers));
    out
}

fn table(groups: &[&Group], answers: &Answers) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    let (scale, unit, length) =
        if answers.metric { (1.0 / KM_PER_MILE, "kWh/km", "km") } else { (1.0, "kWh/mile", "mile") };
    let head = ["group", length, unit, "90 %", "braking", "90 %", "evidence"].map(str::to_owned);
    table.set_header(head);
    for group in groups.iter().take(ROWS) {
        let distance = group.figure("distance_mi").unwrap_or(0.0) / scale;
        let measure = group.consumption_kwh_mi;
        let range = measure
            .low
            .zip(measure.high)
            .map_or("-".to_owned(), |(low, high)| format!("{:.2}-{:.2}", low * scale, high * scale));
        table.add_row(vec![
            shortened(&shown(answers, group), 22),
            if distance < 10.0 { format!("{distance:.1}") } else { format!("{distance:.0}") },
            measure.value.map_or("-".to_owned(), |v| format!("{:.2}", v * scale)),
            range,
            percent(group.recapture_of_braking_frac.value),
            shares(group.recapture_of_braking_frac),
            group.evidence.clone(),
        ]);
    }
    for at in 1..6 {
        if let Some(column) = table.column_mut(at) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    let lines: Vec<String> = table.lines().map(|line| line.trim_end().to_owned()).collect();
    format!(
        "{}\n braking: recovered over braking energy at the wheels, with its interval in %",
        lines.join("\n")
    )
}

/// A group's name, bands of the outside air in the reader's unit.
fn shown(answers: &Answers, group: &Group) -> String {
    match group.grouping.as_str() {
        "temperature_band" => plain(&band(&group.name, answers.metric)),
        _ => answers.label(group),
    }
}

/// The ends of a share's interval, in percent.
fn shares(share: Measure) -> String {
    let ends = share.low.zip(share.high);
    ends.map_or("-".to_owned(), |(low, high)| format!("{:.0}-{:.0}", 100.0 * low, 100.0 * high))
}

fn percent(share: Option<f64>) -> String {
    share.map_or("-".to_owned(), |share| format!("{:.0} %", 100.0 * share))
}

fn trust(answers: &Answers) -> String {
    let trust = &answers.trust;
    let mut out = String::from("What the logs are worth\n");
    let rows = trust.rows_in();
    let share = if rows == 0 { 0.0 } else { 100.0 * trust.rows_rejected() as f64 / rows as f64 };
    let _ = writeln!(
        out,
        "{}",
        wrapped(&format!(
            "{rows} rows read from {} files, {} refused whole ({share:.2} %); {} trips, {:.0} min lost to gaps, {:.0} min to frozen signals. \
             The ledger closes to {:.0e} of tractive plus braking energy on the worst trip.",
            trust.files.len(),
            trust.rows_rejected(),
            trust.trips,
            trust.gap_s / 60.0,
            trust.frozen_s / 60.0,
            trust.ledger_residual_worst_frac,
        ))
    );
    for (code, count) in &trust.rules {
        let share = 100.0 * trust.rule_share(code);
        let first = trust.rules_first.get(code).and_then(|examples| examples.first());
        let line = format!("  {count:>8}  {share:>7.3} %  {code}");
        let first = first.map_or(String::new(), |first| format!(", first at {first}"));
        // A long name stands on the page alone.
        let fits = line.chars().count() + first.chars().count() <= WIDTH;
        let _ = writeln!(out, "{line}{}", if fits { &first } else { "" });
    }
    for problem in &answers.problems {
        let _ = writeln!(out, "\n{problem}");
    }
    out.push('\n');
    out.push_str(&wrapped(CAUTION));
    out.push('\n');
    out
}

/// What a reader must not take from these figures.
pub const CAUTION: &str = "These figures are about energy. They are no assessment of brake condition, brake safety or \
driving safety: safe stopping comes first, friction brakes stay in use and need their inspections, and on slippery roads \
the manufacturer's instruction decides the regen level. Work on high voltage belongs to qualified persons. Logs that \
identify drivers are personal data; local rules and works agreements apply.";

pub(crate) fn shortened(name: &str, most: usize) -> String {
    let clean: String = name.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if clean.chars().count() <= most { clean } else { clean.chars().take(most - 1).chain(['…']).collect() }
}

pub(crate) fn wrapped(text: &str) -> String {
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split_whitespace() {
        let length = lines.last().map_or(0, |line| line.chars().count());
        if length > 0 && length + 1 + word.chars().count() > WIDTH {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines.join("\n")
}
