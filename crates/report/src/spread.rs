//! From where to where consumption lies among the groups of each grouping.

use crate::answers::Group;
use crate::figure::{Kind, band, name};

/// Groupings and how they are told, in the order told.
const TOLD: [(&str, &str); 5] = [
    ("vehicle", "by vehicle"),
    ("route", "by route"),
    ("driver", "by driver, not adjusted,"),
    ("temperature_band", "by outside air"),
    ("service_day", "by day of at least half the usual distance"),
];
/// Shorter trips say more of one hill or one stop than of energy for a distance.
const TRIP_MI: f64 = 1.0;
/// Fewer trips have no middle half worth telling.
const TRIPS: usize = 8;

/// "By route 0.57 (harbour) to 0.90 (coast) kWh/mile; by day ..."; nothing where no grouping has two groups.
pub fn told(groups: &[Group]) -> Option<String> {
    let mut parts: Vec<String> =
        TOLD.iter().filter_map(|(grouping, words)| ends(groups, grouping, words)).collect();
    parts.extend(trips(groups));
    let unit = groups.first()?.unit(Kind::PerDistance);
    (!parts.is_empty()).then(|| format!("From least to most, in {unit}: {}.", parts.join("; ")))
}

fn ends(groups: &[Group], grouping: &str, words: &str) -> Option<String> {
    let mut own: Vec<&Group> = groups
        .iter()
        .filter(|group| group.grouping == grouping && group.name != "(unknown)")
        .filter(|group| group.consumption_kwh_mi.value.is_some())
        .collect();
    if grouping == "service_day" {
        let half = 0.5 * median_mi(&own);
        own.retain(|group| miles(group) >= half);
    }
    sort(&mut own);
    let [least, .., most] = own[..] else { return None };
    Some(format!("{words} {} to {}", one(least, true), one(most, true)))
}

fn miles(group: &Group) -> f64 {
    group.figure("distance_mi").unwrap_or(0.0)
}

fn median_mi(groups: &[&Group]) -> f64 {
    let mut all: Vec<f64> = groups.iter().map(|group| miles(group)).collect();
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied().unwrap_or(0.0)
}

/// The middle half of the trips, each counted once.
fn trips(groups: &[Group]) -> Option<String> {
    let long = |group: &&Group| {
        group.grouping == "trip" && group.figure("distance_mi").is_some_and(|miles| miles >= TRIP_MI)
    };
    let mut own: Vec<&Group> =
        groups.iter().filter(long).filter(|group| group.consumption_kwh_mi.value.is_some()).collect();
    if own.len() < TRIPS {
        return None;
    }
    sort(&mut own);
    let at = |share: f64| own[((own.len() - 1) as f64 * share).round() as usize];
    let least = at(0.0).other(Kind::Distance.si_of("_mi", TRIP_MI), Kind::Distance, 1);
    Some(format!(
        "by trip, the middle half of those from {least} {} on, {} to {}",
        own[0].unit(Kind::Distance),
        one(at(0.25), false),
        one(at(0.75), false)
    ))
}

fn sort(groups: &mut [&Group]) {
    groups.sort_by(|a, b| {
        let value = |group: &Group| group.consumption_kwh_mi.value.unwrap_or(0.0);
        value(a).total_cmp(&value(b)).then_with(|| a.name.cmp(&b.name))
    });
}

fn one(group: &Group, named: bool) -> String {
    let value = group.shown("consumption_kwh_mi", Kind::PerDistance, 2);
    match group.grouping.as_str() {
        _ if !named => value,
        "temperature_band" => format!("{value} ({})", band(&group.name, group.metric)),
        _ => format!("{value} ({})", name(&group.name)),
    }
}
