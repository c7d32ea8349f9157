//! Rows of one table, read cell by cell as a reader sees them.

use arrow::array::{Array, RecordBatch};
use backwatt_schema::{BatchError, BatchView, Table, number_at, text_at};

use super::units::Units;
use crate::figure::{self, Kind, figure, fixed, of_cell};

/// What stands where nothing is known.
pub const UNKNOWN: &str = "–";

pub type Read<T> = Result<T, BatchError>;

#[derive(Clone, Copy)]
pub struct Row<'a> {
    view: BatchView<'a>,
    table: &'static str,
    metric: bool,
    at: usize,
}

pub fn rows<'a>(table: &'static Table, batch: &'a RecordBatch, metric: bool) -> Vec<Row<'a>> {
    let view = BatchView::new(table, batch);
    (0..view.rows()).map(|at| Row { view, table: table.name, metric, at }).collect()
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

    /// Cut where it is long, as a name from a log may be.
    pub fn words(&self, name: &str) -> Read<String> {
        let text = self.text(name)?;
        if name == "temperature_band" {
            return Ok(figure::band(text, self.metric));
        }
        let shown = if is_name(name) { figure::name } else { figure::prose };
        Ok(if text.is_empty() { UNKNOWN.to_owned() } else { shown(text) })
    }

    pub fn whole(&self, name: &str) -> Read<String> {
        Ok(self.count(name)?.map_or(UNKNOWN.to_owned(), |n| self.mark(n as f64, Kind::Plain, 0, name)))
    }

    /// A number in the unit of its kind; the column's name says which unit it is kept in.
    pub fn shown(&self, name: &str, kind: Kind, digits: usize) -> Read<String> {
        Ok(self
            .number(name)?
            .map_or(UNKNOWN.to_owned(), |value| self.mark(kind.si_of(name, value), kind, digits, name)))
    }

    /// Energies in kWh, other numbers as the column has them.
    pub fn fixed(&self, name: &str, digits: usize) -> Read<String> {
        self.shown(name, as_kept(name), digits)
    }

    pub fn percent(&self, name: &str, digits: usize) -> Read<String> {
        self.shown(name, Kind::Share, digits)
    }

    /// A probability in percent; what would be rounded to certainty is not.
    pub fn likely(&self, name: &str, digits: usize) -> Read<String> {
        match self.number(name)? {
            Some(sure) if sure >= NEARLY_SURE => Ok("over 99".to_owned()),
            _ => self.percent(name, digits),
        }
    }

    /// A share without its sign, in percent.
    pub fn magnitude(&self, name: &str, digits: usize) -> Read<String> {
        let value = self.number(name)?;
        Ok(value.map_or(UNKNOWN.to_owned(), |value| figure(value.abs(), Kind::Share, digits, self.metric)))
    }

    /// A number times a sign, so that it can be told as more or as less.
    pub fn signed(&self, name: &str, sign: f64, digits: usize) -> Read<String> {
        let (kind, _) = Kind::of_column(name, 0.0);
        let value = self.number(name)?;
        Ok(value.map_or(UNKNOWN.to_owned(), |value| {
            figure(sign * kind.si_of(name, value), kind, digits, self.metric)
        }))
    }

    pub fn signed_range(&self, names: [&str; 2], sign: f64, digits: usize) -> Read<String> {
        Ok(format!("{} to {}", self.signed(names[0], sign, digits)?, self.signed(names[1], sign, digits)?))
    }

    /// "0.9 to 1.1".
    pub fn range(&self, names: [&str; 2], kind: Kind, digits: usize) -> Read<String> {
        if self.number(names[0])?.is_none() || self.number(names[1])?.is_none() {
            return Ok(UNKNOWN.to_owned());
        }
        Ok(format!("{} to {}", self.shown(names[0], kind, digits)?, self.shown(names[1], kind, digits)?))
    }

    /// A value in the unit its row states, with the unit.
    pub fn in_unit(&self, name: &str, units: Units) -> Read<String> {
        let Some(value) = self.number(name)? else { return Ok(UNKNOWN.to_owned()) };
        let (kind, si, digits) = self.stated(value)?;
        let figure = self.mark(si, kind, digits, name);
        Ok(match kind {
            Kind::Plain => figure,
            Kind::Share => format!("{figure} %"),
            _ => format!("{figure} {}", units.unit(kind)),
        })
    }

    /// "0.9 to 1.1" in the unit its row states.
    pub fn range_in_unit(&self, names: [&str; 2]) -> Read<String> {
        let Some((low, high)) = self.number(names[0])?.zip(self.number(names[1])?) else {
            return Ok(UNKNOWN.to_owned());
        };
        let end = |value: f64, name: &str| -> Read<String> {
            let (kind, si, digits) = self.stated(value)?;
            Ok(self.mark(si, kind, digits, name))
        };
        Ok(format!("{} to {}", end(low, names[0])?, end(high, names[1])?))
    }

    /// Kind, SI value and decimals of a number whose unit is a cell of its row.
    fn stated(&self, value: f64) -> Read<(Kind, f64, usize)> {
        Ok(match self.text("unit")? {
            "kW.h/[mi_i]" => (Kind::PerDistance, Kind::PerDistance.si_of("_kwh_mi", value), 3),
            "[mi_i]" => (Kind::Distance, Kind::Distance.si_of("_mi", value), 0),
            "1" => (Kind::Share, value, 1),
            _ => (Kind::Plain, value, 3),
        })
    }

    /// Where a number stands: table, row and column.
    pub fn cell(&self, column: &str) -> String {
        format!("{}.{}.{column}", self.table, self.at)
    }

    fn mark(&self, si: f64, kind: Kind, digits: usize, column: &str) -> String {
        of_cell(si, kind, digits, self.metric, &self.cell(column))
    }

    /// What several columns of words say, where they say anything.
    pub fn joined(&self, names: &[&str]) -> Read<String> {
        let mut parts = names.iter().map(|name| self.text(name)).collect::<Read<Vec<_>>>()?;
        parts.retain(|part| !part.is_empty());
        Ok(figure::prose(&parts.join("; ")))
    }

    /// What the row is about, of its columns that narrow it; the whole pilot where none does.
    pub fn scope(&self, names: &[&str]) -> Read<String> {
        let mut parts = Vec::new();
        for name in names {
            parts.push(if self.text(name)?.is_empty() { String::new() } else { self.words(name)? });
        }
        parts.retain(|part| !part.is_empty());
        Ok(if parts.is_empty() { "whole pilot".to_owned() } else { parts.join(", ") })
    }
}

/// True of a column that holds what a log or the pilot file calls a thing.
fn is_name(column: &str) -> bool {
    let names =
        ["route", "name", "group", "charger", "vehicle_type", "regen_level", "level_reference", "finding"];
    column.ends_with("_id") || names.contains(&column)
}

/// The kind of a column shown in the unit it is kept in.
fn as_kept(column: &str) -> Kind {
    if column.ends_with("_kwh") || column.ends_with("_kwh_day") { Kind::Energy } else { Kind::Plain }
}

/// At and above this a probability is told as "over 99".
pub const NEARLY_SURE: f64 = 0.995;

/// In percent; what would be rounded to certainty is not.
pub fn chance(probability: Option<f64>) -> String {
    match probability {
        None => UNKNOWN.to_owned(),
        Some(sure) if sure >= NEARLY_SURE => "over 99".to_owned(),
        Some(probability) => fixed(100.0 * probability, 0),
    }
}
