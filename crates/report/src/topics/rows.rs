//! Rows of one table, read cell by cell as a reader sees them.

use arrow::array::{Array, RecordBatch};
use backwatt_schema::{BatchError, BatchView, Table, number_at, text_at};

use super::units::Units;

/// What stands where nothing is known.
pub const UNKNOWN: &str = "–";

pub type Read<T> = Result<T, BatchError>;

#[derive(Clone, Copy)]
pub struct Row<'a> {
    view: BatchView<'a>,
    at: usize,
}

pub fn rows<'a>(table: &'static Table, batch: &'a RecordBatch) -> Vec<Row<'a>> {
    let view = BatchView::new(table, batch);
    (0..view.rows()).map(|at| Row { view, at }).collect()
}

impl<'a> Row<'a> {
    /// Empty where it is null.
    pub fn text(&self, name: &str) -> Read<&'a str> {
        Ok(text_at(self.view.texts(name)?, self.at).unwrap_or_default())
    }

    pub fn number(&self, name: &str) -> Read<Option<f64>> {
        Ok(number_at(self.view.numbers(name)?, self.at))
    }

    pub fn count(&self, name: &str) -> Read<Option<u64>> {
        let counts = self.view.counts(name)?;
        Ok(counts.is_valid(self.at).then(|| counts.value(self.at)))
    }

    /// False where it is null.
    pub fn flag(&self, name: &str) -> Read<bool> {
        let flags = self.view.flags(name)?;
        Ok(flags.is_valid(self.at) && flags.value(self.at))
    }

    pub fn words(&self, name: &str) -> Read<String> {
        Ok(Some(self.text(name)?).filter(|text| !text.is_empty()).unwrap_or(UNKNOWN).to_owned())
    }

    pub fn whole(&self, name: &str) -> Read<String> {
        Ok(self.count(name)?.map_or(UNKNOWN.to_owned(), |n| n.to_string()))
    }

    /// A number times a factor, such as one that turns a share to percent or miles to kilometres.
    pub fn scaled(&self, name: &str, factor: f64, digits: usize) -> Read<String> {
        Ok(self.number(name)?.map_or(UNKNOWN.to_owned(), |value| fixed(value * factor, digits)))
    }

    pub fn fixed(&self, name: &str, digits: usize) -> Read<String> {
        self.scaled(name, 1.0, digits)
    }

    pub fn percent(&self, name: &str, digits: usize) -> Read<String> {
        self.scaled(name, 100.0, digits)
    }

    /// "0.9 to 1.1", both ends times the factor.
    pub fn range(&self, names: [&str; 2], factor: f64, digits: usize) -> Read<String> {
        let ends = self.number(names[0])?.zip(self.number(names[1])?);
        Ok(ends.map_or(UNKNOWN.to_owned(), |(low, high)| {
            format!("{} to {}", fixed(low * factor, digits), fixed(high * factor, digits))
        }))
    }

    /// What several columns of words say, where they say anything.
    pub fn joined(&self, names: &[&str]) -> Read<String> {
        let mut parts = names.iter().map(|name| self.text(name)).collect::<Read<Vec<_>>>()?;
        parts.retain(|part| !part.is_empty());
        Ok(parts.join("; "))
    }

    /// What the row is about, of its columns that narrow it; the whole pilot where none does.
    pub fn scope(&self, names: &[&str]) -> Read<String> {
        let mut parts = Vec::new();
        for name in names {
            parts.push(self.text(name)?);
        }
        parts.retain(|part| !part.is_empty());
        Ok(if parts.is_empty() { "whole pilot".to_owned() } else { parts.join(", ") })
    }
}

/// Without a sign before a zero.
pub fn fixed(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    match text.strip_prefix('-') {
        Some(zero) if zero.chars().all(|c| c == '0' || c == '.') => zero.to_owned(),
        _ => text,
    }
}

/// A value in the unit its row states, in the reader's units.
pub fn in_unit(value: Option<f64>, unit: &str, units: Units) -> String {
    let Some(value) = value else { return UNKNOWN.to_owned() };
    match unit {
        "kW.h/[mi_i]" => format!("{} kWh/{}", fixed(value * units.per_mile(), 3), units.mile()),
        "[mi_i]" => format!("{} {}", fixed(value * units.miles(), 0), units.miles_word()),
        "1" => format!("{} %", fixed(100.0 * value, 1)),
        _ => fixed(value, 3),
    }
}

/// In percent; what would be rounded to certainty is not.
pub fn chance(probability: Option<f64>) -> String {
    match probability {
        None => UNKNOWN.to_owned(),
        Some(sure) if sure >= 0.995 => "over 99".to_owned(),
        Some(probability) => fixed(100.0 * probability, 0),
    }
}
