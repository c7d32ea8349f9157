//! Whether the logs can be trusted, in a few sentences.

use backwatt_schema::rule_meaning;

use crate::answers::Group;
use crate::figure::{Kind, counted, fixed, name};
use crate::trust::Trust;

/// The answer, and what belongs to it.
pub fn told(trust: &Trust, groups: &[Group], pilot: &Group) -> [String; 2] {
    let rows = trust.rows_in();
    let share = if rows == 0 { 0.0 } else { 100.0 * trust.rows_rejected() as f64 / rows as f64 };
    let masked = match commonest(trust) {
        Some((rule, cases)) => format!(" The commonest fault is {rule} ({cases} cases)."),
        None => String::new(),
    };
    let read = format!(
        "Of {} rows of log {} were refused ({} %), each kept with its reason, file and line; over {} trips {} min fell into gaps and {} min into frozen \
         signals, and no energy is built across either.{masked}",
        counted(rows),
        counted(trust.rows_rejected()),
        fixed(share, 2),
        counted(trust.trips),
        fixed(trust.gap_s / 60.0, 0),
        fixed(trust.frozen_s / 60.0, 0),
    );
    let known = format!(
        "Battery power is measured for {} % of the moving time, and the payload is known on {} % of the distance.",
        share_of(pilot, "evidence_measured_share_frac"),
        share_of(pilot, "payload_ton_miles_share_frac"),
    );
    let contradiction = contradictions(groups).unwrap_or_else(|| consistent(groups));
    [read, [known, unexplained(pilot), contradiction].join(" ")]
}

fn share_of(pilot: &Group, column: &str) -> String {
    pilot.figure(column).map_or("0".to_owned(), |_| pilot.shown(column, Kind::Share, 0))
}

/// The rule with most cases, and how many; what was passed over as no row of its log is no fault.
fn commonest(trust: &Trust) -> Option<(String, String)> {
    let is_fault = |code: &str| !rule_meaning(code).is_some_and(|meaning| meaning.contains("passed over"));
    let faults = trust.rules.iter().filter(|(code, _)| is_fault(code));
    let (rule, cases) = faults.max_by(|a, b| a.1.cmp(b.1).then_with(|| b.0.cmp(a.0)))?;
    Some((name(rule), counted(*cases)))
}

/// Said only where there is something to hold against the vehicle data.
fn consistent(groups: &[Group]) -> String {
    let known = |group: &Group| group.figure("recapture_of_recoverable_frac").is_some();
    if groups.iter().any(|group| group.grouping == "vehicle" && known(group)) {
        "No vehicle returned more than its data holds recoverable.".to_owned()
    } else {
        "Nothing that came back can be held against the vehicle data.".to_owned()
    }
}

/// Where logs and vehicle data contradict: more came back than there was to recover.
pub fn contradictions(groups: &[Group]) -> Option<String> {
    let beyond: Vec<String> = groups
        .iter()
        .filter(|group| group.grouping == "vehicle")
        .filter(|group| group.figure("recapture_of_recoverable_frac").is_some_and(|share| share > 1.0))
        .map(|group| {
            let share = group.shown("recapture_of_recoverable_frac", Kind::Share, 1);
            format!("{} {share} %", name(&group.name))
        })
        .collect();
    (!beyond.is_empty()).then(|| {
        format!(
            "A contradiction: more came back than the vehicle data holds recoverable on {}. What is called recoverable is then too low there, by at least as much.",
            beyond.join(", ")
        )
    })
}

fn unexplained(pilot: &Group) -> String {
    let measured = pilot.figure("energy_measured_discharged_kwh").unwrap_or(0.0);
    if measured <= 0.0 {
        return "No battery power is logged, so nothing can be held against the physics.".to_owned();
    }
    let gap = pilot.figure("energy_unexplained_kwh").unwrap_or(0.0);
    let direction = if gap >= 0.0 { "more" } else { "less" };
    let reading = if gap > 0.05 * measured {
        " Auxiliaries or cab climate above the sheet, a heavier load, or lower efficiency would all look like this."
    } else {
        ""
    };
    format!(
        "Where battery power is measured, the battery gave {:.1} kWh {direction} than physics and the vehicle sheet ask: {:.1} % of \
         its gross discharge of {} kWh is unexplained.{reading}",
        gap.abs(),
        100.0 * gap / measured,
        pilot.shown("energy_measured_discharged_kwh", Kind::Energy, 1),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_passed_over_is_no_fault() {
        let of = |rules: &[(&str, u64)]| Trust {
            rules: rules.iter().map(|(code, n)| ((*code).to_owned(), *n)).collect(),
            ..Trust::default()
        };
        let told = commonest(&of(&[("not-mapped", 90_000), ("transfer-frame", 5000), ("frozen", 1200)]));
        assert_eq!(told, Some(("frozen".to_owned(), "1,200".to_owned())));
        assert_eq!(commonest(&of(&[("not-mapped", 90_000)])), None);
    }

    #[test]
    fn nothing_known_is_no_agreement() {
        assert!(consistent(&[]).starts_with("Nothing"));
    }
}
