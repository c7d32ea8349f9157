use std::fmt;

use thiserror::Error;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing; nothing was set aside.
    Note,
    /// Something was set aside or taken as an assumption; the run goes on.
    Warning,
    /// The thing asked for could not be done.
    Error,
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Severity::Note => "note",
            Severity::Warning => "warning",
            Severity::Error => "error",
        })
    }
}

/// Where a problem was met: as much as is known.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Place {
    pub file: Option<String>,
    /// Counted from 1, preamble and header included.
    pub line: Option<u64>,
    /// Column of a table, or key of a settings file.
    pub name: Option<String>,
    pub value: Option<String>,
}

/// One problem as data: what happened, where, what to do.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub struct Problem {
    pub code: &'static str,
    pub severity: Severity,
    pub message: String,
    pub place: Place,
    pub hint: String,
}

impl Problem {
    pub fn error(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Error, message)
    }

    pub fn warning(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Warning, message)
    }

    pub fn note(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Note, message)
    }

    fn new(code: &'static str, severity: Severity, message: impl Into<String>) -> Self {
        Self { code, severity, message: message.into(), place: Place::default(), hint: String::new() }
    }

    #[must_use]
    pub fn in_file(mut self, file: impl Into<String>) -> Self {
        self.place.file = Some(file.into());
        self
    }

    #[must_use]
    pub fn on_line(mut self, line: u64) -> Self {
        self.place.line = Some(line);
        self
    }

    #[must_use]
    pub fn named(mut self, name: impl Into<String>) -> Self {
        self.place.name = Some(name.into());
        self
    }

    #[must_use]
    pub fn with_value(mut self, value: impl Into<String>) -> Self {
        self.place.value = Some(value.into());
        self
    }

    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = hint.into();
        self
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}[{}]: {}", self.severity, self.code, printable(&self.message))?;
        let place = place_text(&self.place);
        if !place.is_empty() {
            write!(f, "\n  at {}", printable(&place))?;
        }
        if !self.hint.is_empty() {
            write!(f, "\n  hint: {}", printable(&self.hint))?;
        }
        Ok(())
    }
}

fn place_text(place: &Place) -> String {
    let mut parts = Vec::new();
    if let Some(file) = &place.file {
        parts.push(file.clone());
    }
    if let Some(line) = place.line {
        parts.push(format!("line {line}"));
    }
    if let Some(name) = &place.name {
        parts.push(format!("\"{name}\""));
    }
    if let Some(value) = &place.value {
        parts.push(format!("value \"{}\"", shortened(value)));
    }
    parts.join(", ")
}

/// Names from logs may hold what a terminal obeys.
fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() && c != '\n' { '\u{fffd}' } else { c }).collect()
}

/// A hostile cell may hold megabytes or control characters: show the start of it, printable.
fn shortened(value: &str) -> String {
    let mut text: String =
        value.chars().take(60).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
    if value.chars().nth(60).is_some() {
        text.push('…');
    }
    text
}

/// The valid name nearest to a misspelt one, if any is near enough to be meant.
pub fn nearest<'a>(name: &str, valid: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    valid
        .into_iter()
        .map(|candidate| (strsim::jaro_winkler(name, candidate), candidate))
        .filter(|(likeness, _)| *likeness > 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_problem_says_what_where_and_what_to_do() {
        let problem = Problem::error("ingest-speed-range", "speed 118 m/s is above the accepted 90 m/s")
            .in_file("trips/2024-03.csv")
            .on_line(18211)
            .named("speed")
            .hint("if the file is in km/h, set columns.speed.unit = \"km/h\"");
        assert_eq!(
            problem.to_string(),
            "error[ingest-speed-range]: speed 118 m/s is above the accepted 90 m/s\n  \
             at trips/2024-03.csv, line 18211, \"speed\"\n  \
             hint: if the file is in km/h, set columns.speed.unit = \"km/h\""
        );
    }

    #[test]
    fn nearest_finds_a_slip_and_nothing_for_nonsense() {
        assert_eq!(nearest("drag_aera", ["mass", "drag_area"]), Some("drag_area"));
        assert_eq!(nearest("xyzzy", ["mass", "drag_area"]), None);
    }
}
