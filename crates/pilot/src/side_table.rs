//! Tables beside the logs, as CSV: a strict header, every line at fault named, nothing taken that was not understood.

use std::path::{Path, PathBuf};

use backwatt_schema::unit::{Dimension, Unit, spellings};
use backwatt_schema::{Problem, nearest};
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use crate::document::Section;

/// A table beside the logs is a list of what people did, not a log.
const LARGEST_BYTES: u64 = 64 << 20;
/// Faults listed one by one; of the others their number.
const MOST_LISTED: usize = 50;

/// What kind of table is read.
#[derive(Clone, Copy)]
pub struct Kind {
    /// Code of its problems.
    pub code: &'static str,
    /// What its header may look like.
    pub hint: &'static str,
    pub columns: &'static [Wanted],
}

/// A column that the header may name, as `name` or `name [unit]`.
#[derive(Clone, Copy)]
pub struct Wanted {
    pub name: &'static str,
    pub dimension: Option<Dimension>,
    pub required: bool,
}

pub const fn needed(name: &'static str) -> Wanted {
    Wanted { name, dimension: None, required: true }
}

pub const fn optional(name: &'static str) -> Wanted {
    Wanted { name, dimension: None, required: false }
}

impl Wanted {
    pub const fn of(self, dimension: Dimension) -> Self {
        Self { dimension: Some(dimension), ..self }
    }
}

/// One line: its cells in the order of the wanted columns, blank where the file has none.
pub struct Row<'h> {
    pub line: u64,
    cells: Vec<String>,
    header: &'h Header,
}

struct Header {
    kind: Kind,
    /// Of each wanted column, its place in the file and its unit.
    found: Vec<Option<(usize, Option<Unit>)>>,
}

/// The file that the section of this name points to under `file`; `why_not` says what holds without.
pub fn named_file(root: &Section<'_, '_>, name: &str, folder: &Path, why_not: &str) -> Option<PathBuf> {
    let Some(section) = root.section(name) else {
        if !root.has(name) {
            root.default(&format!("{name}.file"), "none", why_not);
        }
        return None;
    };
    let named = section.text("file").map(|at| folder.join(at.value));
    if !section.has("file") {
        let hint = format!("file = \"{name}.csv\", say");
        section.fault("pilot-no-file", "file", format!("[{name}] names no file"), hint);
    }
    section.finish();
    named
}

/// A bounded text of a file that the pilot file names.
pub fn text_of(path: &Path, code: &'static str, most_bytes: u64) -> Result<String, Vec<Problem>> {
    let unreadable = |why: String| {
        let problem = Problem::error(code, why).in_file(path.display().to_string());
        vec![problem.hint("the path is taken from the pilot file's folder")]
    };
    match std::fs::metadata(path) {
        Ok(file) if file.is_file() && file.len() <= most_bytes => {
            std::fs::read_to_string(path).map_err(|error| unreadable(error.to_string()))
        }
        Ok(_) => Err(unreadable(format!("no regular file, or larger than {} MiB", most_bytes >> 20))),
        Err(error) => Err(unreadable(error.to_string())),
    }
}

/// Reads a table line by line through `take`, which says what is wrong with a line.
pub fn read<T>(
    path: &Path,
    kind: Kind,
    take: impl FnMut(&Row<'_>) -> Result<T, String>,
    check: impl Fn(&mut Vec<(T, u64)>) -> Vec<(String, u64)>,
) -> Result<Vec<T>, Vec<Problem>> {
    let text = text_of(path, kind.code, LARGEST_BYTES)?;
    let shown = path.display().to_string();
    parse(&text, kind, take, check)
        .map_err(|problems| problems.into_iter().map(|problem| problem.in_file(&shown)).collect())
}

/// As [`read`], from a text. `check` sees all lines together and may sort them.
pub fn parse<T>(
    text: &str,
    kind: Kind,
    mut take: impl FnMut(&Row<'_>) -> Result<T, String>,
    check: impl Fn(&mut Vec<(T, u64)>) -> Vec<(String, u64)>,
) -> Result<Vec<T>, Vec<Problem>> {
    let fault = |message: String, line: u64| Problem::error(kind.code, message).on_line(line).hint(kind.hint);
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut records = reader.records();
    let first = match records.next() {
        Some(Ok(first)) => first,
        Some(Err(error)) => return Err(vec![fault(error.to_string(), 1)]),
        None => return Err(vec![fault("the file is empty".to_owned(), 1)]),
    };
    let cells: Vec<&str> = first.iter().collect();
    let header = Header::of(&cells, kind)
        .map_err(|messages| messages.into_iter().map(|message| fault(message, 1)).collect::<Vec<_>>())?;
    let (mut taken, mut faults) = (Vec::new(), Vec::new());
    for record in records {
        let (line, made) = match record {
            Err(error) => (error.position().map_or(0, csv::Position::line), Err(error.to_string())),
            Ok(record) => {
                let line = record.position().map_or(0, csv::Position::line);
                let made = header.row(&record, line, cells.len()).and_then(|row| take(&row));
                (line, made)
            }
        };
        match made {
            Ok(one) => taken.push((one, line)),
            Err(message) => faults.push((message, line)),
        }
    }
    faults.extend(check(&mut taken));
    if faults.is_empty() {
        return Ok(taken.into_iter().map(|(one, _)| one).collect());
    }
    faults.sort_by_key(|(_, line)| *line);
    let more = faults.len().saturating_sub(MOST_LISTED);
    let mut problems: Vec<Problem> =
        faults.into_iter().take(MOST_LISTED).map(|(message, line)| fault(message, line)).collect();
    if more > 0 {
        problems.push(Problem::error(kind.code, format!("{more} more lines are at fault")).hint(kind.hint));
    }
    Err(problems)
}

impl Header {
    fn of(cells: &[&str], kind: Kind) -> Result<Self, Vec<String>> {
        let mut found = vec![None; kind.columns.len()];
        let mut faults = Vec::new();
        for (place, cell) in cells.iter().enumerate() {
            let (name, unit) = match cell.split_once('[') {
                Some((name, unit)) => (name.trim(), Some(unit.strip_suffix(']').unwrap_or(unit).trim())),
                None => (*cell, None),
            };
            let Some(at) = kind.columns.iter().position(|wanted| wanted.name == name) else {
                faults.push(unknown(name, kind));
                continue;
            };
            match unit_of(cell, unit, kind.columns[at].dimension) {
                Ok(_) if found[at].is_some() => faults.push(format!("column \"{name}\" stands twice")),
                Ok(unit) => found[at] = Some((place, unit)),
                Err(message) => faults.push(message),
            }
        }
        for (wanted, found) in kind.columns.iter().zip(&found) {
            if wanted.required && found.is_none() && faults.is_empty() {
                faults.push(format!("there is no column \"{}\"", wanted.name));
            }
        }
        if faults.is_empty() { Ok(Self { kind, found }) } else { Err(faults) }
    }

    fn row(&self, record: &csv::StringRecord, line: u64, count: usize) -> Result<Row<'_>, String> {
        if record.len() != count {
            return Err(format!("{} cells where the header has {count}", record.len()));
        }
        let cell = |found: &Option<(usize, Option<Unit>)>| {
            found.and_then(|(place, _)| record.get(place)).unwrap_or("").to_owned()
        };
        Ok(Row { line, cells: self.found.iter().map(cell).collect(), header: self })
    }
}

fn unknown(name: &str, kind: Kind) -> String {
    let valid: Vec<&str> = kind.columns.iter().map(|wanted| wanted.name).collect();
    let near = nearest(name, valid.iter().copied());
    let near = near.map_or(String::new(), |near| format!("did you mean \"{near}\"? "));
    format!("column \"{name}\" is not known here; {near}columns: {}", valid.join(", "))
}

fn unit_of(cell: &str, unit: Option<&str>, dimension: Option<Dimension>) -> Result<Option<Unit>, String> {
    match (unit, dimension) {
        (None, None) => Ok(None),
        (Some(_), None) => Err(format!("column \"{cell}\" has no unit")),
        (spelt, Some(dimension)) => {
            let unit = spelt.and_then(Unit::parse).filter(|unit| unit.dimension == dimension);
            let wanted = spellings(dimension).join(", ");
            unit.map(Some).ok_or_else(|| {
                format!("column \"{cell}\" wants the unit of a {dimension} in brackets: {wanted}")
            })
        }
    }
}

impl Row<'_> {
    fn name(&self, at: usize) -> &'static str {
        self.header.kind.columns[at].name
    }

    /// The cell of the wanted column at this place, `None` where it is blank.
    pub fn text(&self, at: usize) -> Option<&str> {
        Some(self.cells[at].as_str()).filter(|cell| !cell.is_empty())
    }

    pub fn needed_text(&self, at: usize) -> Result<&str, String> {
        self.text(at).ok_or_else(|| format!("\"{}\" is blank", self.name(at)))
    }

    /// In SI, `None` where it is blank; refused beyond the ends.
    pub fn number(&self, at: usize, least: f64, most: f64) -> Result<Option<f64>, String> {
        let Some(cell) = self.text(at) else { return Ok(None) };
        let unit = self.header.found[at].and_then(|(_, unit)| unit);
        let value = cell.parse().ok().map(|value: f64| unit.map_or(value, |unit| unit.to_si(value)));
        match value {
            Some(value) if (least..=most).contains(&value) => Ok(Some(value)),
            Some(_) => Err(format!("\"{cell}\" is beyond what \"{}\" can be", self.name(at))),
            None => Err(format!("\"{cell}\" is no number, which \"{}\" wants", self.name(at))),
        }
    }

    pub fn needed_number(&self, at: usize, least: f64, most: f64) -> Result<f64, String> {
        self.number(at, least, most)?.ok_or_else(|| format!("\"{}\" is blank", self.name(at)))
    }

    pub fn instant(&self, at: usize, zone: &TimeZone) -> Result<i64, String> {
        instant(self.needed_text(at)?, zone)
    }

    /// A stretch of time out of two columns: from the one until before the other.
    pub fn stretch(&self, from: usize, until: usize, zone: &TimeZone) -> Result<(i64, i64), String> {
        let (from_ns, until_ns) = (self.instant(from, zone)?, self.instant(until, zone)?);
        if until_ns <= from_ns {
            let (from, until) = (&self.cells[from], &self.cells[until]);
            return Err(format!("\"{until}\" is not after \"{from}\""));
        }
        Ok((from_ns, until_ns))
    }
}

/// RFC 3339, or local in a time zone.
pub fn instant(text: &str, zone: &TimeZone) -> Result<i64, String> {
    let local = || text.parse::<DateTime>().ok().and_then(|civil| zone.to_timestamp(civil).ok());
    let stamp: Option<Timestamp> = text.parse().ok().or_else(local);
    let nanoseconds = stamp.and_then(|stamp| i64::try_from(stamp.as_nanosecond()).ok());
    nanoseconds.ok_or_else(|| format!("\"{text}\" is no time"))
}

/// Sorts by name and time, and finds stretches of one name that overlap.
pub fn overlaps<T>(
    rows: &mut [(T, u64)],
    key: impl Fn(&T) -> (&str, i64, i64),
    what: &str,
) -> Vec<(String, u64)> {
    rows.sort_by(|(a, line_a), (b, line_b)| (key(a), line_a).cmp(&(key(b), line_b)));
    let mut found = Vec::new();
    // The stretch that reaches furthest so far: a long one may overlap several after it.
    let mut furthest: Option<usize> = None;
    for at in 0..rows.len() {
        let (name, from_ns, until_ns) = key(&rows[at].0);
        let before = furthest.map(|before| (key(&rows[before].0), rows[before].1));
        match before {
            Some(((other, _, end_ns), line)) if other == name => {
                if from_ns < end_ns {
                    found.push((
                        format!("\"{name}\" has two {what} at once, the other on line {line}"),
                        rows[at].1,
                    ));
                }
                if until_ns > end_ns {
                    furthest = Some(at);
                }
            }
            _ => furthest = Some(at),
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    const KIND: Kind = Kind {
        code: "pilot-test",
        hint: "a header",
        columns: &[needed("who"), needed("mass").of(Dimension::Mass), optional("note")],
    };

    fn parsed(text: &str) -> Result<Vec<(String, f64)>, Vec<Problem>> {
        let take = |row: &Row<'_>| Ok((row.needed_text(0)?.to_owned(), row.needed_number(1, 0.0, 1000.0)?));
        parse(text, KIND, take, |_| Vec::new())
    }

    fn message(text: &str) -> String {
        let problems = parsed(text).err().unwrap_or_default();
        problems
            .iter()
            .map(|p| format!("{}: {}", p.place.line.unwrap_or(0), p.message))
            .collect::<Vec<_>>()
            .join("; ")
    }

    #[test]
    fn quotes_orders_and_units_are_read() {
        let found = parsed("\u{feff}mass [lb],who\n\n1000,\"Smith, J.\"\n").unwrap_or_default();
        assert_eq!(found[0].0, "Smith, J.");
        assert!((found[0].1 - 453.592_37).abs() < 1e-9);
    }

    #[test]
    fn a_header_at_fault_is_named() {
        assert!(message("who,mass [kg],notes\n").contains("did you mean \"note\"?"));
        assert!(message("who,mass\n").contains("wants the unit of a mass"));
        assert!(message("who,mass [mph]\n").contains("wants the unit of a mass"));
        assert!(message("who [kg],mass [kg]\n").contains("has no unit"));
        assert!(message("who,mass [kg],who\n").contains("stands twice"));
        assert!(message("mass [kg]\n").contains("no column \"who\""));
        assert!(message("").contains("empty"));
    }

    #[test]
    fn lines_at_fault_are_named_and_their_number_bounded() {
        let found = message("who,mass [kg]\na,1\nb,x\nc,-1\n,1\nd\ne,NaN\n");
        assert_eq!(
            found,
            "3: \"x\" is no number, which \"mass\" wants; 4: \"-1\" is beyond what \"mass\" can be; 5: \"who\" is blank; \
             6: 1 cells where the header has 2; 7: \"NaN\" is beyond what \"mass\" can be"
        );
        let many = "who,mass [kg]\n".to_owned() + &"a,x\n".repeat(1000);
        let problems = parsed(&many).err().unwrap_or_default();
        assert_eq!(problems.len(), 51);
        assert!(problems[50].message.starts_with("950 more"));
    }

    #[test]
    fn every_overlap_is_found_also_behind_a_short_stretch() {
        let mut rows = vec![
            (("a", 0, 100), 2),
            (("a", 10, 20), 3),
            (("a", 30, 40), 4),
            (("b", 0, 5), 5),
            (("a", 100, 110), 6),
        ];
        let found = overlaps(&mut rows, |row| *row, "loads");
        assert_eq!(found.iter().map(|(_, line)| *line).collect::<Vec<_>>(), [3, 4]);
    }
}
