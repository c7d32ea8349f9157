//! Marks for figures, units and long names within a string.

use std::borrow::Cow;
use std::fmt::Write as _;

use super::{Kind, fixed};
use crate::chart::escape;

const OPEN: char = '\u{fdd0}';
const CLOSE: char = '\u{fdd1}';
const PART: char = '\u{fdd2}';
/// Longest name shown; the tables hold the whole of it, and the page shows more of it on hover.
pub const NAME_CHARS: usize = 40;
const HOVER_CHARS: usize = 400;
/// Longest remark shown.
const PROSE_CHARS: usize = 900;

/// A figure of a kind, its value in SI.
pub fn figure(si: f64, kind: Kind, digits: usize, metric: bool) -> String {
    of_cell(si, kind, digits, metric, "")
}

/// The same, with the table, row and column it stands in: `plan_check.3.value_p50`.
pub fn of_cell(si: f64, kind: Kind, digits: usize, metric: bool, cell: &str) -> String {
    if !si.is_finite() {
        return "–".to_owned();
    }
    let system = system(metric);
    format!("{OPEN}f{PART}{}{PART}{digits}{PART}{si}{PART}{system}{PART}{cell}{CLOSE}", kind.name())
}

/// The name of the unit a kind is shown in.
pub fn unit(kind: Kind, metric: bool) -> String {
    format!("{OPEN}u{PART}{}{PART}{}{CLOSE}", kind.name(), system(metric))
}

/// A name from a log or a file, cut where it is long.
pub fn name(text: &str) -> String {
    if text.chars().count() <= NAME_CHARS { text.to_owned() } else { format!("{OPEN}n{PART}{text}{CLOSE}") }
}

/// A band of the outside air, "-10 to 0 degC", as figures that can be shown in either unit.
pub fn band(text: &str, metric: bool) -> String {
    let celsius = |text: &str| text.parse().ok().map(|at: f64| at + 273.15);
    let ends = text.strip_suffix(" degC").and_then(|ends| ends.split_once(" to "));
    match ends.and_then(|(low, high)| celsius(low).zip(celsius(high))) {
        Some((low, high)) => {
            let of = |k: f64| figure(k, Kind::Temperature, 0, metric);
            format!("{} to {} {}", of(low), of(high), unit(Kind::Temperature, metric))
        }
        None => prose(text),
    }
}

/// A sentence or remark from a table, in which a name may be long.
pub fn prose(text: &str) -> String {
    let fits = text.chars().count() <= PROSE_CHARS;
    if fits && text.split(' ').all(|word| word.chars().count() <= NAME_CHARS) {
        return text.to_owned();
    }
    let words: Vec<String> = text.split(' ').map(|word| cut(word, NAME_CHARS)).collect();
    cut(&words.join(" "), PROSE_CHARS)
}

pub fn has_marks(text: &str) -> bool {
    text.contains([OPEN, CLOSE, PART])
}

/// A text from outside, without the characters that marks are made of.
pub fn scrub(text: &str) -> Cow<'_, str> {
    if has_marks(text) {
        Cow::Owned(text.replace([OPEN, CLOSE, PART], "\u{fffd}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// As text, in the system it was marked in.
pub fn plain(marked: &str) -> String {
    render(marked, str::to_owned, |mark| match mark {
        Mark::Figure { kind, digits, si, metric, .. } => shown(kind, digits, si, metric),
        Mark::Unit { kind, metric } => kind.shown(metric).word.to_owned(),
        Mark::Name(text) => cut(text, NAME_CHARS),
    })
}

/// As markup: names escaped, figures with their value in SI.
pub fn markup(marked: &str) -> String {
    render(marked, escape, |mark| match mark {
        Mark::Figure { kind, digits, si, metric, cell } => {
            let of = if cell.is_empty() { String::new() } else { format!(" data-of=\"{}\"", escape(cell)) };
            let (name, text) = (kind.name(), shown(kind, digits, si, metric));
            format!("<data value=\"{si}\" data-kind=\"{name}\" data-digits=\"{digits}\"{of}>{text}</data>")
        }
        Mark::Unit { kind, metric } => {
            format!("<span data-unit=\"{}\">{}</span>", kind.name(), escape(kind.shown(metric).word))
        }
        Mark::Name(text) => format!(
            "<span class=\"name\" title=\"{}\">{}</span>",
            escape(&cut(text, HOVER_CHARS)),
            escape(&cut(text, NAME_CHARS))
        ),
    })
}

fn shown(kind: Kind, digits: usize, si: f64, metric: bool) -> String {
    let shown = kind.shown(metric);
    fixed(si * shown.factor + shown.offset, digits)
}

enum Mark<'a> {
    Figure { kind: Kind, digits: usize, si: f64, metric: bool, cell: &'a str },
    Unit { kind: Kind, metric: bool },
    Name(&'a str),
}

/// What is between marks by one function, marks by the other; a mark that is none of ours is left out.
fn render(text: &str, between: impl Fn(&str) -> String, mark: impl Fn(Mark<'_>) -> String) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once(OPEN) {
        out.push_str(&between(before));
        let (inside, beyond) = after.split_once(CLOSE).unwrap_or((after, ""));
        if let Some(known) = read(inside) {
            let _ = write!(out, "{}", mark(known));
        }
        rest = beyond;
    }
    out.push_str(&between(rest));
    out
}

fn read(inside: &str) -> Option<Mark<'_>> {
    let (what, rest) = inside.split_once(PART)?;
    let kind = |name: &str| Kind::ALL.into_iter().find(|kind| kind.name() == name);
    match what {
        "n" => Some(Mark::Name(rest)),
        "u" => {
            let (name, system) = rest.split_once(PART)?;
            Some(Mark::Unit { kind: kind(name)?, metric: system == "metric" })
        }
        "f" => {
            let parts: Vec<&str> = rest.split(PART).collect();
            let [name, digits, si, system, cell] = parts[..] else { return None };
            Some(Mark::Figure {
                kind: kind(name)?,
                digits: digits.parse().ok()?,
                si: si.parse().ok()?,
                metric: system == "metric",
                cell,
            })
        }
        _ => None,
    }
}

pub fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        text.to_owned()
    } else {
        text.chars().take(most - 1).chain(['…']).collect()
    }
}

fn system(metric: bool) -> &'static str {
    if metric { "metric" } else { "us" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_text_on_a_terminal_and_markup_on_a_page() {
        let told = format!(
            "<i> {} {}",
            of_cell(3_600_000.0 / 1609.344, Kind::PerDistance, 2, false, "recovery.0.x"),
            unit(Kind::PerDistance, false)
        );
        assert_eq!(plain(&told), "<i> 1.00 kWh/mile");
        assert_eq!(
            markup(&told),
            "&lt;i&gt; <data value=\"2236.936292054402\" data-kind=\"per_distance\" data-digits=\"2\" data-of=\"recovery.0.x\">1.00</data> \
             <span data-unit=\"per_distance\">kWh/mile</span>"
        );
    }

    #[test]
    fn a_band_of_the_outside_air_has_both_units() {
        assert_eq!(plain(&band("-10 to 0 degC", false)), "14 to 32 °F");
        assert_eq!(plain(&band("-10 to 0 degC", true)), "-10 to 0 °C");
        assert_eq!(band("(unknown)", true), "(unknown)");
    }

    #[test]
    fn a_name_can_be_no_mark() {
        let hostile = figure(1.0, Kind::Plain, 0, false);
        assert!(!has_marks(&scrub(&hostile)));
        assert_eq!(markup(&format!("{OPEN}x{PART}<b>{CLOSE}")), "");
    }

    #[test]
    fn long_names_are_cut_with_more_on_hover() {
        let long = name(&"<x>".repeat(5000));
        assert_eq!(plain(&long).chars().count(), NAME_CHARS);
        assert!(markup(&long).len() < 8 * (HOVER_CHARS + NAME_CHARS));
        assert!(!markup(&long).contains("<x>"));
    }
}
