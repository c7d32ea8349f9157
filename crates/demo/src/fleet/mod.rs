//! The made-up fleet: vehicle types, trucks, the people who drive them, and who drives what on which day.

pub mod drivers;
pub mod roster;
pub mod trucks;
pub mod types;
