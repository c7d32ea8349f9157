//! A look at unknown logs: what each column seems to be, and a pilot file drafted from it.
//!
//! Nothing here is used unseen: a draft is a text for a person to read, and what the logs cannot know is left open
//! in a way the pilot reader refuses.

mod clocks;
mod column_name;
mod dates;
mod draft;
mod guess;
mod look;
mod names;
mod notes;
mod pace;
mod signs;
mod speed;
mod vehicles;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::formats::Format;
use crate::formats::can::DbcFile;
use crate::input::{Member, members};
use crate::settings::LogFile;

pub use clocks::{Clock, TimeGuess};
pub use draft::Draft;
pub use guess::ColumnGuess;
pub use look::Look;

pub use pace::Pace;

use look::look;

/// Files of one shape: same folder, same format, same time column.
#[derive(Debug, Clone)]
pub struct Shape {
    pub folder: String,
    pub looks: Vec<Look>,
    pub time: TimeGuess,
    /// The time of a satellite receiver beside it.
    pub gps_time: Option<TimeGuess>,
    pub columns: Vec<ColumnGuess>,
    pub vehicle_column: Option<String>,
    /// How often rows come, and in what steps the state of charge is written.
    pub pace: Pace,
}

/// Endings that logs go by; anything else is not opened.
const EXTENSIONS: [&str; 16] = [
    "csv", "tsv", "txt", "log", "dat", "json", "jsonl", "ndjson", "parquet", "pq", "gpx", "nmea", "mf4", "gz",
    "zst", "zip",
];

/// Looks at every log below `folder` and drafts a pilot file.
pub fn inspect(folder: &Path) -> std::io::Result<Draft> {
    let mut paths = Vec::new();
    collect(folder, 0, &mut paths)?;
    paths.sort();
    let (dbcs, paths): (Vec<PathBuf>, Vec<PathBuf>) =
        paths.into_iter().partition(|path| has_ending(path, &["dbc"]));
    let dbcs: Vec<(String, DbcFile)> =
        dbcs.into_iter().map(|path| (shown(folder, &path), DbcFile::new(path))).collect();
    let mut shapes: BTreeMap<Kind, Vec<(Look, TimeGuess)>> = BTreeMap::new();
    let mut skipped = Vec::new();
    for file in paths.iter().flat_map(|path| logs(folder, path)) {
        match look(&file, &dbcs) {
            Err(reason) => skipped.push((file.shown, reason)),
            Ok(look) => match clocks::time(&look) {
                Some(time) if guess::columns(&look).iter().any(|c| c.signal == "speed") => {
                    shapes.entry(Kind::of(&look, &time)).or_default().push((look, time));
                }
                Some(_) => skipped.push((file.shown, "no column looks like a speed".to_owned())),
                None => skipped.push((file.shown, "no column looks like a time".to_owned())),
            },
        }
    }
    let shapes: Vec<Shape> = shapes.into_iter().map(|(kind, looks)| shape(kind.folder, looks)).collect();
    Ok(Draft::new(folder, &shapes, &skipped))
}

/// What files of one source have in common.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Kind {
    folder: String,
    format: Format,
    time: String,
    long: Option<String>,
    dbc: Option<String>,
}

impl Kind {
    fn of(look: &Look, time: &TimeGuess) -> Self {
        let parent = Path::new(&look.shown).parent().map_or(String::new(), |p| p.display().to_string());
        let long = look.long.as_ref().map(|long| format!("{} {}", long.signal, long.value));
        let time = format!("{} {}", time.clock.kind(), time.columns.join(" "));
        Self { folder: parent, format: look.format, time, long, dbc: look.dbc.clone() }
    }
}

fn shape(folder: String, looks: Vec<(Look, TimeGuess)>) -> Shape {
    // One file may tell the day from the month for all of them.
    let clear = looks.iter().map(|(_, time)| time).find(|time| !time.clock.is_ambiguous());
    let time = clear.unwrap_or(&looks[0].1).clone();
    let looks: Vec<Look> = looks.into_iter().map(|(look, _)| look).collect();
    let mut columns: Vec<ColumnGuess> = Vec::new();
    for look in &looks {
        for found in guess::columns(look) {
            match columns.iter_mut().find(|known| known.signal == found.signal) {
                Some(known) if !known.names.contains(&found.names[0]) => known.names.extend(found.names),
                Some(_) => {}
                None => columns.push(found),
            }
        }
    }
    speed::settle_unit(&looks, &time, &mut columns);
    signs::tell(&looks, &time, &mut columns);
    let vehicle_column = guess::vehicle(&looks[0]);
    let gps_time = looks.iter().find_map(|look| clocks::gps_time(look, &time));
    let pace = pace::of(&looks, &time, &columns);
    Shape { folder, looks, time, gps_time, columns, vehicle_column, pace }
}

fn collect(folder: &Path, depth: usize, files: &mut Vec<PathBuf>) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            // What a run wrote is no log.
            if depth < 6 && !path.join(".stamps").is_dir() {
                collect(&path, depth + 1, files)?;
            }
        } else if path.is_file() && (has_ending(&path, &EXTENSIONS) || has_ending(&path, &["dbc"])) {
            files.push(path);
        }
    }
    Ok(())
}

fn has_ending(path: &Path, endings: &[&str]) -> bool {
    path.extension().is_some_and(|ending| endings.iter().any(|known| ending.eq_ignore_ascii_case(known)))
}

fn shown(folder: &Path, path: &Path) -> String {
    path.strip_prefix(folder).unwrap_or(path).to_string_lossy().replace('\\', "/")
}

/// The logs of a path: itself, or the members of an archive.
fn logs(folder: &Path, path: &Path) -> Vec<LogFile> {
    let shown = shown(folder, path);
    let log = |member: Option<Member>| {
        let below = member.as_ref().map_or(String::new(), |member| format!("/{}", member.name));
        LogFile { path: path.to_owned(), member, shown: shown.clone() + &below, vehicle: None }
    };
    match members(path) {
        Ok(Some(archive)) => archive.members.into_iter().map(|member| log(Some(member))).collect(),
        Ok(None) | Err(_) => vec![log(None)],
    }
}
