//! What a stage was last run on. No stamp, or another: the stage runs.

use backwatt_store::{Layout, StoreError, write_bytes};
use serde::{Deserialize, Serialize};

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamp {
    pub inputs: String,
    pub vehicles: Vec<String>,
}

pub fn read(layout: &Layout, stage: &str) -> Option<Stamp> {
    serde_json::from_slice(&std::fs::read(layout.stamp(stage)).ok()?).ok()
}

/// Removed before a stage starts: an interrupted stage has none.
pub fn clear(layout: &Layout, stage: &str) {
    let _ = std::fs::remove_file(layout.stamp(stage));
}

pub fn write(layout: &Layout, stage: &str, stamp: &Stamp) -> Result<(), StoreError> {
    let text = serde_json::to_string_pretty(stamp).unwrap_or_default();
    write_bytes(&layout.stamp(stage), text.as_bytes())
}
