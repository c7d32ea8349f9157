//! A look at unknown logs: what each column seems to be, and a pilot file drafted from it.
//!
//! Nothing here is used unseen: a draft is a text for a person to read, and what the logs cannot know is left open
//! in a way the pilot reader refuses.

mod draft;
mod guess;
mod names;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::dialect::{Dialect, Stated};
use crate::formats::{Fields, read_head};

pub use draft::Draft;
pub use guess::{ColumnGuess, TimeGuess};

/// One file as it looks from its start.
#[derive(Debug, Clone)]
pub struct Look {
    pub path: PathBuf,
    pub shown: String,
    pub dialect: Dialect,
    pub names: Vec<String>,
    /// Units row, empty where there is none.
    pub units: Vec<String>,
    /// First rows, as texts.
    pub rows: Vec<Vec<String>>,
}

/// Files of one shape: same folder, same delimiter, same time column.
#[derive(Debug, Clone)]
pub struct Shape {
    pub folder: String,
    pub looks: Vec<Look>,
    pub time: TimeGuess,
    pub columns: Vec<ColumnGuess>,
    pub vehicle_column: Option<String>,
}

/// Rows looked at per file.
const ROWS: usize = 400;

/// Looks at every delimited text file below `folder` and drafts a pilot file.
pub fn inspect(folder: &Path) -> std::io::Result<Draft> {
    let mut files = Vec::new();
    collect(folder, 0, &mut files)?;
    files.sort();
    let mut shapes: BTreeMap<(String, u8, String), Vec<(Look, TimeGuess)>> = BTreeMap::new();
    let mut skipped = Vec::new();
    for path in files {
        let shown = path.strip_prefix(folder).unwrap_or(&path).to_string_lossy().replace('\\', "/");
        match look(&path, &shown) {
            Err(reason) => skipped.push((shown, reason)),
            Ok(look) => match guess::time(&look) {
                Some(time) if guess::columns(&look).iter().any(|c| c.signal == "speed") => {
                    let parent = Path::new(&shown).parent().map_or(String::new(), |p| p.display().to_string());
                    let key = (parent, look.dialect.delimiter, time.columns.join(" "));
                    shapes.entry(key).or_default().push((look, time));
                }
                Some(_) => skipped.push((shown, "no column looks like a speed".to_owned())),
                None => skipped.push((shown, "no column looks like a time".to_owned())),
            },
        }
    }
    let shapes: Vec<Shape> = shapes.into_iter().map(|((folder, ..), looks)| shape(folder, looks)).collect();
    Ok(Draft::new(folder, &shapes, &skipped))
}

fn shape(folder: String, looks: Vec<(Look, TimeGuess)>) -> Shape {
    let time = looks[0].1.clone();
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
    let vehicle_column = guess::vehicle(&looks[0]);
    Shape { folder, looks, time, columns, vehicle_column }
}

fn collect(folder: &Path, depth: usize, files: &mut Vec<PathBuf>) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase());
        if path.is_dir() {
            // What a run wrote is no log.
            if depth < 6 && !path.join(".stamps").is_dir() {
                collect(&path, depth + 1, files)?;
            }
        } else if path.is_file() && matches!(extension.as_deref(), Some("csv" | "tsv" | "txt" | "log" | "dat"))
        {
            files.push(path);
        }
    }
    Ok(())
}

fn look(path: &Path, shown: &str) -> Result<Look, String> {
    let (head, dialect) = read_head(path, &Stated::default()).map_err(|error| error.to_string())?;
    let mut fields = Fields::default();
    let mut split = |line: &str| -> Vec<String> {
        fields.split(line.as_bytes(), dialect.delimiter);
        fields.iter().map(|f| String::from_utf8_lossy(f).trim().to_owned()).collect()
    };
    let start = usize::try_from(dialect.header_line - 1).unwrap_or(0);
    let mut lines = head.lines().skip(start);
    let names = lines.next().map(&mut split).unwrap_or_default();
    if names.len() < 2 {
        return Err("no delimited columns".to_owned());
    }
    let units = if dialect.units_line { lines.next().map(&mut split).unwrap_or_default() } else { Vec::new() };
    // The last line of the head may be cut short.
    let mut rows: Vec<Vec<String>> =
        lines.take(ROWS).map(&mut split).filter(|row| row.len() == names.len()).collect();
    if rows.len() > 1 {
        rows.pop();
    }
    if rows.is_empty() {
        return Err("no rows below the header".to_owned());
    }
    Ok(Look { path: path.to_owned(), shown: shown.to_owned(), dialect, names, units, rows })
}
