//! What the logs are worth, and every value the figures rest on.

use std::collections::BTreeMap;

use askama::Template;

use super::methods;
use crate::answers::{Answers, Group, UNKNOWN};
use crate::figure::{Kind, counted, fixed, markup, name, prose};
use crate::{ReportError, SettingRow, refused, worth};

/// Files listed; the rest is in the CSV beside it.
const FILES: usize = 300;

#[derive(Template)]
#[template(path = "logs.html")]
struct Logs {
    lines: Vec<String>,
    /// As markup; empty where nothing contradicts.
    contradiction: String,
    rules: Vec<RuleRow>,
    /// Signal, and the share of rows whose files lack it.
    lacking: Vec<[String; 3]>,
    /// Vehicle, and what its logs hold.
    vehicles: Vec<[String; 5]>,
    problems: Vec<String>,
    method: String,
}

struct RuleRow {
    rule: String,
    meaning: &'static str,
    count: u64,
    /// Of the rows read.
    share: String,
    first: String,
}

#[derive(Template)]
#[template(path = "files.html")]
struct Files {
    rows: Vec<FileRow>,
    more: usize,
}

struct FileRow {
    file: String,
    counts: [u64; 4],
    interval: String,
    gap: String,
    note: String,
}

#[derive(Template)]
#[template(path = "assumptions.html")]
struct Assumptions<'a> {
    settings: &'a [SettingRow],
    /// Name, value and origin of each, as markup.
    rows: Vec<[String; 3]>,
}

/// What a copy for others leaves out; nothing in the pilot's own.
pub fn taken_out(answers: &Answers) -> String {
    if answers.taken_out.is_empty() {
        return String::new();
    }
    let lines: String =
        answers.taken_out.iter().map(|line| format!("<li>{}</li>", crate::chart::escape(line))).collect();
    let method = methods::href("sharing.md");
    format!(
        "<section id=\"taken-out\"><h2>Taken out of this copy</h2><ul>{lines}</ul><p class=\"method\"><a href=\"{method}\">How is it \
         decided? A copy to share</a></p></section>"
    )
}

pub fn logs(answers: &Answers) -> Result<String, ReportError> {
    let page = Logs {
        lines: lines(answers),
        contradiction: worth::contradictions(&answers.groups).map_or(String::new(), |told| markup(&told)),
        rules: rules(answers),
        lacking: lacking(answers),
        vehicles: vehicles(answers),
        problems: answers.problems.iter().map(|problem| markup(&prose(problem))).collect(),
        method: methods::href("evidence.md"),
    };
    Ok(page.render()?)
}

/// Columns that the pilot file asks for and some files do not have: of how many rows, in how many files, and which first.
fn lacking(answers: &Answers) -> Vec<[String; 3]> {
    let mut by_signal: BTreeMap<&str, (u64, Vec<&str>)> = BTreeMap::new();
    for file in &answers.trust.files {
        for signal in file.columns_missing.split(", ").filter(|signal| !signal.is_empty()) {
            let (rows, files) = by_signal.entry(signal).or_default();
            *rows += file.rows_in;
            files.push(&file.file);
        }
    }
    let all = answers.trust.rows_in().max(1);
    let told = |(signal, (rows, files)): (&str, (u64, Vec<&str>))| {
        [
            markup(&name(signal)),
            fixed(100.0 * rows as f64 / all as f64, 1),
            format!("{} of {}, first {}", files.len(), answers.trust.files.len(), markup(&name(files[0]))),
        ]
    };
    by_signal.into_iter().map(told).collect()
}

/// What the logs of each vehicle hold, by what could be made of them.
fn vehicles(answers: &Answers) -> Vec<[String; 5]> {
    let told = |group: &Group| {
        let share = |column: &str| markup(&group.shown(column, Kind::Share, 0));
        [
            markup(&name(&group.name)),
            share("evidence_measured_share_frac"),
            share("payload_ton_miles_share_frac"),
            share("recapture_distance_share_frac"),
            format!("{}; {}", group.evidence, group.recapture_evidence),
        ]
    };
    answers.of("vehicle").take(FILES).map(told).collect()
}

fn rules(answers: &Answers) -> Vec<RuleRow> {
    let trust = &answers.trust;
    let row = |(code, count): (&String, &u64)| RuleRow {
        rule: markup(&name(code)),
        meaning: backwatt_schema::rule_meaning(code).unwrap_or_default(),
        count: *count,
        share: fixed(100.0 * trust.rule_share(code), 3),
        first: markup(&prose(&trust.rule_examples(code))),
    };
    trust.rules.iter().map(row).collect()
}

fn lines(answers: &Answers) -> Vec<String> {
    let trust = &answers.trust;
    let list = |counts: &BTreeMap<String, u64>| {
        counts.iter().map(|(name, n)| format!("{name} {n}")).collect::<Vec<_>>().join(", ")
    };
    let rows = trust.rows_in();
    let share = if rows == 0 { 0.0 } else { 100.0 * trust.rows_rejected() as f64 / rows as f64 };
    let read = vec![
        format!(
            "{} rows read, {} refused whole ({} %): each stands in the rejects of the run with reason, file and line{}.",
            counted(rows),
            counted(trust.rows_rejected()),
            fixed(share, 2),
            if answers.taken_out.is_empty() {
                format!(
                    "; here as tables/rejects.csv, the first {} without the rows as they stood",
                    counted(refused::MOST as u64)
                )
            } else {
                String::new()
            }
        ),
        format!(
            "{} trips; {} min within them lost to gaps, {} min masked because signals were frozen. No energy is built across either.",
            trust.trips,
            fixed(trust.gap_s / 60.0, 0),
            fixed(trust.frozen_s / 60.0, 0)
        ),
        claims(&trust.claims),
        format!(
            "What energy into the battery can be put down to, by trip (explained: to braking; none: no battery power is logged, or none came): {}.",
            list(&trust.recovery_checks)
        ),
        format!("What the height rests on, by trip: {}.", list(&trust.grades)),
        format!(
            "The energy ledger closes on every trip, on the worst to {:.0e} of tractive plus braking energy.",
            trust.ledger_residual_worst_frac
        ),
    ];
    read.into_iter().chain(summer_time(&trust.files)).collect()
}

/// Rows at the begin and end of summer time; nothing where no log was running.
fn summer_time(files: &[crate::trust::FileTrust]) -> Option<String> {
    let [twice, later, skipped] = files.iter().fold([0; 3], |sum: [u64; 3], file| {
        let counts = [file.rows_repeated_hour, file.rows_repeated_hour_later, file.rows_skipped_hour];
        std::array::from_fn(|at| sum[at] + counts[at])
    });
    (twice + skipped > 0).then(|| {
        format!(
            "{twice} rows lie in an hour that happened twice when summer time ended: {later} are of its second time by the row before, the others count as of its first. \
             {skipped} rows were refused because their hour was skipped when summer time began."
        )
    })
}

/// What the speeds of each trip allow to be said of its braking energy, the commonest first.
fn claims(of: &BTreeMap<String, u64>) -> String {
    let meaning = |claim: &str| match claim {
        "full" => "logged fast enough to stand as logged",
        "imputed" => "with the speed between slow samples drawn from faster driving",
        "banded" => "with no more than a band between two ends",
        "noisy" => "with a speed too noisy for a claim",
        "withheld" => "logged too slowly for a claim",
        _ => "without a claim",
    };
    let mut counts: Vec<(&String, &u64)> = of.iter().collect();
    counts.sort_by(|a, b| b.1.cmp(a.1).then_with(|| a.0.cmp(b.0)));
    let parts: Vec<String> =
        counts.into_iter().map(|(claim, n)| format!("{n} {} ({claim})", meaning(claim))).collect();
    format!("Braking energy of the trips: {}.", parts.join("; "))
}

/// Nothing where files are not told of.
pub fn files(answers: &Answers) -> Result<String, ReportError> {
    if answers.trust.files.is_empty() {
        return Ok(String::new());
    }
    let seconds = |value: Option<f64>| value.map_or(UNKNOWN.to_owned(), |v| fixed(v, 1));
    let note = |file: &crate::trust::FileTrust| {
        let missing = (!file.columns_missing.is_empty()).then(|| format!("lacks {}", file.columns_missing));
        let unit = file.unit_suspected.as_ref().map(|text| format!("another unit suspected: {text}"));
        let parts = [file.problem.clone(), unit, file.sign.clone(), missing];
        prose(&parts.into_iter().flatten().collect::<Vec<_>>().join("; "))
    };
    let rows = answers.trust.files.iter().take(FILES).map(|file| FileRow {
        file: markup(&name(&file.file)),
        counts: [file.rows_in, file.rows_rejected, file.cells_refused, file.rows_frozen],
        interval: seconds(file.sample_interval_s),
        gap: seconds(file.gap_longest_s),
        note: markup(&note(file)),
    });
    let page = Files { rows: rows.collect(), more: answers.trust.files.len().saturating_sub(FILES) };
    Ok(page.render()?)
}

pub fn assumptions(answers: &Answers) -> Result<String, ReportError> {
    let rows = answers.settings.iter().map(|setting| {
        [markup(&name(&setting.key)), markup(&prose(&setting.value)), markup(&prose(&setting.origin))]
    });
    Ok(Assumptions { settings: &answers.settings, rows: rows.collect() }.render()?)
}
