//! One-sentence answers, computed from the figures, each with its unit, denominator and evidence.

use backwatt_schema::tables;
use serde::Serialize;

use crate::answers::{Balance, Group, Measure};

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sentence {
    /// The question it answers, in the reader's words.
    pub question: &'static str,
    pub text: String,
}

const KM_PER_MILE: f64 = 1.609_344;

pub fn all(groups: &[Group], balances: &[Balance], metric: bool) -> Vec<Sentence> {
    let Some(pilot) = groups.iter().find(|group| group.grouping == "pilot") else { return Vec::new() };
    let balance = balances.iter().find(|b| b.grouping == "pilot");
    let sentence = |question, text| Sentence { question, text };
    vec![
        sentence("How much energy did driving take?", consumption(pilot, metric)),
        sentence("How much of the braking energy came back?", recapture(pilot)),
        sentence("What is that as a share of use, and in distance?", shares(pilot, metric)),
        sentence("Where did the rest of the braking energy go?", rest(balance)),
        sentence("What is left between battery and physics?", unexplained(pilot)),
    ]
}

/// "12.3 to 14.5", or a word that there is no interval.
pub fn interval(measure: Measure, scale: f64, digits: usize) -> String {
    match (measure.low, measure.high) {
        (Some(low), Some(high)) => {
            format!("90 % interval {:.digits$} to {:.digits$}", low * scale, high * scale)
        }
        _ => "no interval from so few vehicle-days".to_owned(),
    }
}

fn consumption(pilot: &Group, metric: bool) -> String {
    let Some(value) = pilot.consumption_kwh_mi.value else {
        return "There is no distance to divide by.".to_owned();
    };
    let (scale, unit) = if metric { (1.0 / KM_PER_MILE, "kWh/km") } else { (1.0, "kWh/mile") };
    let miles = pilot.figure("distance_mi").unwrap_or(0.0);
    let (distance, length) = if metric { (miles * KM_PER_MILE, "km") } else { (miles, "miles") };
    let ton = pilot.figure("consumption_kwh_ton_mi").map_or(String::new(), |value| {
        let share = pilot.figure("payload_ton_miles_share_frac").unwrap_or(0.0);
        format!(
            " Where the payload is known ({:.0} % of the distance) it took {value:.2} kWh per ton-mile of payload (short tons).",
            100.0 * share
        )
    });
    let stood = pilot.figure("energy_standing_kwh").unwrap_or(0.0);
    let parked = pilot.figure("energy_parked_kwh").unwrap_or(0.0);
    let all_in = (value * miles + stood + parked) / miles.max(f64::MIN_POSITIVE) * scale;
    format!(
        "Driving took {:.2} {unit} at the battery terminals ({}; {}; {} vehicle-days, {distance:.0} {length}). \
         Standing at stops took {stood:.1} kWh and parking {parked:.1} kWh more: {all_in:.2} {unit} with both.{ton}",
        value * scale,
        interval(pilot.consumption_kwh_mi, scale, 2),
        evidence(pilot),
        pilot.vehicle_days,
    )
}

fn evidence(group: &Group) -> String {
    let measured = group.figure("evidence_measured_share_frac").unwrap_or(0.0);
    if group.evidence == "measured" || measured == 0.0 {
        group.evidence.clone()
    } else {
        format!("{}, with {:.0} % of the moving time measured", group.evidence, 100.0 * measured)
    }
}

fn recapture(pilot: &Group) -> String {
    let braking = pilot.figure("energy_braking_paired_kwh").unwrap_or(0.0);
    let elsewhere = pilot.figure("energy_returned_unknown_store_kwh").unwrap_or(0.0);
    let unknown_store = if elsewhere > 0.005 {
        format!(
            " {elsewhere:.2} kWh flowed back to a store the log does not name; it is not counted as recovered."
        )
    } else {
        String::new()
    };
    let Some(value) = pilot.recapture_of_braking_frac.value else {
        let why = if pilot.caution.is_empty() { String::new() } else { format!(": {}", pilot.caution) };
        return format!("No share of braking energy can be claimed from these logs{why}.{unknown_store}");
    };
    // What no battery signal bears out is told as what it is, and its share of the recoverable is the assumption itself.
    let measured = pilot.figure("recapture_measured_share_frac").unwrap_or(0.0);
    let modelled = pilot.recapture_evidence == "modelled" && measured < 0.5;
    let evidence = if pilot.recapture_evidence == "measured" || measured == 0.0 {
        pilot.recapture_evidence.clone()
    } else {
        format!("measured for {:.0} % of the time, else {}", 100.0 * measured, pilot.recapture_evidence)
    };
    let head = if modelled { "By the model, about " } else { "" };
    let recoverable = match pilot.figure("recapture_of_recoverable_frac") {
        Some(share) if !modelled => {
            format!(
                " It is {:.0} % of what the vehicle sheet says was recoverable at the levels as set.",
                100.0 * share
            )
        }
        _ => String::new(),
    };
    format!(
        "{head}{:.0} % of the braking energy at the wheels ({braking:.1} kWh, modelled) came back to the battery \
         terminals ({}; recovered energy {}{}).{recoverable}{unknown_store}",
        100.0 * value,
        interval(pilot.recapture_of_braking_frac, 100.0, 0),
        evidence,
        claimed_distance(pilot),
    )
}

/// Where recovered energy is claimed on part of the distance only.
fn claimed_distance(pilot: &Group) -> String {
    match pilot.figure("recapture_distance_share_frac") {
        Some(share) if share < 0.99 => format!("; claimed on {:.0} % of the distance", 100.0 * share),
        _ => String::new(),
    }
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
         its gross discharge of {measured:.1} kWh is unexplained.{reading}",
        gap.abs(),
        100.0 * gap / measured,
    )
}

fn shares(pilot: &Group, metric: bool) -> String {
    let (Some(of_use), Some(over_net)) =
        (pilot.figure("recapture_of_use_frac"), pilot.figure("recapture_over_net_use_frac"))
    else {
        return "No recovered energy worth a share is claimed, so there is no share of use.".to_owned();
    };
    let gain = pilot.figure("range_gain_frac").unwrap_or(0.0);
    let (scale, length) = if metric { (KM_PER_MILE, "km") } else { (1.0, "miles") };
    let carried = pilot.measure("carried_by_regen", "mi");
    let claimed = pilot.figure("distance_mi").unwrap_or(0.0)
        * pilot.figure("recapture_distance_share_frac").unwrap_or(0.0);
    format!(
        "The same energy is {:.1} % of gross discharge in trips, stops included ({}) and {:.1} % of net use. Counting what \
         regen fed to the auxiliaries first (modelled), the range gain is {:.1} % of net use and regen carried {:.0} of the \
         {:.0} {length} on which recovery is claimed ({}); counting only what reached the battery terminals, {:.0}.",
        100.0 * of_use,
        interval(pilot.measure("recapture_of_use", "frac"), 100.0, 1),
        100.0 * over_net,
        100.0 * gain,
        carried.value.unwrap_or(0.0) * scale,
        claimed * scale,
        interval(carried, scale, 0),
        pilot.figure("carried_by_regen_low_mi").unwrap_or(0.0) * scale,
    )
}

/// Names of the steps of the cascade, as printed.
pub fn step_name(column: &str) -> &'static str {
    match column {
        "braking_beyond_axle_kwh" => "beyond what the driven axle may take",
        "braking_in_fade_kwh" => "in the low-speed fade of regen",
        "braking_beyond_level_kwh" => "beyond the regen level and the pedal's blending",
        "braking_beyond_torque_kwh" => "beyond motor torque",
        "braking_beyond_power_kwh" => "beyond motor power",
        "braking_beyond_acceptance_kwh" => "refused by a full or cold battery",
        "braking_converted_kwh" => "lost between wheel and dc link",
        "braking_to_auxiliaries_kwh" => "used by auxiliaries on the way",
        _ => "recoverable at the battery terminals",
    }
}

fn rest(balance: Option<&Balance>) -> String {
    let Some(balance) = balance.filter(|b| b.figure("energy_braking_kwh") > 0.0) else {
        return "Braking energy is not claimed from these logs: they are sampled too slowly, or too noisy."
            .to_owned();
    };
    let braking = balance.figure("energy_braking_kwh");
    let mut parts: Vec<(f64, &str)> = tables::CASCADE
        .iter()
        .filter(|column| **column != "energy_recoverable_kwh")
        .map(|column| (balance.figure(column) / braking, step_name(column)))
        .filter(|(share, _)| *share >= 0.005)
        .collect();
    parts.sort_by(|a, b| b.0.total_cmp(&a.0));
    let list: Vec<String> =
        parts.iter().map(|(share, name)| format!("{:.1} % {name}", 100.0 * share)).collect();
    let left = balance.figure("energy_recoverable_kwh") / braking;
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
    format!(
        "Of the braking energy at the wheels, by the first limit that binds (modelled from the vehicle sheet): {}. \
         {:.1} % was recoverable ({:.1} % with the best level at every instant); {gap}.",
        list.join(", "),
        100.0 * left,
        100.0 * attainable,
    )
}
