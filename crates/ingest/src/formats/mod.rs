//! Log formats: each turns one file into records of text cells under names that are fixed for the file.

pub mod can;
pub mod mdf;
pub mod nmea;

use std::collections::BTreeMap;
use std::io;

use crate::fields::Fields;
use crate::rows::RowText;

/// The records of one file.
pub trait Records {
    /// The names of the fields, fixed for the file.
    fn names(&self) -> &[String];

    /// The next record: its cells as text, empty where there is no value.
    fn next(&mut self, fields: &mut Fields) -> io::Result<RowText>;

    /// What the file holds beside rows of this log, by kind: other sentences, frames without a mapped signal.
    fn passed_over(&self) -> BTreeMap<&'static str, u64> {
        BTreeMap::new()
    }
}
