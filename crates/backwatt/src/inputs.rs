//! Digests of what each stage reads: the same digest, the same tables.

use backwatt_pilot::{Origin, Pilot};
use backwatt_store::{digest_bytes, digest_file};

/// What the stages depend on, each digest covering those before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Inputs {
    pub logs: String,
    pub ingest: String,
    pub replay: String,
    pub estimate: String,
    pub report: String,
}

impl Inputs {
    /// Digests logs and settings. An unreadable log counts as itself: its receipt will say so.
    pub fn of(pilot: &Pilot, program: &str) -> Self {
        let mut files: Vec<String> = Vec::new();
        for source in &pilot.ingest.sources {
            for file in &source.files {
                let digest = digest_file(&file.path).unwrap_or_else(|_| "unreadable".to_owned());
                files.push(format!("{}\t{}\t{digest}", source.name, file.shown));
            }
        }
        files.sort_unstable();
        // Tables of another shape are other tables, even from a program of the same version.
        let program = format!("{program} {}", digest_bytes(backwatt_schema::dictionary::markdown().as_bytes()));
        let logs = digest_bytes(files.join("\n").as_bytes());
        let of = |prefixes: &[&str]| settings_text(pilot, prefixes);
        let chain =
            |before: &str, text: String| digest_bytes(format!("{program}\n{before}\n{text}").as_bytes());
        let ingest = chain(
            &logs,
            tiles(pilot)
                + &manifest(pilot)
                + &of(&["sources.", "ingest.", "pilot.time_zone", "elevation.", "payloads."]),
        );
        let maps = pilot.vehicle_types.values().filter_map(|of| of.loss_map.as_ref());
        let maps: String =
            maps.map(|map| digest_file(map).unwrap_or_else(|_| "unreadable".to_owned()) + "\n").collect();
        let replay =
            chain(&ingest, maps + &of(&["vehicle_types.", "vehicles.", "replay.", "nodes.", "weather."]));
        let estimate = chain(&replay, of(&["plan"]));
        let report = chain(&estimate, of(&["pilot."]));
        Self { logs, ingest, replay, estimate, report }
    }
}

/// Names and lengths of the elevation tiles: they are large, and nobody edits them in place.
fn tiles(pilot: &Pilot) -> String {
    let Some(folder) = &pilot.ingest.elevation_tiles else { return String::new() };
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut lines: Vec<String> = entries
        .filter(|entry| entry.path().extension().is_some_and(|e| e == "hgt"))
        .map(|entry| {
            let length = entry.metadata().map_or(0, |file| file.len());
            format!("{}\t{length}", entry.file_name().display())
        })
        .collect();
    lines.sort_unstable();
    lines.join("\n")
}

fn manifest(pilot: &Pilot) -> String {
    let digest = |path| digest_file(path).unwrap_or_else(|_| "unreadable".to_owned());
    pilot.manifest.as_deref().map(digest).unwrap_or_default()
}

/// Key and value only: a setting moved to another line, or stated where it was the default, changes no figure.
fn settings_text(pilot: &Pilot, prefixes: &[&str]) -> String {
    let mut lines: Vec<String> = pilot
        .settings
        .iter()
        .filter(|setting| prefixes.iter().any(|prefix| setting.key.starts_with(prefix)))
        .map(|setting| {
            // A stated value narrows the bounds around it, so that origin moves a number too.
            let stated = matches!(setting.origin, Origin::File { .. });
            format!("{} = {} ({stated})", setting.key, setting.value)
        })
        .collect();
    lines.sort_unstable();
    lines.join("\n")
}
