//! `[[sources]]`: where the logs are and what their columns mean.

use std::path::Path;

use backwatt_ingest::Unpacking;
use backwatt_ingest::dialect::Stated;
use backwatt_ingest::formats::Format;
use backwatt_ingest::formats::can::DbcFile;
use backwatt_ingest::settings::{CellUnit, LogFile, Long, Mapping, Positive, Source};
use backwatt_ingest::signal::{Holds, SIGNALS, position};
use backwatt_schema::nearest;
use backwatt_schema::unit::{Dimension, Unit};
use jiff::tz::TimeZone;

use crate::document::Section;
use crate::{files, source_time};

/// A source and the vehicle type of its vehicles that `[vehicles]` does not list.
pub struct SourceWithType {
    pub source: Source,
    pub vehicle_type: Option<String>,
}

pub fn read(
    section: &Section<'_, '_>,
    number: usize,
    folder: &Path,
    zone: Option<&TimeZone>,
) -> Option<SourceWithType> {
    let name = section.text("name").map_or_else(|| format!("source {}", number + 1), |at| at.value);
    let vehicle = section.text("vehicle").map(|at| at.value);
    let vehicle_column = section.text("vehicle_column").map(|at| at.value);
    let patterns = section.texts("files");
    if patterns.is_none() && !section.has("files") {
        let hint = "files = \"logs/*.csv\", relative to the pilot file".to_owned();
        section.fault("pilot-files-missing", "files", format!("source \"{name}\" names no files"), hint);
    }
    let patterns = patterns.map(|at| at.value).unwrap_or_default();
    let files = log_files(section, &patterns, folder, vehicle.as_deref());
    if files.iter().any(|file| file.vehicle.is_none()) && vehicle_column.is_none() {
        let hint = "add vehicle = \"T1\", vehicle_column = \"...\", or {vehicle} in files".to_owned();
        section.fault(
            "pilot-vehicle-missing",
            "files",
            format!("source \"{name}\" does not say whose logs these are"),
            hint,
        );
    }
    let vehicle_type = section.text("vehicle_type").map(|at| at.value);
    let format = format(section);
    let dbc = dbc(section, folder);
    let long = section.section("long").and_then(|long| self::long(&long));
    let gather = section.flag("gather").map(|at| at.value);
    let unpacking = unpacking(section);
    let dialect = dialect(section);
    let missing = section.texts("missing").map(|at| at.value).unwrap_or_default();
    let time = section.section("time").and_then(|time| source_time::read(&time, zone));
    if !section.has("time") {
        let hint =
            "time = { column = \"...\", kind = \"iso\" }; kinds: epoch, iso, local, relative, day-number"
                .to_owned();
        section.fault(
            "pilot-time-missing",
            "time",
            format!("source \"{name}\" does not say which column is the time"),
            hint,
        );
    }
    let columns = section.section("columns").map(|columns| mappings(&columns)).unwrap_or_default();
    if !columns.iter().any(|mapping| mapping.signal == backwatt_ingest::signal::SPEED) {
        let hint = "[sources.columns] speed = { column = \"...\", unit = \"km/h\" }".to_owned();
        section.fault("pilot-speed-missing", "columns", format!("source \"{name}\" maps no speed"), hint);
    }
    section.finish();
    let time = time?;
    let source = Source {
        name,
        files,
        vehicle_column,
        format,
        dbc,
        long,
        gather,
        unpacking,
        dialect,
        missing,
        time,
        columns,
    };
    Some(SourceWithType { source, vehicle_type })
}

fn log_files(
    section: &Section<'_, '_>,
    patterns: &[String],
    folder: &Path,
    vehicle: Option<&str>,
) -> Vec<LogFile> {
    let mut found = Vec::new();
    for pattern in patterns {
        match files::find(folder, pattern) {
            Ok(files) if files.is_empty() => {
                let hint = format!("looked for {pattern} below the folder of the pilot file");
                section.fault("pilot-no-files", "files", format!("no file matches \"{pattern}\""), hint);
            }
            Ok(files) => found.extend(files),
            Err(reason) => {
                let hint = "*, ? and ** as usual; {vehicle} captures the vehicle's name".to_owned();
                section.fault(
                    "pilot-bad-pattern",
                    "files",
                    format!("\"{pattern}\" cannot be used: {reason}"),
                    hint,
                );
            }
        }
    }
    found.sort_by(|a, b| a.shown.cmp(&b.shown));
    found.dedup_by(|a, b| a.shown == b.shown);
    found
        .into_iter()
        .map(|file| LogFile { vehicle: file.vehicle.or_else(|| vehicle.map(str::to_owned)), ..file })
        .collect()
}

fn format(section: &Section<'_, '_>) -> Option<Format> {
    let stated = section.text("format")?.value;
    let found = Format::by_name(&stated);
    if found.is_none() {
        let valid = Format::ALL.map(Format::name);
        let near = nearest(&stated, valid).map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
        let hint = format!("{near}one of: {}; or leave it out: it is found in each file", valid.join(", "));
        section.fault("pilot-bad-format", "format", format!("\"{stated}\" is no format known here"), hint);
    }
    found
}

/// The file that says what CAN frames mean, read once here so that a fault in it is told before any log is.
fn dbc(section: &Section<'_, '_>, folder: &Path) -> Option<DbcFile> {
    let file = DbcFile::new(folder.join(section.text("dbc")?.value));
    if let Err(error) = file.check() {
        let hint = "dbc = \"bus.dbc\", relative to the pilot file; leave it out for the signals of SAE J1939 known here".to_owned();
        section.fault("pilot-dbc-unreadable", "dbc", error, hint);
    }
    Some(file)
}

fn long(section: &Section<'_, '_>) -> Option<Long> {
    let signal = section.text("signal").map(|at| at.value);
    let value = section.text("value").map(|at| at.value);
    if signal.is_none() || value.is_none() {
        let hint =
            "long = { signal = \"column that names the signal\", value = \"column of its value\" }".to_owned();
        section.fault(
            "pilot-long-form",
            "signal",
            "the long form has two columns: signal and value".into(),
            hint,
        );
    }
    section.finish();
    Some(Long { signal: signal?, value: value? })
}

fn unpacking(section: &Section<'_, '_>) -> Unpacking {
    let limit = |key: &str, usual: u64| {
        let Some(stated) = section.number(key).map(|at| at.value) else { return usual };
        if (1.0..=1e18).contains(&stated) {
            return stated as u64;
        }
        let hint = format!("a count above 0, such as {usual}");
        section.fault("pilot-bad-limit", key, format!("{stated} is no limit"), hint);
        usual
    };
    let usual = Unpacking::default();
    Unpacking {
        bytes_most: limit("unpack_bytes_max", usual.bytes_most),
        ratio_most: limit("unpack_ratio_max", usual.ratio_most),
    }
}

fn dialect(section: &Section<'_, '_>) -> Stated {
    let mut stated = Stated::default();
    if let Some(delimiter) = section.text("delimiter").map(|at| at.value) {
        match delimiter.as_str() {
            "tab" | "\t" => stated.delimiter = Some(b'\t'),
            one if one.len() == 1
                && one.chars().all(|c| c.is_ascii_punctuation() && !matches!(c, '"' | '.' | '-')) =>
            {
                stated.delimiter = one.bytes().next();
            }
            _ => section.fault(
                "pilot-bad-delimiter",
                "delimiter",
                format!("\"{delimiter}\" is no delimiter"),
                "one of ; , | and the like, or \"tab\"".into(),
            ),
        }
    }
    match section.text("decimal").map(|at| at.value).as_deref() {
        Some(",") => stated.decimal_comma = Some(true),
        Some(".") => stated.decimal_comma = Some(false),
        Some(_) => {
            section.fault("pilot-bad-decimal", "decimal", "the decimal mark is . or ,".into(), String::new());
        }
        None => {}
    }
    if let Some(label) = section.text("encoding").map(|at| at.value) {
        match encoding_rs::Encoding::for_label(label.as_bytes()) {
            Some(encoding) => stated.encoding = Some(encoding),
            None => section.fault(
                "pilot-bad-encoding",
                "encoding",
                format!("\"{label}\" is no encoding known here"),
                "utf-8, utf-16le, utf-16be, windows-1252, or another WHATWG label".into(),
            ),
        }
    }
    stated.header_line = section.number("header_line").and_then(|at| {
        if at.value.fract() == 0.0 && (1.0..=100_000.0).contains(&at.value) {
            return Some(at.value as u64);
        }
        let message = format!("{} is no line number", at.value);
        section.fault("pilot-header-line", "header_line", message, "counted from 1, preamble included".into());
        None
    });
    stated.units_line = section.flag("units_line").map(|at| at.value);
    stated
}

fn mappings(section: &Section<'_, '_>) -> Vec<Mapping> {
    let mut mappings = Vec::new();
    for signal in &SIGNALS {
        if !section.has(signal.name) {
            // Asked for, so that finish() offers the name to whoever misspelt it.
            let _ = section.sections(signal.name);
            continue;
        }
        for column in section.sections(signal.name) {
            mappings.extend(mapping(&column, signal.name));
        }
    }
    section.finish();
    mappings
}

fn mapping(section: &Section<'_, '_>, signal_name: &str) -> Option<Mapping> {
    let signal = position(signal_name)?;
    let names = section.texts("column").map(|at| at.value).unwrap_or_default();
    if names.is_empty() {
        let hint = "column = \"name in the header\", or a list of spellings".to_owned();
        section.fault("pilot-column-missing", "column", format!("{signal_name} names no column"), hint);
    }
    let unit = unit(section, signal_name, SIGNALS[signal].holds)?;
    let fill = section.text("fill").map(|at| at.value);
    if fill.as_deref().is_some_and(|fill| fill != "forward") {
        section.fault(
            "pilot-bad-fill",
            "fill",
            "blanks can only be filled \"forward\"".into(),
            "or leave fill out".into(),
        );
    }
    let positive = match section.text("positive").map(|at| at.value).as_deref() {
        Some("discharge") => Positive::Discharge,
        Some("charge") => Positive::Charge,
        Some("prove") | None => Positive::Prove,
        Some(other) => {
            let hint = "discharge, charge, or prove (the default: from the data)".to_owned();
            section.fault("pilot-bad-sign", "positive", format!("\"{other}\" is no direction"), hint);
            Positive::Prove
        }
    };
    let scale = section.number("scale").map_or(1.0, |at| at.value);
    if scale == 0.0 {
        section.fault(
            "pilot-bad-scale",
            "scale",
            "a scale of 0 leaves nothing".into(),
            "or leave scale out".into(),
        );
    }
    let (least, most) = (section.number("min").map(|at| at.value), section.number("max").map(|at| at.value));
    if least.zip(most).is_some_and(|(least, most)| least > most) {
        section.fault(
            "pilot-bad-range",
            "min",
            "min lies above max".into(),
            "both in the column's unit".into(),
        );
    }
    let mapping = Mapping { signal, names, unit, scale, fill_forward: fill.is_some(), least, most, positive };
    section.finish();
    Some(mapping)
}

fn unit(section: &Section<'_, '_>, signal_name: &str, holds: Holds) -> Option<CellUnit> {
    let text = section.text("unit").map(|at| at.value);
    let Holds::Number { dimension, .. } = holds else { return Some(CellUnit::None) };
    let Some(text) = text else {
        let known = backwatt_schema::unit::spellings(dimension).join(", ");
        let hint = format!("unit = \"...\", one of: {known}");
        section.fault("pilot-unit-missing", "unit", format!("{signal_name} has no unit"), hint);
        return None;
    };
    if dimension == Dimension::Angle && matches!(text.as_str(), "deg min" | "deg'") {
        return Some(CellUnit::DegreesMinutes);
    }
    match Unit::parse(&text) {
        Some(unit) if unit.dimension == dimension => Some(CellUnit::Plain(unit)),
        Some(unit) => {
            let message = format!("{signal_name} is a {dimension}; \"{text}\" is a unit of {}", unit.dimension);
            let known = backwatt_schema::unit::spellings(dimension).join(", ");
            section.fault("pilot-unit-dimension", "unit", message, format!("one of: {known}"));
            None
        }
        None => {
            let known = backwatt_schema::unit::spellings(dimension);
            let near = nearest(&text, known.iter().copied())
                .map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
            let hint = format!("{near}for a {dimension}: {}", known.join(", "));
            section.fault("pilot-unit-unknown", "unit", format!("\"{text}\" is not a unit known here"), hint);
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use backwatt_ingest::formats::Format;
    use backwatt_ingest::settings::Source;
    use backwatt_schema::Problem;

    /// The source of a pilot that says this of it beside what it must.
    fn source(keys: &str) -> Result<Source, Vec<Problem>> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        std::fs::write(folder.path().join("log.csv"), "").expect("writable");
        let text = format!(
            "[pilot]\nname = \"p\"\n[vehicle_types.van]\nmass = \"3000 kg\"\n[[sources]]\nfiles = \"log.csv\"\n\
             vehicle = \"T1\"\n{keys}\ntime = {{ column = \"t\", kind = \"iso\" }}\n\
             [sources.columns]\nspeed = {{ column = \"v\", unit = \"km/h\" }}\n"
        );
        crate::parse(&text, "pilot.toml", folder.path()).map(|pilot| pilot.ingest.sources[0].clone())
    }

    fn fault(keys: &str) -> (&'static str, String) {
        let problems = source(keys).expect_err("a fault");
        (problems[0].code, problems[0].hint.clone())
    }

    #[test]
    fn a_dbc_file_is_read_as_soon_as_it_is_named() {
        let named =
            |file: &str| format!("dbc = \"{}/../../fixtures/formats/{file}\"", env!("CARGO_MANIFEST_DIR"));
        assert!(source(&named("can.dbc")).expect("no fault").dbc.is_some());
        for (file, said) in [("none.dbc", "none.dbc"), ("minute.csv", "it cannot be read from line 1:1")] {
            let problems = source(&named(file)).expect_err("a fault");
            assert_eq!(problems[0].code, "pilot-dbc-unreadable");
            assert!(problems[0].message.contains(said), "{}", problems[0].message);
        }
    }

    #[test]
    fn the_form_of_a_log_can_be_stated() {
        let found = source("").expect("no fault");
        assert_eq!((found.format, found.long, found.gather), (None, None, None));
        let keys = "format = \"parquet\"\nlong = { signal = \"name\", value = \"val\" }\ngather = false\nunpack_ratio_max = 9";
        let stated = source(keys).expect("no fault");
        assert_eq!((stated.format, stated.gather), (Some(Format::Parquet), Some(false)));
        assert_eq!(stated.long.map(|long| long.signal + &long.value).as_deref(), Some("nameval"));
        assert_eq!(stated.unpacking.ratio_most, 9);
    }

    #[test]
    fn what_is_misspelt_is_told_with_the_nearest() {
        let (code, hint) = fault("format = \"parket\"");
        assert_eq!(code, "pilot-bad-format");
        assert!(hint.contains("did you mean \"parquet\"?") && hint.contains("ndjson"), "{hint}");
        assert_eq!(fault("long = { signal = \"name\" }").0, "pilot-long-form");
        assert_eq!(fault("unpack_bytes_max = 0").0, "pilot-bad-limit");
    }
}
