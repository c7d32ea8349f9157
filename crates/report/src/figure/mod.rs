//! Figures on their way to a reader: in sentences and cells they travel as marks, and become text on a terminal or
//! markup that a page can show in other units.
//!
//! Marks are between two noncharacters of Unicode (section 23.7: for internal use, never for interchange), so that a
//! sentence stays one string that `format!` can make. [`scrub`] takes them out of whatever comes from a log.

mod fixed;
mod kind;
mod marks;

pub use fixed::{counted, fixed};
pub use kind::Kind;
pub use marks::{NAME_CHARS, band, cut, figure, has_marks, markup, name, of_cell, plain, prose, scrub, unit};

/// Sentences as text, for JSON.
pub fn as_plain<S: serde::Serializer>(told: &[String], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(told.iter().map(|sentence| plain(sentence)))
}

/// The script that shows a page in the other units, with the table of kinds in it.
pub fn script() -> String {
    let kinds: serde_json::Map<String, serde_json::Value> = Kind::ALL
        .iter()
        .map(|kind| {
            let of = serde_json::json!({ "us": kind.shown(false), "metric": kind.shown(true) });
            (kind.name().to_owned(), of)
        })
        .collect();
    let kinds = serde_json::Value::Object(kinds).to_string();
    include_str!("../../assets/units.js").replace("/*KINDS*/{}", &kinds)
}
