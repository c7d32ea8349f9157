//! The pilot at a glance: four figures, the groups beside each other, and where the braking energy went.

use super::{groups, regen};
use crate::answers::{Answers, Group, Measure};
use crate::chart::{self, Line, Mark};
use crate::figure::{self, Kind, fixed, markup};
use crate::topics::Drawing;

/// Groups of one grouping that are drawn; of more, those with most distance.
const DRAWN: usize = 10;

/// Groupings and their headings, in the order drawn.
const GROUPINGS: [(&str, &str); 5] = [
    ("vehicle", "By vehicle"),
    ("route", "By route"),
    ("driver", "By driver, not adjusted: no ranking"),
    ("regen_level", "By regen level, as chosen"),
    ("temperature_band", "By outside air"),
];

pub struct Glance<'a> {
    pub figures: Vec<Headline>,
    /// In miles and in kilometres; none where there is nothing to lay side by side.
    pub groups: Option<[String; 2]>,
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
        cascade: regen::drawing_of(answers, chart::HALF).unwrap_or_default(),
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

fn drawn(answers: &Answers) -> Option<[String; 2]> {
    let svg = |metric: bool| {
        let unit = Kind::PerDistance.shown(metric).word;
        let mut lines = Vec::new();
        for (grouping, heading) in GROUPINGS {
            lines.extend(lines_of(answers, grouping, heading, metric));
        }
        (!lines.is_empty()).then(|| {
            let heads = [format!("driving, {unit}"), "recovered of braking, %".to_owned()];
            let title =
                "Consumption and recovered share of braking energy at the wheels by group, with 90 % intervals";
            chart::panel(title, [&heads[0], &heads[1]], &lines)
        })
    };
    Some([svg(false)?, svg(true)?])
}

/// Nothing where a grouping holds but one group.
fn lines_of(answers: &Answers, grouping: &str, heading: &str, metric: bool) -> Vec<Line> {
    let all: Vec<&Group> = answers.of(grouping).collect();
    if all.len() < 2 {
        return Vec::new();
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
    let mut lines = vec![Line::Heading(heading)];
    lines.extend(shown.into_iter().map(|group| Line::Group {
        label: groups::drawn_name(group, metric),
        marks: Box::new([consumption(group, metric), recapture(group)]),
    }));
    lines
}

fn consumption(group: &Group, metric: bool) -> Option<Mark> {
    let shown = Kind::PerDistance.shown(metric);
    let scale = shown.factor * Kind::PerDistance.si_of("_kwh_mi", 1.0);
    let of = Drawn { column: "consumption_kwh_mi", scale, digits: 2, unit: shown.word };
    of.mark(group, group.consumption_kwh_mi, &group.evidence)
}

fn recapture(group: &Group) -> Option<Mark> {
    let unit = "% of the braking energy at the wheels";
    let of = Drawn { column: "recapture_of_braking_frac", scale: 100.0, digits: 0, unit };
    of.mark(group, group.recapture_of_braking_frac, &group.recapture_evidence)
}

/// A column of `recovery` as it is drawn.
struct Drawn {
    column: &'static str,
    scale: f64,
    digits: usize,
    unit: &'static str,
}

impl Drawn {
    fn mark(&self, group: &Group, measure: Measure, evidence: &str) -> Option<Mark> {
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
                figure::cut(&group.name, figure::NAME_CHARS),
                fixed(value, digits),
                group.vehicle_days,
                group.trips
            ),
            evidence: evidence.to_owned(),
        })
    }
}
