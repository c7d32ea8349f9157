//! What every other crate agrees on: the columns of every table, the units table, and problems as data.
//!
//! Deliberately absent: files, clocks, settings, any computation on a batch. This crate says what a number is
//! called and what it means; nothing here makes one.

pub mod batch;
mod column;
pub mod dictionary;
mod evidence;
mod problem;
mod rules;
pub mod tables;
pub mod unit;

pub use batch::{BatchBuilder, BatchError, BatchView, number_at, text_at};
pub use column::{Column, Kind, Table};
pub use evidence::Evidence;
pub use problem::{Place, Problem, Severity, nearest};
pub use rules::rule_meaning;

/// Joules in a kilowatt hour; energy becomes kWh once, where a table is built.
pub const JOULES_PER_KWH: f64 = 3.6e6;
/// Metres in an international mile (exact, 1959 agreement).
pub const METRES_PER_MILE: f64 = 1609.344;
/// Kilograms in a short ton of 2000 lb (exact), the ton of a ton-mile here.
pub const KILOGRAMS_PER_SHORT_TON: f64 = 907.184_74;
/// Nanoseconds in a second.
pub const NANOSECONDS_PER_SECOND: f64 = 1e9;
