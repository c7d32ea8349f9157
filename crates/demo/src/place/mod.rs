//! The made-up place: its hills, its roads, its routes and its weather.

pub mod road;
pub mod routes;
pub mod terrain;
pub mod weather;

/// The town keeps the time of `Etc/GMT+2`, two hours behind UTC.
pub const LOCAL_BEHIND_UTC_S: i64 = 7200;
