//! The loggers: sensors with their faults, two file formats, and the defects that real logs have.

pub mod columns;
pub mod defect_plan;
pub mod defects;
pub mod lines;
pub mod reading;
pub mod text;
