//! What to log next, what each log hides, and what the logs cannot tell apart.

use backwatt_schema::tables;

use crate::figure::{Kind, name};

use super::grid::{Grid, figure, page_only, remarks, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::{Tables, Topic, counted, grid, listed};

/// Below this share of braking energy nothing is said of a log.
const TELLING: f64 = 0.001;
const AS_IT_IS: &str = "as it is";

const SIGNALS: [grid::Column; 6] = [
    words("type", |row, _| row.words("vehicle_type")),
    words("signal added", |row, _| row.words("signal")),
    figure("vehicles without it", |row, _| row.whole("vehicles_lacking")),
    figure("recovered energy, ± %", |row, _| row.percent("half_width_recovered_frac", 1)),
    figure("net use, ± %", |row, _| row.percent("half_width_net_frac", 1)),
    remarks("how", |row, _| row.words("how")),
];

const AUDIT: [grid::Column; 10] = [
    words("vehicle", |row, _| row.words("vehicle_id")),
    figure("trips", |row, _| row.whole("trips")),
    figure("step, s", |row, _| row.fixed("sample_interval_s", 1)),
    figure("braking as logged, kWh", |row, _| row.fixed("energy_braking_as_logged_kwh", 1)),
    figure("corrected, kWh", |row, _| row.fixed("energy_braking_kwh", 1)),
    page_only(figure("claimed between, kWh", |row, _| {
        row.range(["energy_braking_low_kwh", "energy_braking_high_kwh"], Kind::Energy, 1)
    })),
    figure("hidden, %", |row, _| row.percent("correction_frac", 1)),
    page_only(figure("trips in full, in a band, drawn", |row, _| {
        Ok(format!(
            "{}, {}, {}",
            row.whole("trips_full")?,
            row.whole("trips_banded")?,
            row.whole("trips_imputed")?
        ))
    })),
    figure("trips without claim", |row, _| row.whole("trips_without_claim")),
    remarks("in words", |row, _| row.words("verdict")),
];

const CALIBRATION: [grid::Column; 9] = [
    words("type", |row, _| row.words("vehicle_type")),
    words("vehicle", |row, _| row.words("vehicle_id")),
    words("unknown", |row, _| row.words("unknown")),
    page_only(words("unit", |row, _| Ok(row.words("unit")?.replace("kW.h", "kWh")))),
    page_only(figure("before", |row, _| {
        Ok(format!("{} ± {}", row.fixed("before_p50", 3)?, row.fixed("before_half_width", 3)?))
    })),
    figure("after", |row, _| row.fixed("value_p50", 3)),
    figure("90 % interval", |row, _| row.range(["value_p05", "value_p95"], Kind::Plain, 3)),
    words("evidence", |row, _| row.words("evidence")),
    words("tied to", |row, _| {
        Ok(match row.number("tied_to_correlation")? {
            Some(r) => format!("{} ({})", row.text("tied_to")?, crate::figure::fixed(r, 2)),
            None => "–".to_owned(),
        })
    }),
];

const OPEN: [grid::Column; 5] = [
    words("type", |row, _| row.words("vehicle_type")),
    words("open value", |row, _| row.words("value")),
    figure("unfavourable, points", |row, _| row.percent("recoverable_at_low_frac", 1)),
    figure("favourable, points", |row, _| row.percent("recoverable_at_high_frac", 1)),
    figure("unfavourable, kWh", |row, _| row.fixed("energy_recoverable_at_low_kwh", 1)),
];
/// Values told of each type.
const OPEN_TOLD: usize = 3;

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "logs",
        "What to log next, and what these logs hide",
        "Which added signal would narrow which answer, and what do the logs hide?",
        "inference.md",
    );
    let signals = tables.rows(&tables::SIGNAL_VALUE);
    let audit = tables.rows(&tables::SAMPLING_AUDIT);
    let calibration = tables.rows(&tables::CALIBRATION);
    for sentence in told_signals(&signals)? {
        topic.tell(sentence);
    }
    if signals.is_empty() {
        topic.miss("What to log next cannot be reckoned without packs and pack_energy in the vehicle types of the pilot file.");
    }
    if let Some(sentence) = told_audit(&audit)? {
        topic.tell(sentence);
    }
    topic.tell(told_calibration(&calibration)?);
    let open = tables.rows(&tables::OPEN_VALUES);
    topic.answer.extend(told_open(&open)?);
    topic.notes.push(
        "Net use is what consumption, range, packs and the plan rest on; recovered energy is behind regen shares, levels and places. Drivers' stops and levels are judged only on speeds of about every second, \
         and climate is told where its power is logged. ± %: expected half-width of the 90 % interval over the figure itself, from the design of the log. Hidden: corrected over as logged, less 1; below zero the log invents braking. \
         Unknowns of unit 1 are factors on the sheet's value. Two that are tied cannot be told apart by these logs: what one gains the other loses.",
    );
    topic.grids.push(Grid::new(
        "With one signal more, the most telling first",
        &tables::SIGNAL_VALUE,
        &signals,
        &SIGNALS,
        units,
    )?);
    topic.grids.push(Grid::new(
        "What sampling hides or invents",
        &tables::SAMPLING_AUDIT,
        &audit,
        &AUDIT,
        units,
    )?);
    topic.grids.push(
        Grid::new("What the logs say of the sheet", &tables::CALIBRATION, &calibration, &CALIBRATION, units)?
            .folded(),
    );
    topic.grids.push(
        Grid::new(
            "What leaves most open of the recoverable energy: points of the braking energy at the wheels with the value at either end",
            &tables::OPEN_VALUES,
            &open,
            &OPEN,
            units,
        )?
        .folded(),
    );
    topic.grids.retain(|grid| !grid.rows.is_empty());
    Ok(topic)
}

/// What to weigh, state or log, by what it would settle of the recoverable share.
fn told_open(rows: &[Row<'_>]) -> Read<Option<String>> {
    let mut of_types = Vec::new();
    for of_type in rows.chunk_by(|a, b| a.text("vehicle_type").ok() == b.text("vehicle_type").ok()) {
        let mut told = Vec::new();
        for row in of_type.iter().take(OPEN_TOLD) {
            told.push(format!(
                "{} ({} to {})",
                row.words("value")?,
                row.percent("recoverable_at_low_frac", 1)?,
                row.percent("recoverable_at_high_frac", 1)?
            ));
        }
        of_types.push(format!("{}: {}", of_type[0].words("vehicle_type")?, told.join(", ")));
    }
    Ok((!of_types.is_empty()).then(|| {
        format!(
            "Weighed, stated better or logged, these would settle most of what was recoverable, in points of the braking energy at the wheels (what each value makes of it between its ends; modelled): {}.",
            of_types.join("; ")
        )
    }))
}

/// For each type the best signal, beside what there is.
fn told_signals(rows: &[Row<'_>]) -> Read<Vec<String>> {
    let mut told = Vec::new();
    for now in rows {
        if now.text("signal")? != AS_IT_IS || now.number("half_width_recovered_frac")?.is_none() {
            continue;
        }
        let vehicle_type = now.text("vehicle_type")?;
        let named = name(vehicle_type);
        let mut best: Option<&Row<'_>> = None;
        for row in rows {
            let narrows = row.number("narrowing_recovered_frac")?.is_some_and(|narrower| narrower > 0.0);
            if row.text("vehicle_type")? == vehicle_type && narrows && best.is_none() {
                best = Some(row);
            }
        }
        let is = now.percent("half_width_recovered_frac", 1)?;
        let of = format!(
            "{named}: by the design of its logs, recovered energy can be known to ± {is} % (90 %, expected; spread between days and what the vehicle data leave open come on top)"
        );
        told.push(match best {
            Some(row) => format!(
                "{of}; {} would bring it to ± {} % (lacking on {}).",
                row.text("signal")?,
                row.percent("half_width_recovered_frac", 1)?,
                counted(row.count("vehicles_lacking")?.unwrap_or(0) as usize, "vehicle")
            ),
            None => format!("{of}; no signal looked at would narrow it."),
        });
        if now.number("half_width_net_frac")?.is_some() {
            let mut best: Option<(f64, &Row<'_>)> = None;
            for row in rows.iter().filter(|row| row.text("vehicle_type").ok() == Some(vehicle_type)) {
                let half = row.number("half_width_net_frac")?;
                if let Some(half) = half.filter(|half| best.is_none_or(|(least, _)| *half < least)) {
                    best = Some((half, row));
                }
            }
            if let Some((_, row)) = best {
                told.push(format!(
                    "{named}: net use, on which consumption, range, packs and the plan rest, can be known to ± {} %; {} would do most for it, ± {} %.",
                    now.percent("half_width_net_frac", 1)?,
                    row.text("signal")?,
                    row.percent("half_width_net_frac", 1)?
                ));
            }
        }
    }
    Ok(told)
}

fn told_audit(rows: &[Row<'_>]) -> Read<Option<String>> {
    let mut parts = Vec::new();
    for row in rows {
        if let Some(share) = row.number("correction_frac")? {
            parts.push((share, row.words("vehicle_id")?, row.fixed("sample_interval_s", 0)?));
        }
    }
    parts.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    Ok(parts.first().map(|(share, vehicle, step)| {
        if share.abs() < TELLING {
            return "No log hides or invents a thousandth of its braking energy by how it is sampled.".to_owned();
        }
        let verb = if *share >= 0.0 { "hides" } else { "invents" };
        format!(
            "Of {} logs the one of {vehicle} ({step} s between speeds) {verb} most: {} % of its braking energy as logged.",
            parts.len(),
            crate::figure::fixed(100.0 * share.abs(), 1)
        )
    }))
}

/// "the share that arrives at level high".
fn spoken(unknown: &str) -> String {
    match unknown.strip_prefix("share_at_level ") {
        Some(level) => format!("the share that arrives at level {}", crate::figure::name(level)),
        None => crate::figure::prose(unknown),
    }
}

fn told_calibration(rows: &[Row<'_>]) -> Read<String> {
    if rows.is_empty() {
        return Ok("The sheets' values were not held against the logs.".to_owned());
    }
    let (mut inferred, mut tied) = (0, Vec::new());
    for row in rows {
        inferred += usize::from(row.text("evidence")? == "inferred");
        if let Some(r) = row.number("tied_to_correlation")? {
            let pair = [row.text("unknown")?, row.text("tied_to")?];
            tied.push((r, row.scope(&["vehicle_type", "vehicle_id"])?, pair));
        }
    }
    tied.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    let mut seen: Vec<String> = Vec::new();
    for (r, of, [one, other]) in tied {
        let [one, other] = [spoken(one), spoken(other)];
        let text = format!("{one} from {other} of {of} (correlation {})", crate::figure::fixed(r, 2));
        let back = format!("{other} from {one} of {of} (correlation {})", crate::figure::fixed(r, 2));
        if seen.len() < 3 && !seen.contains(&back) {
            seen.push(text);
        }
    }
    let told =
        if seen.is_empty() { String::new() } else { format!("; hardest to tell apart: {}", listed(&seen)) };
    Ok(format!(
        "The logs narrowed {inferred} of {} unknowns of the sheets, the others stay as modelled{told}.",
        rows.len()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::plain;
    use crate::topics::made::{Typed, batch};
    use crate::topics::rows::rows;

    #[test]
    fn what_leaves_most_open_is_told_by_type() {
        let of = |vehicle_type: &'static str, value: &'static str, low: &'static str, high: &'static str| {
            [
                ("vehicle_type", vehicle_type),
                ("value", value),
                ("recoverable_at_low_frac", low),
                ("recoverable_at_high_frac", high),
            ]
        };
        let made = [
            of("car", "drive losses", "-0.05", "0.04"),
            of("van", "regen level not logged", "-0.3", "0.1"),
            of("van", "load", "-0.02", "0.01"),
        ];
        let made: Vec<Typed<'_>> = made.iter().map(|row| &row[..]).collect();
        let table = batch(&tables::OPEN_VALUES, &made);
        let told = told_open(&rows(&tables::OPEN_VALUES, &table, false)).expect("rows").expect("a sentence");
        let told = plain(&told);
        assert!(
            told.ends_with(
                "car: drive losses (-5.0 to 4.0); van: regen level not logged (-30.0 to 10.0), load (-2.0 to 1.0)."
            ),
            "{told}"
        );
    }
}
