//! Log files by pattern, with the vehicle's name out of the path.

use std::path::{Path, PathBuf};

use backwatt_ingest::settings::LogFile;
use backwatt_ingest::{Member, members};
use regex_lite::Regex;

/// Files below `folder` that match, in name order. A zip archive that matches stands for its members; a pattern may also go
/// on inside it: `logs/*.zip/{vehicle}/*.csv`.
pub fn find(folder: &Path, pattern: &str) -> Result<Vec<LogFile>, String> {
    let pattern = pattern.strip_prefix("./").unwrap_or(pattern);
    let capture = pattern.contains("{vehicle}").then(|| capturing(pattern)).transpose()?;
    let vehicle = |shown: &str| {
        let captured = capture.as_ref().map(|regex| regex.captures(shown)?.name("vehicle").map(|m| m.as_str()));
        captured.map(|captured| captured.map(str::to_owned))
    };
    let full = full(folder, pattern);
    let mut files = Vec::new();
    for path in matches(folder, &full)? {
        let shown = shown(folder, &path);
        let Some(vehicle) = vehicle(&shown).map_or(Some(None), |captured| captured.map(Some)) else { continue };
        match members(&path) {
            Ok(Some(archive)) => {
                files.extend(
                    archive.members.iter().map(|member| log_in(&path, &shown, member, vehicle.clone())),
                );
                if archive.fault.is_some() {
                    // Stands for what could not be reached, so that a receipt says so.
                    files.push(LogFile { path, member: None, shown, vehicle });
                }
            }
            // What cannot be listed is met again, and named, when it is read.
            Ok(None) | Err(_) => files.push(LogFile { path, member: None, shown, vehicle }),
        }
    }
    if let Some(outer) = archive_part(pattern) {
        let inner = glob::Pattern::new(&full).map_err(|error| error.to_string())?;
        for path in matches(folder, &self::full(folder, outer))? {
            let archive_shown = shown(folder, &path);
            let archive = members(&path).ok().flatten().unwrap_or_default();
            for member in &archive.members {
                let log = log_in(&path, &archive_shown, member, None);
                let place = format!("{}/{}", path.to_string_lossy(), member.name);
                let vehicle = vehicle(&log.shown);
                if inner.matches_with(&place, GLOB) && vehicle != Some(None) {
                    files.push(LogFile { vehicle: vehicle.flatten(), ..log });
                }
            }
            if archive.fault.is_some() {
                files.push(LogFile { path, member: None, shown: archive_shown, vehicle: None });
            }
        }
    }
    files.sort_by(|a, b| a.shown.cmp(&b.shown));
    Ok(files)
}

const GLOB: glob::MatchOptions = glob::MatchOptions {
    case_sensitive: true,
    require_literal_separator: true,
    require_literal_leading_dot: false,
};

fn full(folder: &Path, pattern: &str) -> String {
    let base = glob::Pattern::escape(&folder.to_string_lossy());
    let wild = pattern.replace("{vehicle}", "*");
    if Path::new(pattern).is_absolute() { wild } else { format!("{base}/{wild}") }
}

fn matches(folder: &Path, full: &str) -> Result<Vec<PathBuf>, String> {
    let mut paths = Vec::new();
    for entry in glob::glob_with(full, GLOB).map_err(|error| error.to_string())? {
        let path = entry.map_err(|error| error.to_string())?;
        // A pipe or a device has no end; a folder has no rows; what a run wrote is no log. A link that leads nowhere was meant for
        // one: its receipt says that it cannot be read.
        if (path.is_file() || leads_nowhere(&path)) && !is_output(folder, &path) {
            paths.push(path);
        }
    }
    Ok(paths)
}

fn shown(folder: &Path, path: &Path) -> String {
    path.strip_prefix(folder).unwrap_or(path).to_string_lossy().replace('\\', "/")
}

fn log_in(path: &Path, shown: &str, member: &Member, vehicle: Option<String>) -> LogFile {
    let shown = format!("{shown}/{}", member.name);
    LogFile { path: path.to_owned(), member: Some(member.clone()), shown, vehicle }
}

/// The start of a pattern that names archives, where it goes on inside them.
fn archive_part(pattern: &str) -> Option<&str> {
    pattern.to_ascii_lowercase().find(".zip/").map(|at| &pattern[..at + 4])
}

fn leads_nowhere(path: &Path) -> bool {
    path.is_symlink() && std::fs::metadata(path).is_err()
}

/// True below an output folder of this program, which its stamps give away.
fn is_output(folder: &Path, path: &Path) -> bool {
    let inside = path.ancestors().skip(1).take_while(|ancestor| *ancestor != folder);
    inside.into_iter().any(|ancestor| ancestor.join(".stamps").is_dir())
}

/// The pattern as an expression that captures the vehicle.
fn capturing(pattern: &str) -> Result<Regex, String> {
    let mut expression = String::from("^");
    let mut rest = pattern;
    let mut captured = false;
    while let Some(first) = rest.chars().next() {
        let (piece, length) = match first {
            _ if rest.starts_with("{vehicle}") => {
                let piece = if captured { "[^/]*" } else { "(?<vehicle>[^/]+?)" };
                captured = true;
                (piece.to_owned(), 9)
            }
            _ if rest.starts_with("**/") => ("(?:.*/)?".to_owned(), 3),
            '*' => ("[^/]*".to_owned(), 1),
            '?' => ("[^/]".to_owned(), 1),
            other => (regex_lite::escape(&other.to_string()), other.len_utf8()),
        };
        expression.push_str(&piece);
        rest = &rest[length..];
    }
    expression.push('$');
    Regex::new(&expression).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_vehicle_comes_out_of_the_path() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["logs/T1/a.csv", "logs/T2/b.csv", "logs/T2_W05.csv", "logs/T2/c.txt"] {
            let path = folder.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, "x").unwrap();
        }
        let of = |pattern| -> Vec<(String, Option<String>)> {
            find(folder.path(), pattern).unwrap().into_iter().map(|f| (f.shown, f.vehicle)).collect()
        };
        let some = |text: &str| Some(text.to_owned());
        assert_eq!(
            of("logs/{vehicle}/*.csv"),
            [("logs/T1/a.csv".to_owned(), some("T1")), ("logs/T2/b.csv".to_owned(), some("T2"))]
        );
        assert_eq!(of("logs/{vehicle}_*.csv"), [("logs/T2_W05.csv".to_owned(), some("T2"))]);
        assert_eq!(of("logs/**/*.csv").len(), 3);
    }

    /// The archive of `fixtures/formats`: `trips/minute.csv` and `trips/README`.
    #[test]
    fn a_zip_archive_stands_for_its_members() {
        let folder = tempfile::tempdir().unwrap();
        let minute = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/formats/minute.zip");
        std::fs::create_dir(folder.path().join("logs")).unwrap();
        std::fs::copy(&minute, folder.path().join("logs/T1.zip")).unwrap();
        std::fs::write(folder.path().join("logs/T2.zip"), "time,speed\n").unwrap();
        let of = |pattern| -> Vec<(String, Option<String>, bool)> {
            let files = find(folder.path(), pattern).unwrap();
            files.into_iter().map(|f| (f.shown, f.vehicle, f.member.is_some())).collect()
        };
        let member = |name: &str, vehicle: Option<&str>| {
            (format!("logs/T1.zip/trips/{name}"), vehicle.map(str::to_owned), true)
        };
        let named_zip = ("logs/T2.zip".to_owned(), Some("T2".to_owned()), false);
        assert_eq!(
            of("logs/{vehicle}.zip"),
            [member("README", Some("T1")), member("minute.csv", Some("T1")), named_zip],
            "what is called .zip and is none is a log"
        );
        assert_eq!(of("logs/{vehicle}.zip/*/*.csv"), [member("minute.csv", Some("T1"))]);
        assert_eq!(of("logs/*.zip/**/*.csv"), [member("minute.csv", None)]);
        assert_eq!(of("logs/T1.zip/{vehicle}/minute.csv"), [member("minute.csv", Some("trips"))]);
        assert_eq!(of("logs/T1.zip/minute.csv"), []);

        let bytes = std::fs::read(minute).unwrap();
        std::fs::write(folder.path().join("logs/T1.zip"), &bytes[..bytes.len() / 2]).unwrap();
        let cut = of("logs/T1.zip/*/*.csv");
        assert_eq!(cut[0], ("logs/T1.zip".to_owned(), None, false), "stands for what cannot be reached");
        assert_eq!(cut[1], member("minute.csv", None));
    }
}
