//! Log files by pattern, with the vehicle's name out of the path.

use std::path::Path;

use backwatt_ingest::settings::LogFile;
use regex_lite::Regex;

/// Files below `folder` that match, in name order.
pub fn find(folder: &Path, pattern: &str) -> Result<Vec<LogFile>, String> {
    let pattern = pattern.strip_prefix("./").unwrap_or(pattern);
    let base = glob::Pattern::escape(&folder.to_string_lossy());
    let wild = pattern.replace("{vehicle}", "*");
    let full = if Path::new(pattern).is_absolute() { wild } else { format!("{base}/{wild}") };
    let capture = pattern.contains("{vehicle}").then(|| capturing(pattern)).transpose()?;
    let options = glob::MatchOptions { require_literal_separator: true, ..glob::MatchOptions::default() };
    let mut files = Vec::new();
    for entry in glob::glob_with(&full, options).map_err(|error| error.to_string())? {
        let path = entry.map_err(|error| error.to_string())?;
        // A pipe or a device has no end; a folder has no rows; what a run wrote is no log.
        if !path.is_file() || is_output(folder, &path) {
            continue;
        }
        let shown = path.strip_prefix(folder).unwrap_or(&path).to_string_lossy().replace('\\', "/");
        let vehicle = capture
            .as_ref()
            .and_then(|regex| Some(regex.captures(&shown)?.name("vehicle")?.as_str().to_owned()));
        if capture.is_some() && vehicle.is_none() {
            continue;
        }
        files.push(LogFile { path, shown, vehicle });
    }
    files.sort_by(|a, b| a.shown.cmp(&b.shown));
    Ok(files)
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
}
