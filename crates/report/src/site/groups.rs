//! Groups of one grouping with their figures: by vehicle, by route, by trip.

use askama::Template;

use super::{Replays, methods};
use crate::ReportError;
use crate::answers::{Answers, Group, UNKNOWN};
use crate::chart::{self, Dot};
use crate::figure::{self, Kind, fixed, markup};

/// Rows of one table on the page; the rest is in the CSV beside it.
const ROWS: usize = 60;
/// Trips have a page of their own, and are looked for by name.
const TRIP_ROWS: usize = 1000;

/// Id, heading, and what has to be said first.
const GROUPINGS: [[&str; 3]; 7] = [
    ["vehicle", "By vehicle", ""],
    ["route", "By route", ""],
    [
        "driver",
        "By driver, not adjusted",
        "Not adjusted for route, load, traffic or weather, and therefore no ranking of people. \
         Individual figures appear from 10 driving days and 50 kWh of braking energy on. A coaching aid, not a sole \
         basis for discipline or pay.",
    ],
    [
        "regen_level",
        "By regen level",
        "Levels were chosen, not assigned: a difference is an association, not an effect.",
    ],
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
    heads: Vec<Head>,
    rows: Vec<Vec<Cell>>,
    more: usize,
    /// What to keep in mind, each once, numbered from 1.
    cautions: Vec<String>,
    method: String,
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

pub fn section(answers: &Answers, grouping: &str, replays: &Replays) -> Result<String, ReportError> {
    let Some([id, heading, note]) = GROUPINGS.into_iter().find(|[id, ..]| *id == grouping) else {
        return Ok(String::new());
    };
    let groups: Vec<&Group> = answers.of(id).collect();
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
    let section = Section {
        id,
        heading,
        note,
        svgs: drawn.then(|| [svg(false), svg(true)]),
        heads: heads(first),
        rows: shown.iter().map(|group| row(group, answers, &cautions, replays)).collect(),
        more: groups.len() - shown.len(),
        cautions: cautions.iter().map(|caution| markup(&figure::prose(caution))).collect(),
        method: methods::href("evidence.md"),
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
                label: match group.grouping.as_str() {
                    "temperature_band" => figure::plain(&figure::band(&group.name, metric)),
                    _ => figure::cut(&group.name, figure::NAME_CHARS),
                },
                value,
                low: measure.low.map(shown),
                high: measure.high.map(shown),
                shown: format!("{}, {}", fixed(value, 2), group.evidence),
            })
        })
        .collect()
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

fn heads(group: &Group) -> Vec<Head> {
    let distance = group.unit(Kind::Distance);
    let head = |text: &str, hover: &'static str| Head { markup: markup(text), hover };
    vec![
        head("group", ""),
        head(&distance, "distance driven"),
        head(&group.unit(Kind::PerDistance), "net energy at the battery terminals over distance, driving only"),
        head("90 % interval", "of the column before"),
        head("evidence", "of consumption"),
        head("braking at the wheels, kWh", "where recovered energy is claimed: the denominator of the next"),
        head("recovered / braking, %", "R1: recovered over braking energy at the wheels"),
        head("90 % interval, %", "of the column before"),
        head("recovered / recoverable, %", "R2: over what the level as set could have taken in"),
        head("recovered / gross discharge, %", "R4: over all energy out of the battery in trips"),
        head("range gain: dc link / net use, %", "R7: returned at the dc link over net use"),
        head(&format!("{distance} carried by regen"), "R10"),
        head("evidence of recovery", "of recovered energy"),
        head(&format!("claimed on, % of {distance}"), "share of the distance on which recovery is claimed"),
        head("trips", ""),
        head("n: vehicle-days", "the clusters of the interval"),
    ]
}

fn row(group: &Group, answers: &Answers, cautions: &[String], replays: &Replays) -> Vec<Cell> {
    let n = format!("n: {} vehicle-days, {} trips", group.vehicle_days, group.trips);
    let number = |column: &str, kind: Kind, digits: usize, stem: &str, evidence: &str| {
        let unit = column.strip_prefix(stem).unwrap_or_default().trim_start_matches('_');
        let range = group.range(stem, unit, kind, digits.max(1)).map(|range| figure::plain(&range));
        let range =
            range.map_or_else(|| "no 90 % interval".to_owned(), |range| format!("90 % interval {range}"));
        Cell {
            markup: markup(&group.shown(column, kind, digits)),
            hover: format!("{range}; {evidence}; {n}"),
            is_words: false,
        }
    };
    let range = |stem: &str, unit: &str, kind: Kind, digits: usize| Cell {
        markup: markup(&group.range(stem, unit, kind, digits).unwrap_or(UNKNOWN.to_owned())),
        hover: n.clone(),
        is_words: false,
    };
    let words = |text: String| Cell { markup: text, hover: String::new(), is_words: true };
    let plain = |text: String| Cell { markup: text, hover: String::new(), is_words: false };
    let (own, back) = (group.evidence.as_str(), group.recapture_evidence.as_str());
    vec![
        words(named(group, answers, cautions, replays)),
        number("distance_mi", Kind::Distance, 1, "distance", own),
        number("consumption_kwh_mi", Kind::PerDistance, 3, "consumption", own),
        range("consumption", "kwh_mi", Kind::PerDistance, 3),
        words(graded(group, own, "evidence_measured_share_frac")),
        number("energy_braking_paired_kwh", Kind::Energy, 1, "energy_braking_paired", "modelled"),
        number("recapture_of_braking_frac", Kind::Share, 1, "recapture_of_braking", back),
        range("recapture_of_braking", "frac", Kind::Share, 0),
        number("recapture_of_recoverable_frac", Kind::Share, 1, "recapture_of_recoverable", back),
        number("recapture_of_use_frac", Kind::Share, 1, "recapture_of_use", back),
        number("range_gain_frac", Kind::Share, 1, "range_gain", back),
        number("carried_by_regen_mi", Kind::Distance, 0, "carried_by_regen", back),
        words(match back {
            "none" => "no claim".to_owned(),
            _ => graded(group, back, "recapture_measured_share_frac"),
        }),
        number("recapture_distance_share_frac", Kind::Share, 0, "recapture_distance_share", back),
        plain(group.trips.to_string()),
        plain(group.vehicle_days.to_string()),
    ]
}

/// The group's name, with a link to what it leads to and the numbers of its cautions.
fn named(group: &Group, answers: &Answers, cautions: &[String], replays: &Replays) -> String {
    let label = match group.grouping.as_str() {
        "temperature_band" => figure::band(&group.name, group.metric),
        _ => figure::name(&answers.label(group)),
    };
    let label = markup(&label);
    let label = match replays.get(&group.name).filter(|_| group.grouping == "trip") {
        Some(path) => format!("<a href=\"{}\">{label}</a>", crate::chart::escape(path)),
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
            format!("{evidence}, {} % measured", markup(&group.shown(measured, Kind::Share, 0)))
        }
        _ => evidence.to_owned(),
    }
}
