//! What was found, for reading on a terminal: which questions the signals can answer, and on what evidence.

use std::fmt::Write as _;

use super::speed::rows;
use super::{Pace, Shape};
use crate::signal::{ENGINE, GROSS_WEIGHT, VOLTAGE};

pub fn of(shape: &Shape) -> Vec<String> {
    let label = if shape.folder.is_empty() { "the folder" } else { &shape.folder };
    let mut notes = vec![format!(
        "{} file(s) of one shape in {label}: time from {} ({}), {} signals",
        shape.looks.len(),
        shape.time.columns.join(" and "),
        shape.time.clock.kind(),
        shape.columns.len()
    )];
    notes.extend(pace(&shape.pace));
    if let Some(gps) = &shape.gps_time {
        notes.push(format!("  clock: held against GPS time in {}", gps.columns.join(" and ")));
    }
    notes.extend(answers(&|signal| {
        shape.columns.iter().any(|column| column.signal == signal && !column.never_leaves_zero)
    }));
    notes
}

/// What the pace of a log will bear.
fn pace(pace: &Pace) -> Option<String> {
    let interval_s = pace.interval_s?;
    let bears = match interval_s {
        s if s <= 1.5 => "fine enough for braking events and habits",
        s if s <= 10.0 => "coarse: braking between rows is rebuilt with a wider interval",
        _ => "sparse: totals only, nothing about habits",
    };
    let step = pace.soc_step_frac.map_or(String::new(), |step| {
        let percent = step * 100.0;
        // Two digits that say something.
        let decimals = (1.0 - (percent * (1.0 + 1e-9)).log10().floor()).clamp(0.0, 6.0) as usize;
        format!("; the state of charge comes in steps of {percent:.decimals$} %")
    });
    Some(format!("  pace: a row every {interval_s:.3} s, {bears}{step}"))
}

/// Question by question, with what else would bring an answer that no signal brings.
fn answers(has: &dyn Fn(&str) -> bool) -> Vec<String> {
    let recovered = if (has("pack_voltage") && has("pack_current")) || has("pack_power") {
        "measured (battery power is logged; its sign is proved from the data)"
    } else if has("state_of_charge") {
        "inferred from state of charge, once the sheet states packs and pack_energy"
    } else {
        "modelled: no battery signal"
    };
    let grade =
        if has("altitude") || has("grade") { "rebuilt from the log" } else { "unknown: run flat, and said so" };
    let mut notes = vec![format!("  what came back: {recovered}"), format!("  height: {grade}")];
    for (signals, missing) in [
        (&["driver"][..], "no driver column: no figures per driver, unless a table in [shifts] names them"),
        (&["route", "latitude"], "no route column and no positions: no figures per route"),
        (&["latitude"], "no positions: no places, no map, no heights from tiles, no check of the speed's unit"),
        (
            &["regen_level"],
            "no regen_level column: no figures per regen level, unless default_level states the one driven",
        ),
        (
            &["payload", "gross_weight"],
            "no payload column: no figures per ton-mile, unless a manifest in [payloads] has the loads",
        ),
        (
            &["ambient_temperature"],
            "no outside temperature: nothing said of cold and heat, unless a file in [weather] has it",
        ),
        (&["cab_climate_power"], "no climate power: what the cab's climate costs is modelled, or unknown"),
        (
            &["odometer", "gps_speed", "latitude"],
            "no odometer and no positions: the distance is that of the wheels, tyre wear included",
        ),
        (
            &["plugged_in", "pack_power", "pack_current"],
            "no plug signal: charging is told by state of charge and standing alone",
        ),
    ] {
        if !signals.iter().any(|signal| has(signal)) {
            notes.push(format!("  {missing}"));
        }
    }
    notes
}

/// What the values say of the vehicle, for its sheet.
pub fn vehicle_type(shapes: &[Shape]) -> Option<String> {
    let (mut volts, mut gross_kg, mut engine) = (Vec::new(), f64::NAN, false);
    for shape in shapes {
        for look in &shape.looks {
            let frame = rows(look, &shape.time, &shape.columns);
            volts.extend(frame.numbers[VOLTAGE].iter().copied().filter(|volts| *volts > 0.0));
            gross_kg = frame.numbers[GROSS_WEIGHT].iter().copied().fold(gross_kg, f64::max);
            engine |= frame.numbers[ENGINE].iter().any(|speed| *speed > 10.0);
        }
    }
    let mut seen = Vec::new();
    if let Some(volts) = crate::median(volts) {
        seen.push(format!("a pack of about {volts:.0} V"));
    }
    if gross_kg.is_finite() {
        seen.push(format!("up to {gross_kg:.0} kg gross"));
    }
    if engine {
        seen.push("an engine that runs: what it charges is never counted as recovered".to_owned());
    }
    let mut text = String::new();
    for (at, one) in seen.iter().enumerate() {
        let _ = write!(text, "{}{one}", if at > 0 { "; " } else { "" });
    }
    (!text.is_empty()).then_some(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_told_in_two_digits() {
        let told = |step| pace(&Pace { interval_s: Some(1.0), soc_step_frac: Some(step) }).expect("a pace");
        for (step, text) in [(0.004, "0.40 %"), (1e-6, "0.00010 %"), (0.01, "1.0 %"), (0.25, "25 %")] {
            assert!(told(step).ends_with(&format!("steps of {text}")), "{}", told(step));
        }
    }

    #[test]
    fn each_missing_signal_costs_its_question() {
        let all = answers(&|_| true);
        assert_eq!(all.len(), 2, "{all:?}");
        let none = answers(&|_| false);
        assert_eq!(none.len(), 11);
        assert!(none[0].contains("modelled") && none[1].contains("flat"));
        let soc = answers(&|signal| signal == "state_of_charge");
        assert!(soc[0].contains("inferred"), "{soc:?}");
    }
}
