//! All rows of one vehicle: sorted, merged, signs settled, frozen stretches marked, written by month.

use std::collections::BTreeMap;

use backwatt_schema::{Problem, tables::SAMPLES};
use backwatt_store::{Layout, Provenance, write_table};
use jiff::Timestamp;

use crate::elevation::{Heights, Survey};
use crate::frame::{Frame, Row, mask};
use crate::rejects::{Refusal, RejectWriter};
use crate::settings::{Positive, Settings, Source};
use crate::signal::{CURRENT, FLAGS, LATITUDE, LONGITUDE, NUMBERS, POWER, SIGNALS, TEXTS, VOLTAGE};
use crate::{IngestError, beside, frozen, gather, held, sign};

/// What the second pass found, by file where it belongs to a file.
#[derive(Debug, Default)]
pub struct VehicleOutcome {
    pub duplicates: BTreeMap<String, u64>,
    pub merged: BTreeMap<String, u64>,
    pub frozen: BTreeMap<String, u64>,
    /// How the sign of the battery signal is known, by source.
    pub signs: BTreeMap<String, String>,
    pub problems: Vec<Problem>,
}

/// What the second pass has to know of a file.
#[derive(Debug, Clone, Copy)]
pub struct FileKind {
    /// Position among the sources.
    pub source: usize,
    /// Its rows are gathered onto the instants of the speed.
    pub gathers: bool,
}

pub fn finish_vehicle(
    settings: &Settings,
    survey: Option<&Survey>,
    layout: &Layout,
    provenance: &Provenance,
    vehicle: &str,
    frame: Frame,
    files: &BTreeMap<String, FileKind>,
) -> Result<VehicleOutcome, IngestError> {
    let mut outcome = VehicleOutcome::default();
    let frame = lay_out_relative(frame);
    let mut rejects = RejectWriter::new(layout.rejects_of_vehicle(vehicle), provenance);
    let mut frame = sort_and_merge(&frame, &mut outcome, &mut rejects)?;
    rejects.finish()?;
    let kinds = kinds(&frame, files);
    let gathers: Vec<bool> = kinds.iter().map(|kind| kind.is_some_and(|kind| kind.gathers)).collect();
    if gathers.contains(&true) {
        frame = gather::gather(frame, &gathers, &mut outcome.merged);
    }
    settle_signs(settings, vehicle, &mut frame, files, &mut outcome);
    let interval_s = crate::median_interval_s(&frame.time_ns).unwrap_or(1.0);
    frozen::mark(&mut frame, settings.frozen_after_s, interval_s);
    for at in (0..frame.len()).filter(|at| frame.mask[*at] & mask::FROZEN != 0) {
        let file = frame.pool.text(frame.file[at]).unwrap_or("").to_owned();
        *outcome.frozen.entry(file).or_default() += 1;
    }
    held::mark_positions(&mut frame);
    outcome.problems.extend(beside::fill(settings, vehicle, &mut frame));
    if let Some(survey) = survey {
        outcome.problems.extend(stand_on(survey, &mut frame));
    }
    write_months(layout, provenance, vehicle, &frame)?;
    Ok(outcome)
}

/// Looks up the height of the terrain under every position.
fn stand_on(survey: &Survey, frame: &mut Frame) -> Vec<Problem> {
    let mut heights = Heights::new(survey);
    let (lat, lon) = (&frame.numbers[LATITUDE], &frame.numbers[LONGITUDE]);
    let known = |(lat, lon): (&f64, &f64)| (!lat.is_nan() && !lon.is_nan()).then_some((*lat, *lon));
    frame.terrain =
        lat.iter().zip(lon).map(|place| known(place).and_then(|(lat, lon)| heights.height(lat, lon))).collect();
    heights.into_problems()
}

/// Files on a relative clock are laid out one after the other in name order, each from the start of a day of its
/// own, so that their rows cannot meet.
fn lay_out_relative(mut frame: Frame) -> Frame {
    const DAY_NS: i64 = 86_400_000_000_000;
    let mut base = 0;
    let mut start = 0;
    while start < frame.len() {
        let file = frame.file[start];
        let end = (start..frame.len()).find(|i| frame.file[*i] != file).unwrap_or(frame.len());
        if frame.mask[start] & mask::RELATIVE != 0 {
            let times = &mut frame.time_ns[start..end];
            let earliest = times.iter().copied().min().unwrap_or(0).min(0);
            let latest = times.iter().copied().max().unwrap_or(0).saturating_sub(earliest);
            times.iter_mut().for_each(|t| *t = t.saturating_sub(earliest).saturating_add(base));
            base = (latest / DAY_NS + 1).saturating_mul(DAY_NS).saturating_add(base);
        }
        start = end;
    }
    frame
}

/// Sorts by time and makes one row of those that share an instant: blanks are filled from the later row; a later
/// row that says the same is a duplicate, and one that contradicts is refused.
fn sort_and_merge(
    frame: &Frame,
    outcome: &mut VehicleOutcome,
    rejects: &mut RejectWriter,
) -> Result<Frame, IngestError> {
    let mut order: Vec<usize> = (0..frame.len()).collect();
    let name = |at: usize| frame.pool.text(frame.file[at]).unwrap_or("");
    order.sort_by(|&a, &b| {
        (frame.time_ns[a], name(a), frame.line[a]).cmp(&(frame.time_ns[b], name(b), frame.line[b]))
    });
    let mut merged = Frame { pool: frame.pool.clone(), ..Frame::default() };
    let mut current: Option<Row> = None;
    for at in order {
        let row = frame.row(at);
        match &mut current {
            Some(kept) if kept.time_ns == row.time_ns => {
                let file = name(at).to_owned();
                match merge(kept, &row) {
                    Merge::Filled => *outcome.merged.entry(file).or_default() += 1,
                    Merge::Same => {
                        refuse_duplicate(rejects, &file, &row, "the same instant again, nothing new in it")?;
                        *outcome.duplicates.entry(file).or_default() += 1;
                    }
                    Merge::Contradicts(signal) => {
                        let message = format!("the same instant again with another {}", SIGNALS[signal].name);
                        refuse_duplicate(rejects, &file, &row, &message)?;
                        *outcome.duplicates.entry(file).or_default() += 1;
                    }
                }
            }
            _ => {
                if let Some(kept) = current.replace(row) {
                    merged.push(&kept);
                }
            }
        }
    }
    if let Some(kept) = current {
        merged.push(&kept);
    }
    Ok(merged)
}

fn refuse_duplicate(
    rejects: &mut RejectWriter,
    file: &str,
    row: &Row,
    message: &str,
) -> Result<(), IngestError> {
    rejects.push(Refusal {
        file: file.to_owned(),
        line: row.line,
        reason: "duplicate-time",
        cell: None,
        message: message.to_owned(),
        raw: None,
    })
}

enum Merge {
    Filled,
    Same,
    Contradicts(usize),
}

fn merge(kept: &mut Row, row: &Row) -> Merge {
    let clash = (0..NUMBERS).find(|&i| {
        let (a, b) = (kept.numbers[i], row.numbers[i]);
        !a.is_nan() && !b.is_nan() && a != b
    });
    let text_clash =
        (0..TEXTS).find(|&i| kept.texts[i] != 0 && row.texts[i] != 0 && kept.texts[i] != row.texts[i]);
    let flag_clash =
        (0..FLAGS).find(|&i| matches!((kept.flags[i], row.flags[i]), (Some(a), Some(b)) if a != b));
    let clash = clash.or(flag_clash.map(|i| NUMBERS + i)).or(text_clash.map(|i| NUMBERS + FLAGS + i));
    if let Some(signal) = clash {
        return Merge::Contradicts(signal);
    }
    let mut filled = false;
    for i in 0..NUMBERS {
        if kept.numbers[i].is_nan() && !row.numbers[i].is_nan() {
            kept.numbers[i] = row.numbers[i];
            filled = true;
        }
    }
    for i in 0..FLAGS {
        if kept.flags[i].is_none() && row.flags[i].is_some() {
            kept.flags[i] = row.flags[i];
            filled = true;
        }
    }
    for i in 0..TEXTS {
        if kept.texts[i] == 0 && row.texts[i] != 0 {
            kept.texts[i] = row.texts[i];
            filled = true;
        }
    }
    if !filled {
        return Merge::Same;
    }
    kept.mask |= row.mask | mask::MERGED;
    Merge::Filled
}

/// The kind of file each row came from.
fn kinds(frame: &Frame, files: &BTreeMap<String, FileKind>) -> Vec<Option<FileKind>> {
    let mut known: BTreeMap<u32, Option<FileKind>> = BTreeMap::new();
    let of = |file: &u32| frame.pool.text(*file).and_then(|name| files.get(name)).copied();
    frame.file.iter().map(|file| *known.entry(*file).or_insert_with(|| of(file))).collect()
}

/// Turns each source's battery signals so that leaving the battery is positive; what is not proved is not used.
fn settle_signs(
    settings: &Settings,
    vehicle: &str,
    frame: &mut Frame,
    files: &BTreeMap<String, FileKind>,
    outcome: &mut VehicleOutcome,
) {
    let kinds = kinds(frame, files);
    for (number, source) in settings.sources.iter().enumerate() {
        for signal in [CURRENT, POWER] {
            let Some(mapping) = source.columns.iter().find(|m| m.signal == signal) else { continue };
            let belongs = |i: usize| kinds[i].is_some_and(|kind| kind.source == number);
            if !(0..frame.len()).any(|i| belongs(i) && !frame.numbers[signal][i].is_nan()) {
                continue;
            }
            let verdict = sign::prove(frame, signal, belongs);
            let factor = decide(mapping.positive, &verdict, source, vehicle, signal, outcome);
            for i in (0..frame.len()).filter(|i| belongs(*i)) {
                let value = &mut frame.numbers[signal][i];
                *value = factor.map_or(f64::NAN, |factor| *value * factor + 0.0);
            }
        }
    }
    // Where both are logged the power column stands; elsewhere power is voltage times current.
    for i in 0..frame.len() {
        if frame.numbers[POWER][i].is_nan() {
            frame.numbers[POWER][i] = frame.numbers[VOLTAGE][i] * frame.numbers[CURRENT][i];
        }
    }
}

fn decide(
    positive: Positive,
    verdict: &sign::Verdict,
    source: &Source,
    vehicle: &str,
    signal: usize,
    outcome: &mut VehicleOutcome,
) -> Option<f64> {
    let name = SIGNALS[signal].name;
    let stated = match positive {
        Positive::Discharge => Some(1.0),
        Positive::Charge => Some(-1.0),
        Positive::Prove => None,
    };
    let word = |factor: f64| if factor > 0.0 { "discharge" } else { "charge" };
    let found = verdict.describe();
    let (factor, text) = match (stated, verdict.discharge) {
        (Some(stated), Some(proved)) if stated != proved => {
            let message = format!(
                "{name} of vehicle {vehicle} is stated as positive = \"{}\", but the data say \"{}\" ({found})",
                word(stated),
                word(proved)
            );
            let key = format!("sources.{}.columns.{name}.positive", source.name);
            outcome.problems.push(
                Problem::warning("ingest-sign-contradicted", message)
                    .named(key)
                    .hint("the stated sign was used; check it before trusting any battery figure"),
            );
            (Some(stated), format!("positive is {}, stated, contradicted by the data ({found})", word(stated)))
        }
        (Some(stated), _) => (Some(stated), format!("positive is {}, stated ({found})", word(stated))),
        (None, Some(proved)) => (Some(proved), format!("positive is {}, proved ({found})", word(proved))),
        (None, None) => {
            let message =
                format!("which way {name} of vehicle {vehicle} counts is not proved by the data ({found})");
            let key = format!("sources.{}.columns.{name}.positive", source.name);
            outcome.problems.push(
                Problem::warning("ingest-sign-unproved", message)
                    .named(key)
                    .hint("the signal was set aside; state positive = \"discharge\" or \"charge\" to use it"),
            );
            (None, format!("not proved, not used ({found})"))
        }
    };
    outcome.signs.insert(source.name.clone(), format!("{name}: {text}"));
    factor
}

fn write_months(
    layout: &Layout,
    provenance: &Provenance,
    vehicle: &str,
    frame: &Frame,
) -> Result<(), IngestError> {
    let folder = layout.samples_folder(vehicle);
    let mut written = Vec::new();
    let mut start = 0;
    while start < frame.len() {
        let month = month_of(frame.time_ns[start]);
        let length = frame.time_ns[start..].partition_point(|t| month_of(*t) <= month);
        let (year, number) = month;
        let name = format!("{year:04}-{number:02}.parquet");
        let batch = frame.to_batch(vehicle, start..start + length)?;
        write_table(&folder.join(&name), &SAMPLES, &batch, provenance)?;
        written.push(name);
        start += length;
    }
    remove_others(&folder, &written)
}

fn month_of(time_ns: i64) -> (i16, i8) {
    let stamp = Timestamp::from_nanosecond(i128::from(time_ns)).unwrap_or(Timestamp::UNIX_EPOCH);
    let date = jiff::tz::Offset::UTC.to_datetime(stamp).date();
    (date.year(), date.month())
}

/// Months of an earlier run that this one no longer has.
fn remove_others(folder: &std::path::Path, keep: &[String]) -> Result<(), IngestError> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Ok(()) };
    for entry in entries.flatten() {
        let path = entry.path();
        let ours = path.extension().is_some_and(|e| e == "parquet");
        if ours && !keep.iter().any(|name| entry.file_name() == name.as_str()) {
            std::fs::remove_file(&path).map_err(|source| IngestError::Io { doing: "remove", path, source })?;
        }
    }
    Ok(())
}
