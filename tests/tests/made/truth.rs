//! The made-up pilot, small, run once; and its truth.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use backwatt::{DemoSize, tables};
use backwatt_testkit::Table;

pub struct Made {
    pub folder: tempfile::TempDir,
    pub truth: PathBuf,
    pub vehicles: Vec<String>,
    pub out: PathBuf,
}

pub static SMALL: LazyLock<Made> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let made =
        backwatt::make_demo(folder.path(), DemoSize::Small, 1, &backwatt::silent).expect("the demo runs");
    Made { truth: made.truth_dir, out: made.out, vehicles: made.outcome.vehicles, folder }
});

impl Made {
    pub fn per_vehicle(&self, table: &'static backwatt_schema::Table) -> Table {
        let layout = backwatt_store::Layout::new(&self.out);
        let paths: Vec<PathBuf> = self.vehicles.iter().map(|v| layout.vehicle_table(table, v)).collect();
        Table::read(&paths, table)
    }

    pub fn recovery(&self) -> Table {
        Table::read(&[backwatt_store::Layout::new(&self.out).table(&tables::RECOVERY)], &tables::RECOVERY)
    }

    /// Days of a vehicle on which its logger neither dropped out nor froze: what was driven was logged.
    pub fn whole_days(&self, vehicle: &str) -> Vec<String> {
        let defects = rows(&self.truth.join("defects.csv"));
        let torn = |day: &str| {
            defects.iter().any(|row| {
                row["vehicle"] == vehicle
                    && row["date"] == day
                    && matches!(row["kind"].as_str(), "logger_dropout" | "frozen_bus")
            })
        };
        let days = rows(&self.truth.join("vehicle_days.csv"));
        let of_vehicle = days.iter().filter(|row| row["vehicle"] == vehicle).map(|row| row["date"].clone());
        of_vehicle.filter(|day| !torn(day)).collect()
    }

    /// Sum of a truth column over some days of one vehicle.
    pub fn truth_sum(&self, vehicle: &str, days: &[String], column: &str) -> f64 {
        rows(&self.truth.join("vehicle_days.csv"))
            .iter()
            .filter(|row| row["vehicle"] == vehicle && days.contains(&row["date"]))
            .map(|row| row[column].parse::<f64>().expect("a number"))
            .sum()
    }

    /// A fact of the truth about one vehicle.
    pub fn truth_of(&self, vehicle: &str, column: &str) -> f64 {
        let vehicles = rows(&self.truth.join("vehicles.csv"));
        let row = vehicles.iter().find(|row| row["vehicle"] == vehicle).expect("the vehicle");
        row[column].parse().expect("a number")
    }
}

/// Rows of a truth file by column name. Truth files hold no quotes.
pub fn rows(path: &Path) -> Vec<BTreeMap<String, String>> {
    let text = std::fs::read_to_string(path).expect("truth is written");
    let mut lines = text.lines();
    let names: Vec<&str> = lines.next().expect("a header").split(',').collect();
    lines
        .map(|line| names.iter().map(|n| (*n).to_owned()).zip(line.split(',').map(str::to_owned)).collect())
        .collect()
}
