//! Arrow columns as polars columns.
//!
//! Copied rather than handed over through the C Data Interface: only a dozen columns of `segments` pass here, and
//! copying keeps the crate free of unsafe code.

use arrow::array::{Array, StringArray};
use polars::prelude::{Column, IntoColumn, NamedFrom, PlSmallStr, Series};

/// Millijoules in a kilowatt hour.
const MILLIJOULES_PER_KWH: f64 = 3.6e9;

pub fn text_column(name: &str, array: &StringArray) -> Column {
    let values: Vec<Option<&str>> =
        (0..array.len()).map(|i| array.is_valid(i).then(|| array.value(i))).collect();
    Series::new(PlSmallStr::from_str(name), values).into_column()
}

/// Energies as whole millijoules: sums of integers do not depend on the order threads add them in.
pub fn energy_column(name: &str, kwh: impl Iterator<Item = Option<f64>>) -> Column {
    let values: Vec<Option<i64>> =
        kwh.map(|v| v.map(|kwh| (kwh * MILLIJOULES_PER_KWH).round() as i64)).collect();
    Series::new(PlSmallStr::from_str(name), values).into_column()
}

pub fn to_kwh(millijoules: i64) -> f64 {
    millijoules as f64 / MILLIJOULES_PER_KWH
}
