//! One-sentence answers, computed from the figures, each with its unit, denominator and evidence.

use serde::Serialize;

use crate::answers::{Balance, Group};
use crate::braking_steps::{self, BrakingStep};
use crate::figure::{self, Kind};
use crate::trust::Trust;
use crate::{SettingRow, blending, spread, worth};

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sentence {
    pub id: &'static str,
    /// The question it answers, in the reader's words.
    pub question: &'static str,
    /// The answer; figures as marks.
    #[serde(serialize_with = "plain")]
    pub text: String,
    /// What belongs to it.
    #[serde(serialize_with = "plain")]
    pub more: String,
}

fn plain<S: serde::Serializer>(text: &str, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(&figure::plain(text))
}

pub fn all(groups: &[Group], balances: &[Balance], trust: &Trust, settings: &[SettingRow]) -> Vec<Sentence> {
    let Some(pilot) = groups.iter().find(|group| group.grouping == "pilot") else { return Vec::new() };
    let balance = balances.iter().find(|b| b.grouping == "pilot");
    let sentence = |id, question, [text, more]: [String; 2]| Sentence { id, question, text, more };
    vec![
        sentence("use", "How much energy did driving take?", consumption(pilot, groups)),
        sentence("recapture", "How much of the braking energy came back?", recapture(pilot)),
        sentence("shares", "What is that as a share of use, and in distance?", shares(pilot)),
        sentence("rest", "Where did the rest of the braking energy go?", rest(balance, balances, settings)),
        sentence("worth", "Can the logs be trusted?", worth::told(trust, groups, pilot)),
    ]
}

/// An answer with nothing to add.
fn alone(text: impl Into<String>) -> [String; 2] {
    [text.into(), String::new()]
}

/// The 90 % interval of a figure, or a word that there is none.
pub fn interval(group: &Group, stem: &str, unit: &str, kind: Kind, digits: usize) -> String {
    group.range(stem, unit, kind, digits).map_or_else(
        || "no interval from so few vehicle-days".to_owned(),
        |range| format!("90 % interval {range}"),
    )
}

fn consumption(pilot: &Group, groups: &[Group]) -> [String; 2] {
    let Some(value) = pilot.consumption_kwh_mi.value else {
        return alone("There is no distance to divide by.");
    };
    let unit = pilot.unit(Kind::PerDistance);
    let miles = pilot.figure("distance_mi").unwrap_or(0.0);
    let ton = pilot.figure("consumption_kwh_ton_mi").map_or(String::new(), |_| {
        format!(
            "Where the payload is known ({} % of the distance) it took {} {} of payload carried ({}).",
            pilot.shown("payload_ton_miles_share_frac", Kind::Share, 0),
            pilot.shown("consumption_kwh_ton_mi", Kind::PerLoadDistance, 2),
            pilot.unit(Kind::PerLoadDistance),
            interval(pilot, "consumption", "kwh_ton_mi", Kind::PerLoadDistance, 2),
        )
    });
    let stood = pilot.figure("energy_standing_kwh").unwrap_or(0.0);
    let parked = pilot.figure("energy_parked_kwh").unwrap_or(0.0);
    let all_in = (value * miles + stood + parked) / miles.max(f64::MIN_POSITIVE);
    let head = format!(
        "Driving took {} {unit} at the battery terminals ({}; {}; {} vehicle-days, {} {}).",
        pilot.shown("consumption_kwh_mi", Kind::PerDistance, 2),
        interval(pilot, "consumption", "kwh_mi", Kind::PerDistance, 2),
        evidence(pilot),
        pilot.vehicle_days,
        pilot.shown("distance_mi", Kind::Distance, 0),
        pilot.unit(Kind::Distance),
    );
    let standing = format!(
        "Standing at stops took {} kWh and parking {} kWh more: {} {unit} with both.",
        pilot.other(Kind::Energy.si_of("_kwh", stood), Kind::Energy, 1),
        pilot.other(Kind::Energy.si_of("_kwh", parked), Kind::Energy, 1),
        pilot.other(Kind::PerDistance.si_of("_kwh_mi", all_in), Kind::PerDistance, 2),
    );
    let parts = [standing, ton, spread::told(groups).unwrap_or_default()];
    [head, parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")]
}

fn evidence(group: &Group) -> String {
    let measured = group.figure("evidence_measured_share_frac").unwrap_or(0.0);
    if group.evidence == "measured" || measured == 0.0 {
        group.evidence.clone()
    } else {
        format!(
            "{}, with {} % of the moving time measured",
            group.evidence,
            group.shown("evidence_measured_share_frac", Kind::Share, 0)
        )
    }
}

fn recapture(pilot: &Group) -> [String; 2] {
    let elsewhere = pilot.figure("energy_returned_unknown_store_kwh").unwrap_or(0.0);
    let unknown_store = if elsewhere > 0.005 {
        format!(
            "{elsewhere:.2} kWh flowed back to a store the log does not name; it is not counted as recovered."
        )
    } else {
        String::new()
    };
    if pilot.recapture_of_braking_frac.value.is_none() {
        let caution = figure::prose(&pilot.caution);
        let why = if caution.is_empty() { String::new() } else { format!(": {caution}") };
        return [format!("No share of braking energy can be claimed from these logs{why}."), unknown_store];
    }
    // What no battery signal bears out is told as what it is, and its share of the recoverable is the assumption itself.
    let measured = pilot.figure("recapture_measured_share_frac").unwrap_or(0.0);
    let modelled = pilot.recapture_evidence == "modelled" && measured < 0.5;
    let evidence = if pilot.recapture_evidence == "measured" || measured == 0.0 {
        pilot.recapture_evidence.clone()
    } else {
        format!(
            "measured for {} % of the time, else {}",
            pilot.shown("recapture_measured_share_frac", Kind::Share, 0),
            pilot.recapture_evidence
        )
    };
    let head = if modelled { "By the model, about " } else { "" };
    let recoverable = match pilot.figure("recapture_of_recoverable_frac") {
        Some(_) if !modelled => {
            format!(
                "It is {} % ({}) of what the vehicle data says was recoverable at the levels as set; above 100 % that data is too low.",
                pilot.shown("recapture_of_recoverable_frac", Kind::Share, 0),
                interval(pilot, "recapture_of_recoverable", "frac", Kind::Share, 0)
            )
        }
        _ => String::new(),
    };
    let told = format!(
        "{head}{} % of the braking energy at the wheels ({} kWh, modelled) came back to the battery \
         terminals ({}; recovered energy {}{}).",
        pilot.shown("recapture_of_braking_frac", Kind::Share, 0),
        pilot.shown("energy_braking_paired_kwh", Kind::Energy, 1),
        interval(pilot, "recapture_of_braking", "frac", Kind::Share, 0),
        evidence,
        claimed_distance(pilot),
    );
    [told, [recoverable, unknown_store].join(" ").trim().to_owned()]
}

/// Where recovered energy is claimed on part of the distance only.
fn claimed_distance(pilot: &Group) -> String {
    match pilot.figure("recapture_distance_share_frac") {
        Some(share) if share < 0.99 => format!(
            "; claimed on {} % of the distance",
            pilot.shown("recapture_distance_share_frac", Kind::Share, 0)
        ),
        _ => String::new(),
    }
}

fn shares(pilot: &Group) -> [String; 2] {
    if pilot.figure("recapture_of_use_frac").is_none() || pilot.figure("recapture_over_net_use_frac").is_none()
    {
        return alone("No recovered energy worth a share is claimed, so there is no share of use.");
    }
    let claimed = pilot.figure("distance_mi").unwrap_or(0.0)
        * pilot.figure("recapture_distance_share_frac").unwrap_or(0.0);
    let head = format!(
        "The same energy is {} % of gross discharge in trips, stops included ({}) and {} % of net use.",
        pilot.shown("recapture_of_use_frac", Kind::Share, 1),
        interval(pilot, "recapture_of_use", "frac", Kind::Share, 1),
        pilot.shown("recapture_over_net_use_frac", Kind::Share, 1),
    );
    let carried = format!(
        "Counting what regen fed to the auxiliaries first (modelled), the range gain is {} % of net use and regen carried {} of the \
         {} {} on which recovery is claimed ({}); counting only what reached the battery terminals, {}.",
        pilot.shown("range_gain_frac", Kind::Share, 1),
        pilot.shown("carried_by_regen_mi", Kind::Distance, 0),
        pilot.other(Kind::Distance.si_of("_mi", claimed), Kind::Distance, 0),
        pilot.unit(Kind::Distance),
        interval(pilot, "carried_by_regen", "mi", Kind::Distance, 0),
        pilot.shown("carried_by_regen_low_mi", Kind::Distance, 0),
    );
    [head, carried]
}

/// A step of which even the upper end is less is only named.
const SMALL: f64 = 0.005;

fn rest(balance: Option<&Balance>, balances: &[Balance], settings: &[SettingRow]) -> [String; 2] {
    let Some(balance) = balance.filter(|b| b.figure("energy_braking_kwh") > 0.0) else {
        return alone(
            "Braking energy is not claimed from these logs: they are sampled too slowly, or too noisy.",
        );
    };
    let braking = balance.figure("energy_braking_kwh");
    let all = braking_steps::of(balance);
    let mut steps: Vec<_> = all.iter().filter(|step| !step.is_recoverable()).collect();
    steps.sort_by(|a, b| b.share.total_cmp(&a.share));
    let (told, small): (Vec<&BrakingStep>, Vec<&BrakingStep>) =
        steps.into_iter().partition(|step| step.range[1] >= SMALL);
    let list: Vec<String> = told.iter().map(|step| format!("{} {}", step.shown(), step.name())).collect();
    let small: Vec<&str> = small.iter().map(|step| step.name()).collect();
    let small = if small.is_empty() {
        String::new()
    } else {
        format!("; under {:.1} % each: {}", 100.0 * SMALL, small.join(", "))
    };
    let recoverable = all.iter().find(|step| step.is_recoverable());
    let left = recoverable.map_or(0.0, |step| step.share);
    let attainable = balance.figure("energy_attainable_kwh") / braking;
    let short = left - balance.figure("energy_recovered_p50_kwh") / braking;
    let gap = if short >= 0.0 {
        format!(
            "{:.1} % was recoverable by the sheet and did not arrive, or sheet and heights are off by as much",
            100.0 * short
        )
    } else {
        format!(
            "{:.1} % more arrived than the sheet says was recoverable: sheet or heights are off",
            -100.0 * short
        )
    };
    let head = format!(
        "Of the braking energy at the wheels, by the first limit that binds (modelled from the vehicle sheet; in brackets 90 % intervals: what the sheet's values leave open between their ends): {}{small}.{}",
        list.join(", "),
        braking_steps::refused(balance).map_or(String::new(), |told| format!(" {told}"))
    );
    let bound = |column: &str| 100.0 * balance.figure(column) / braking;
    let left = format!(
        "{} was recoverable (90 % interval in brackets; {:.1} to {:.1} with every value of the vehicle data at its worst or best at once; {:.1} % with the best level at every instant); {gap}.{}{}",
        recoverable.map_or(String::new(), BrakingStep::shown),
        bound("energy_recoverable_low_kwh"),
        bound("energy_recoverable_high_kwh"),
        100.0 * attainable,
        unlogged_level(balances, braking),
        blending::told(settings, balances),
    );
    [head, left]
}

/// What a level withheld is an assumption where no log names the level.
fn unlogged_level(balances: &[Balance], braking: f64) -> String {
    let unknown = balances.iter().find(|b| b.grouping == "regen_level" && b.name == "(unknown)");
    let share = unknown.map_or(0.0, |b| b.figure("energy_braking_kwh")) / braking;
    if share < 0.005 {
        return String::new();
    }
    format!(
        " On {:.0} % of the braking energy no log names the regen level: the sheet's default or middle level stands in.",
        100.0 * share
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_that_no_log_names_is_told() {
        let of = |name: &str, kwh: f64| Balance {
            grouping: "regen_level".to_owned(),
            name: name.to_owned(),
            figures: [("energy_braking_kwh".to_owned(), Some(kwh))].into(),
            row: 0,
        };
        assert_eq!(unlogged_level(&[of("high", 30.0)], 30.0), "");
        assert_eq!(unlogged_level(&[of("(unknown)", 0.1), of("high", 29.9)], 30.0), "");
        let told = unlogged_level(&[of("(unknown)", 12.0), of("high", 18.0)], 30.0);
        assert!(told.starts_with(" On 40 % of the braking energy no log names the regen level"), "{told}");
    }
}
