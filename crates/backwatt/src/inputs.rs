//! Digests of what each stage reads: the same digest, the same tables.

use std::collections::BTreeMap;
use std::path::Path;

use backwatt_ingest::elevation::is_grid;
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
        // An archive of many logs is read once.
        let mut digests: BTreeMap<&Path, String> = BTreeMap::new();
        for source in &pilot.ingest.sources {
            if let Some(dbc) = &source.dbc {
                let digest = digest_file(dbc.path()).unwrap_or_else(|_| "unreadable".to_owned());
                files.push(format!("{}\tdbc\t{digest}", source.name));
            }
            for file in &source.files {
                let unread = || digest_file(&file.path).unwrap_or_else(|_| "unreadable".to_owned());
                let digest = digests.entry(&file.path).or_insert_with(unread);
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
        let side_tables: String = pilot.side_files.iter().map(|path| digest_named(Some(path)) + "\n").collect();
        let ingest = chain(
            &logs,
            tiles(pilot)
                + &side_tables
                + &of(&[
                    "sources.",
                    "ingest.",
                    "pilot.time_zone",
                    "elevation.",
                    "payloads.",
                    "shifts.",
                    "weather.file",
                    "weather.age",
                    "weather.reach",
                    "weather.wind_factor",
                ]),
        );
        let maps = pilot.vehicle_types.values().filter_map(|of| of.loss_map.as_ref());
        let maps: String =
            maps.map(|map| digest_file(map).unwrap_or_else(|_| "unreadable".to_owned()) + "\n").collect();
        let maps = maps + &digest_named(pilot.routes_file.as_deref());
        let replay = chain(
            &ingest,
            maps + &of(&["vehicle_types.", "vehicles.", "replay.", "nodes.", "routes.", "weather."]),
        );
        let sessions = digest_named(pilot.charging.file.as_deref());
        let estimate = chain(&replay, sessions + &of(&["charging.", "pilot.driver_names", "events.", "plan"]));
        let report = chain(&estimate, of(&["pilot."]));
        Self { logs, ingest, replay, estimate, report }
    }
}

/// Names and lengths of the elevation tiles: they are large, and nobody edits them in place.
fn tiles(pilot: &Pilot) -> String {
    let Some(path) = &pilot.ingest.elevation_tiles else { return String::new() };
    if path.is_file() {
        return digest_named(Some(path));
    }
    let entries = std::fs::read_dir(path).into_iter().flatten().flatten();
    let is_tile = |path: &Path| path.extension().is_some_and(|e| e == "hgt") || is_grid(path);
    let mut lines: Vec<String> = entries
        .filter(|entry| is_tile(&entry.path()))
        .map(|entry| {
            let length = entry.metadata().map_or(0, |file| file.len());
            format!("{}\t{length}", entry.file_name().display())
        })
        .collect();
    lines.sort_unstable();
    lines.join("\n")
}

/// A side table that the pilot may name.
fn digest_named(path: Option<&Path>) -> String {
    let digest = |path| digest_file(path).unwrap_or_else(|_| "unreadable".to_owned());
    path.map(digest).unwrap_or_default()
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
