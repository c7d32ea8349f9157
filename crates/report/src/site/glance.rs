//! The pilot at a glance: four figures, the groups beside each other, and where the braking energy went.

use super::{groups, regen};
use crate::answers::{Answers, Group, Measure};
use crate::chart::{self, Line, Mark};
use crate::figure::{Kind, fixed, markup};
use crate::topics::Drawing;

/// Groups of one grouping that are drawn; of more, those with most distance.
const DRAWN: usize = 10;

/// Groupings and their headings, in the order drawn.
const GROUPINGS: [(&str, &str); 7] = [
    ("vehicle_type", "By vehicle type"),
    ("vehicle", "By vehicle"),
    ("route", "By route"),
    ("driver", "By driver, not adjusted: no ranking"),
    ("regen_level", "By regen level, not adjusted"),
    ("level_of_type", "By type and regen level, not adjusted"),
    ("temperature_band", "By outside air"),
];

/// What driving took and what came back by group: in miles, then in kilometres.
pub type Drawn = [[String; 2]; 2];

pub struct Glance<'a> {
    pub figures: Vec<Headline>,
    /// None where there is nothing to lay side by side.
    pub groups: Option<Drawn>,
    pub cascade: String,
    /// Where most was lost; none without positions, or in a copy that leaves.
    pub map: Option<&'a Drawing>,
}

/// One figure in large type; all of it as markup.
pub struct Headline {
    pub value: String,
    pub unit: String,
    pub what: String,
    pub range: String,
}

pub fn of(answers: &Answers) -> Glance<'_> {
    let Some(pilot) = answers.pilot_group() else {
        return Glance { figures: Vec::new(), groups: None, cascade: String::new(), map: None };
    };
    Glance {
        figures: headlines(pilot),
        groups: drawn(answers),
        cascade: regen::in_short(answers).unwrap_or_default(),
        map: answers.topics.iter().find(|topic| topic.id == "routes").and_then(|topic| topic.drawings.first()),
    }
}

fn headlines(pilot: &Group) -> Vec<Headline> {
    let (back, own) = (pilot.recapture_evidence.as_str(), pilot.evidence.as_str());
    let distance = format!(
        "carried by regen, of {} {}",
        pilot.shown("distance_mi", Kind::Distance, 0),
        pilot.unit(Kind::Distance)
    );
    let known = [
        ("consumption", "kwh_mi", Kind::PerDistance, 2, "driving, at the battery terminals", own),
        ("recapture_of_braking", "frac", Kind::Share, 0, "of the braking energy at the wheels came back", back),
        ("recapture_of_use", "frac", Kind::Share, 1, "the same energy, of gross discharge in trips", back),
        ("carried_by_regen", "mi", Kind::Distance, 0, &distance, back),
    ];
    let headline = |(stem, unit, kind, digits, what, evidence): (&str, &str, Kind, usize, &str, &str)| {
        let column = format!("{stem}_{unit}");
        pilot.figure(&column)?;
        let range = pilot.range(stem, unit, kind, digits);
        let range = range.map_or("no interval".to_owned(), |range| format!("90 % interval {range}"));
        Some(Headline {
            value: markup(&pilot.shown(&column, kind, digits)),
            unit: markup(&pilot.unit(kind)),
            what: markup(what),
            range: markup(&format!("{range}; {evidence}")),
        })
    };
    known.into_iter().filter_map(headline).collect()
}

fn drawn(answers: &Answers) -> Option<Drawn> {
    let use_ = |metric: bool| {
        let unit = Kind::PerDistance.shown(metric).word;
        let lines = lines(answers, metric, |group| consumption(group, metric));
        let title = "Consumption by group, with 90 % intervals";
        (!lines.is_empty()).then(|| chart::panel(title, &format!("driving, {unit}"), &lines))
    };
    let back = |metric: bool| {
        let lines = lines(answers, metric, |group| recapture(group, metric));
        let title = "Recovered share of the braking energy at the wheels by group, with 90 % intervals";
        chart::panel(title, "recovered of braking, %", &lines)
    };
    Some([[use_(false)?, back(false)], [use_(true)?, back(true)]])
}

fn lines(answers: &Answers, metric: bool, mark: impl Fn(&Group) -> Option<Mark>) -> Vec<Line> {
    let mut lines = Vec::new();
    let other = if answers.level_grouping() == "regen_level" { "level_of_type" } else { "regen_level" };
    for (grouping, heading) in GROUPINGS.into_iter().filter(|(grouping, _)| *grouping != other) {
        let (heading, shown) = with_most_distance(answers, grouping, heading);
        if shown.is_empty() {
            continue;
        }
        lines.push(Line::Heading(heading));
        lines.extend(
            shown.into_iter().map(|group| Line::Group { label: label(group, metric), mark: mark(group) }),
        );
    }
    lines
}

/// A level that no log names is no level.
fn label(group: &Group, metric: bool) -> String {
    groups::drawn_name(group, metric).replace("(unknown)", "not logged")
}

/// No group where a grouping holds but one.
fn with_most_distance<'a>(answers: &'a Answers, grouping: &'a str, heading: &str) -> (String, Vec<&'a Group>) {
    let all: Vec<&Group> = answers.of(grouping).collect();
    if all.len() < 2 {
        return (String::new(), Vec::new());
    }
    let miles = |group: &Group| group.figure("distance_mi").unwrap_or(0.0);
    let mut by_distance = all.clone();
    by_distance.sort_by(|a, b| miles(b).total_cmp(&miles(a)).then_with(|| a.name.cmp(&b.name)));
    let least = by_distance.get(DRAWN).map_or(f64::NEG_INFINITY, |group| miles(group));
    let shown: Vec<&Group> = all.iter().filter(|group| miles(group) > least).copied().take(DRAWN).collect();
    let heading = match all.len() - shown.len() {
        0 => heading.to_owned(),
        _ => format!("{heading}: {} of {} with most distance", shown.len(), all.len()),
    };
    (heading, shown)
}

fn consumption(group: &Group, metric: bool) -> Option<Mark> {
    let shown = Kind::PerDistance.shown(metric);
    let scale = shown.factor * Kind::PerDistance.si_of("_kwh_mi", 1.0);
    let of = Figure { column: "consumption_kwh_mi", scale, digits: 2, unit: shown.word };
    of.mark((group, metric), group.consumption_kwh_mi, &group.evidence)
}

fn recapture(group: &Group, metric: bool) -> Option<Mark> {
    let unit = "% of the braking energy at the wheels";
    let of = Figure { column: "recapture_of_braking_frac", scale: 100.0, digits: 0, unit };
    of.mark((group, metric), group.recapture_of_braking_frac, &group.recapture_evidence)
}

/// A column of `recovery` as it is marked.
struct Figure {
    column: &'static str,
    scale: f64,
    digits: usize,
    unit: &'static str,
}

impl Figure {
    fn mark(&self, (group, metric): (&Group, bool), measure: Measure, evidence: &str) -> Option<Mark> {
        let Self { column, scale, digits, unit } = *self;
        let [value, low, high] =
            [measure.value, measure.low, measure.high].map(|end| end.map(|end| end * scale));
        let value = value?;
        let range = low.zip(high).map_or("no 90 % interval".to_owned(), |(low, high)| {
            format!("90 % interval {} to {}", fixed(low, digits), fixed(high, digits))
        });
        Some(Mark {
            value,
            low,
            high,
            shown: fixed(value, digits),
            cell: format!("recovery.{}.{column}", group.row),
            scale,
            hover: format!(
                "{}: {} {unit}; {range}; {evidence}; n: {} vehicle-days, {} trips",
                label(group, metric),
                fixed(value, digits),
                group.vehicle_days,
                group.trips
            ),
            evidence: evidence.to_owned(),
        })
    }
}
