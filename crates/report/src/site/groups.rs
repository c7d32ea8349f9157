//! Groups of one grouping with their figures: by vehicle, by route, by trip.

use askama::Template;

use super::{Replays, methods};
use crate::ReportError;
use crate::answers::{Answers, Group};
use crate::chart::{self, Dot};
use crate::figure::{self, Kind, fixed, markup};

/// Rows of one table on the page; the rest is in the CSV beside it.
const ROWS: usize = 60;
/// Trips have pages of their own.
pub const TRIP_ROWS: usize = 1000;

const LEVELS: &str = "Levels were chosen, not assigned: a difference is an association, not an effect. Routes, loads and weather are not set off here; \
                      at like work, and on the same trips at another level: above.";

/// Id, heading, and what has to be said first.
const GROUPINGS: [[&str; 3]; 8] = [
    ["vehicle", "By vehicle", ""],
    ["route", "By route", ""],
    [
        "driver",
        "By driver, driving alone, not adjusted",
        "Not adjusted for route, load, traffic or weather, and therefore no ranking of people. \
         Individual figures appear from 10 driving days and 50 kWh of braking energy on. A coaching aid, not a sole \
         basis for discipline or pay.",
    ],
    ["regen_level", "By regen level", LEVELS],
    ["level_of_type", "By vehicle type and regen level", LEVELS],
    ["temperature_band", "By outside temperature", ""],
    ["service_day", "By service day", "Cut at 03:00 local time; a trip belongs to the day it began."],
    ["trip", "Every trip", ""],
];

#[derive(Template)]
#[template(path = "groups.html")]
struct Section {
    id: &'static str,
    heading: &'static str,
    note: &'static str,
    svgs: Option<[String; 2]>,
    /// Of the columns after the group's name.
    heads: Vec<Head>,
    parts: Vec<Part>,
    more: usize,
    /// What to keep in mind, each once, numbered from 1.
    cautions: Vec<String>,
    method: String,
    root: &'static str,
}

/// Rows under a heading of their own, folded away; under none where there is but one part.
struct Part {
    summary: String,
    rows: Vec<Vec<Cell>>,
}

struct Head {
    markup: String,
    hover: &'static str,
}

struct Cell {
    markup: String,
    hover: String,
    is_words: bool,
}

/// Every group of one grouping, as a section of a page beside the overview.
pub fn section(answers: &Answers, grouping: &str, replays: &Replays) -> Result<String, ReportError> {
    let groups: Vec<&Group> = answers.of(grouping).collect();
    table(answers, grouping, &[(String::new(), groups)], replays, "")
}

/// Some of the groups in parts, each with its heading as markup; `root` leads from the page's folder to the report's.
pub fn table(
    answers: &Answers,
    grouping: &str,
    parts: &[(String, Vec<&Group>)],
    replays: &Replays,
    root: &'static str,
) -> Result<String, ReportError> {
    let groups: Vec<&Group> = parts.iter().flat_map(|(_, groups)| groups).copied().collect();
    let Some([id, heading, note]) = GROUPINGS.into_iter().find(|[id, ..]| *id == grouping) else {
        return Ok(String::new());
    };
    let Some(first) = groups.first() else { return Ok(String::new()) };
    let most = if id == "trip" { TRIP_ROWS } else { ROWS };
    let shown = &groups[..groups.len().min(most)];
    let cautions = cautions(shown);
    let drawn = !matches!(id, "trip" | "service_day") && shown.len() > 1;
    let title = format!("{heading}: consumption with 90 % intervals");
    let svg = |metric: bool| {
        let kind = Kind::PerDistance.shown(metric);
        chart::dots(&title, kind.word, &dots(shown, metric))
    };
    let mut columns = columns(first);
    columns.retain(|column| id != "trip" || column.of_trips);
    if shown
        .iter()
        .all(|group| group.figure("recapture_distance_share_frac").is_none_or(|share| share > 0.9995))
    {
        columns.retain(|column| column.hover != CLAIMED_ON);
    }
    let is_shown = |group: &Group| shown.iter().any(|one| std::ptr::eq(*one, group));
    let row = |group: &&Group| {
        let markup = named(group, answers, &cautions, replays, root);
        let name = Cell { markup, hover: String::new(), is_words: true };
        std::iter::once(name).chain(columns.iter().map(|column| (column.cell)(group))).collect()
    };
    let section = Section {
        id,
        heading,
        note,
        svgs: drawn.then(|| [svg(false), svg(true)]),
        heads: columns
            .iter()
            .map(|column| Head { markup: markup(&column.head), hover: column.hover })
            .collect(),
        parts: parts
            .iter()
            .map(|(summary, groups)| (summary, groups.iter().filter(|group| is_shown(group))))
            .map(|(summary, groups)| Part { summary: summary.clone(), rows: groups.map(row).collect() })
            .filter(|part| !part.rows.is_empty())
            .collect(),
        more: groups.len() - shown.len(),
        cautions: cautions.iter().map(|caution| markup(&figure::prose(caution))).collect(),
        method: methods::href("evidence.md"),
        root,
    };
    Ok(section.render()?)
}

fn dots(groups: &[&Group], metric: bool) -> Vec<Dot> {
    let factor = Kind::PerDistance.shown(metric).factor;
    let shown = |kwh_mi: f64| factor * Kind::PerDistance.si_of("_kwh_mi", kwh_mi);
    groups
        .iter()
        .filter_map(|group| {
            let measure = group.consumption_kwh_mi;
            let value = shown(measure.value?);
            Some(Dot {
                label: drawn_name(group, metric),
                value,
                low: measure.low.map(shown),
                high: measure.high.map(shown),
                shown: format!("{}, {}", fixed(value, 2), group.evidence),
                evidence: group.evidence.clone(),
            })
        })
        .collect()
}

/// A group's name beside its mark.
pub fn drawn_name(group: &Group, metric: bool) -> String {
    match group.grouping.as_str() {
        "temperature_band" => figure::plain(&figure::band(&group.name, metric)),
        _ => figure::cut(&group.name, figure::NAME_CHARS),
    }
}

/// Every caution of the rows shown, once, in the order met.
fn cautions(groups: &[&Group]) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for caution in groups.iter().flat_map(|group| group.caution.split("; ")) {
        if !caution.is_empty() && !found.iter().any(|known| known == caution) {
            found.push(caution.to_owned());
        }
    }
    found
}

/// Said where it is not the whole.
const CLAIMED_ON: &str = "share of the distance on which recovery is claimed";

/// A column: its head, what it is on hover, and its cell.
struct Column {
    head: String,
    hover: &'static str,
    cell: fn(&Group) -> Cell,
    /// False for what a single trip has no room for.
    of_trips: bool,
}

fn columns(first: &Group) -> Vec<Column> {
    let distance = first.unit(Kind::Distance);
    let column = |head: &str, hover: &'static str, cell: fn(&Group) -> Cell| Column {
        head: head.to_owned(),
        hover,
        cell,
        of_trips: true,
    };
    let not_of_trips = |column: Column| Column { of_trips: false, ..column };
    vec![
        column(&distance, "distance driven", |group| {
            number(group, "distance", "mi", Kind::Distance, 1, &group.evidence)
        }),
        column(
            &first.unit(Kind::PerDistance),
            "net energy at the battery terminals over distance, driving only",
            |group| with_range(group, "consumption", "kwh_mi", Kind::PerDistance, 3, &own(group)),
        ),
        column(&first.unit(Kind::PerLoadDistance), "of payload carried, where the payload is known", |group| {
            with_range(group, "consumption", "kwh_ton_mi", Kind::PerLoadDistance, 2, "")
        }),
        column(
            "braking at the wheels, kWh",
            "where recovered energy is claimed: the denominator of the next",
            |group| number(group, "energy_braking_paired", "kwh", Kind::Energy, 1, "modelled"),
        ),
        column("recovered / braking, %", "recovered over braking energy at the wheels", |group| {
            with_range(group, "recapture_of_braking", "frac", Kind::Share, 1, &back(group))
        }),
        column("recovered / recoverable, %", "over what the level as set could have taken in", |group| {
            number(group, "recapture_of_recoverable", "frac", Kind::Share, 1, &group.recapture_evidence)
        }),
        column("recovered / gross discharge, %", "over all energy out of the battery in trips", |group| {
            number(group, "recapture_of_use", "frac", Kind::Share, 1, &group.recapture_evidence)
        }),
        column("range gain: dc link / net use, %", "returned at the dc link over net use", |group| {
            number(group, "range_gain", "frac", Kind::Share, 1, &group.recapture_evidence)
        }),
        column(&format!("{distance} carried by regen"), "distance that regen paid for", |group| {
            let digits = usize::from(group.grouping == "trip");
            number(group, "carried_by_regen", "mi", Kind::Distance, digits, &group.recapture_evidence)
        }),
        column(&format!("claimed on, % of {distance}"), CLAIMED_ON, |group| {
            number(group, "recapture_distance_share", "frac", Kind::Share, 0, &group.recapture_evidence)
        }),
        not_of_trips(column("trips", "", |group| plain(group.trips.to_string()))),
        not_of_trips(column("n: vehicle-days", "the clusters of the interval", |group| {
            plain(group.vehicle_days.to_string())
        })),
    ]
}

fn plain(text: String) -> Cell {
    Cell { markup: text, hover: String::new(), is_words: false }
}

/// A number with its interval and what it rests on to see on hover.
fn number(group: &Group, stem: &str, unit: &str, kind: Kind, digits: usize, evidence: &str) -> Cell {
    let range = group.range(stem, unit, kind, digits.max(1)).map(|range| figure::plain(&range));
    let range = range.map_or_else(|| "no 90 % interval".to_owned(), |range| format!("90 % interval {range}"));
    Cell {
        markup: markup(&group.shown(&format!("{stem}_{unit}"), kind, digits)),
        hover: format!("{range}; {evidence}; n: {} vehicle-days, {} trips", group.vehicle_days, group.trips),
        is_words: false,
    }
}

/// A number with its interval and what it rests on below it.
fn with_range(group: &Group, stem: &str, unit: &str, kind: Kind, digits: usize, evidence: &str) -> Cell {
    let cell = number(group, stem, unit, kind, digits, &figure::plain(evidence));
    if group.figure(&format!("{stem}_{unit}")).is_none() {
        return cell;
    }
    let range = group
        .range(stem, unit, kind, digits.min(2))
        .map_or(String::new(), |range| format!("<span class=\"under\">{}</span>", markup(&range)));
    let evidence = match evidence {
        "" => String::new(),
        told => format!("<span class=\"under grade\">{}</span>", markup(told)),
    };
    Cell { markup: format!("{}{range}{evidence}", cell.markup), ..cell }
}

/// What consumption rests on.
fn own(group: &Group) -> String {
    graded(group, &group.evidence, "evidence_measured_share_frac")
}

/// What recovered energy rests on.
fn back(group: &Group) -> String {
    match group.recapture_evidence.as_str() {
        "none" => "no claim".to_owned(),
        grade => graded(group, grade, "recapture_measured_share_frac"),
    }
}

/// The group's name, with a link to what it leads to and the numbers of its cautions.
fn named(group: &Group, answers: &Answers, cautions: &[String], replays: &Replays, root: &str) -> String {
    let label = match group.grouping.as_str() {
        "temperature_band" => figure::band(&group.name, group.metric),
        _ => figure::name(&answers.label(group)),
    };
    let label = markup(&label);
    let label = match replays.get(&group.name).filter(|_| group.grouping == "trip") {
        Some(path) => format!("<a href=\"{root}{}\">{label}</a>", crate::chart::escape(path)),
        None => label,
    };
    let own = |caution: &&String| group.caution.split("; ").any(|own| own == caution.as_str());
    let marks: Vec<String> = cautions
        .iter()
        .enumerate()
        .filter(|(_, caution)| own(caution))
        .map(|(at, _)| (at + 1).to_string())
        .collect();
    if marks.is_empty() { label } else { format!("{label}&nbsp;<sup>[{}]</sup>", marks.join(", ")) }
}

/// The weakest grade, and how much is measured all the same.
fn graded(group: &Group, evidence: &str, measured: &str) -> String {
    match group.figure(measured) {
        Some(share) if evidence != "measured" && share >= 0.005 => {
            format!("{evidence}, {} % measured", group.shown(measured, Kind::Share, 0))
        }
        _ => evidence.to_owned(),
    }
}
