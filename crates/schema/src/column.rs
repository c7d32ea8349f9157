use std::collections::HashMap;
use std::sync::Arc;

use arrow::datatypes::{DataType, Field, Schema, SchemaRef, TimeUnit};

/// The physical type of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    F64,
    U32,
    U64,
    Bool,
    Text,
    /// Nanoseconds since 1970-01-01 UTC; on a relative clock, nanoseconds since the log's own start.
    Time,
}

impl Kind {
    pub fn data_type(self) -> DataType {
        match self {
            Kind::F64 => DataType::Float64,
            Kind::U32 => DataType::UInt32,
            Kind::U64 => DataType::UInt64,
            Kind::Bool => DataType::Boolean,
            Kind::Text => DataType::Utf8,
            Kind::Time => DataType::Timestamp(TimeUnit::Nanosecond, Some("UTC".into())),
        }
    }
}

/// One column of one table: the single place where its name, type, unit, null rule, sign and meaning stand.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    pub name: &'static str,
    pub kind: Kind,
    /// UCUM; "1" for a plain number, "" for text, flags and times.
    pub unit: &'static str,
    /// When the value is null; empty means never.
    pub null: &'static str,
    /// Range or sign rule.
    pub sign: &'static str,
    pub meaning: &'static str,
}

impl Column {
    pub fn nullable(&self) -> bool {
        !self.null.is_empty()
    }

    fn field(&self) -> Field {
        let mut metadata = HashMap::new();
        for (key, value) in
            [("unit", self.unit), ("null", self.null), ("sign", self.sign), ("meaning", self.meaning)]
        {
            if !value.is_empty() {
                metadata.insert(key.to_owned(), value.to_owned());
            }
        }
        Field::new(self.name, self.kind.data_type(), self.nullable()).with_metadata(metadata)
    }
}

/// One table: what a row is, what it is sorted by, and its columns.
#[derive(Debug)]
pub struct Table {
    pub name: &'static str,
    /// Raised when a column changes its name, type, unit or meaning.
    pub version: u32,
    pub one_row_is: &'static str,
    pub sorted_by: &'static str,
    pub columns: &'static [Column],
}

impl Table {
    pub fn schema(&self) -> SchemaRef {
        let fields: Vec<Field> = self.columns.iter().map(Column::field).collect();
        let metadata = HashMap::from([
            ("backwatt.table".to_owned(), self.name.to_owned()),
            ("backwatt.table_version".to_owned(), self.version.to_string()),
        ]);
        Arc::new(Schema::new_with_metadata(fields, metadata))
    }

    pub fn column(&self, name: &str) -> Option<&'static Column> {
        self.columns.iter().find(|column| column.name == name)
    }
}

pub(crate) const fn number(
    name: &'static str,
    unit: &'static str,
    null: &'static str,
    sign: &'static str,
    meaning: &'static str,
) -> Column {
    Column { name, kind: Kind::F64, unit, null, sign, meaning }
}

pub(crate) const fn text(name: &'static str, null: &'static str, meaning: &'static str) -> Column {
    Column { name, kind: Kind::Text, unit: "", null, sign: "", meaning }
}

pub(crate) const fn flag(name: &'static str, null: &'static str, meaning: &'static str) -> Column {
    Column { name, kind: Kind::Bool, unit: "", null, sign: "", meaning }
}

pub(crate) const fn time(name: &'static str, meaning: &'static str) -> Column {
    Column { name, kind: Kind::Time, unit: "ns", null: "", sign: "", meaning }
}

pub(crate) const fn count(name: &'static str, null: &'static str, meaning: &'static str) -> Column {
    Column { name, kind: Kind::U64, unit: "1", null, sign: "0 or more", meaning }
}

pub(crate) const fn order(name: &'static str, meaning: &'static str) -> Column {
    Column { name, kind: Kind::U32, unit: "1", null: "", sign: "0 or more", meaning }
}
