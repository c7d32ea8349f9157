//! What is written: logs, pilot file, truth and a note on all of it.

pub mod charge_sessions;
pub mod pilot_file;
pub mod readme;
pub mod sheets;
pub mod truck_logs;
pub mod truth;
