//! The truth beside a trial pilot.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::{Context as _, Result};
use backwatt_demo::trial::TRUCK;

/// What really happened. [kWh]
#[derive(Debug, Default, PartialEq)]
pub struct Truth {
    /// The trial's truck alone.
    pub braking_kwh: f64,
    pub recovered_kwh: f64,
    /// Recovered energy by regen level, of all trucks of the pilot, as the answer table groups it.
    pub levels_kwh: BTreeMap<String, f64>,
}

pub fn read(folder: &Path) -> Result<Truth> {
    let mut truth = Truth::default();
    for row in rows(&folder.join("vehicle_days.csv"))? {
        if row.text("vehicle")? == TRUCK {
            truth.braking_kwh += row.number("energy_braking_kwh")?;
            truth.recovered_kwh += row.number("energy_recovered_kwh")?;
        }
    }
    for row in rows(&folder.join("levels.csv"))? {
        *truth.levels_kwh.entry(row.text("regen_level")?.to_owned()).or_default() +=
            row.number("energy_recovered_kwh")?;
    }
    Ok(truth)
}

struct Row(BTreeMap<String, String>);

impl Row {
    fn text(&self, name: &str) -> Result<&str> {
        self.0.get(name).map(String::as_str).with_context(|| format!("the truth has no column {name}"))
    }

    fn number(&self, name: &str) -> Result<f64> {
        let text = self.text(name)?;
        text.parse().with_context(|| format!("\"{text}\" in {name} is no number"))
    }
}

/// The truth files quote nothing.
fn rows(path: &Path) -> Result<Vec<Row>> {
    let text = std::fs::read_to_string(path).with_context(|| format!("{}", path.display()))?;
    let mut lines = text.lines();
    let names: Vec<&str> = lines.next().unwrap_or_default().split(',').collect();
    let row = |line: &str| {
        Row(names.iter().copied().map(str::to_owned).zip(line.split(',').map(str::to_owned)).collect())
    };
    Ok(lines.map(row).collect())
}
