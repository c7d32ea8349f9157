use std::path::Path;

use backwatt::{Outcome, ReportOptions, Run};
use backwatt_schema::Table as Described;
use tempfile::TempDir;

use crate::Table;

/// A pilot that ran into a folder of its own, which lasts as long as this value.
pub struct Ran {
    pub run: Run,
    pub outcome: Outcome,
    _folder: TempDir,
}

/// Runs a pilot file on the logs of another folder: a fixture's sheet serves its excerpt and the whole data set.
///
/// Panics with the problems found: it is for tests.
pub fn run_pilot(pilot_file: &Path, logs: &Path) -> Ran {
    let text = std::fs::read_to_string(pilot_file).unwrap_or_else(|e| panic!("{}: {e}", pilot_file.display()));
    let shown = pilot_file.display().to_string();
    let pilot = backwatt_pilot::parse(&text, &shown, logs).unwrap_or_else(|problems| panic!("{problems:#?}"));
    let folder = tempfile::tempdir().unwrap_or_else(|e| panic!("no temporary folder: {e}"));
    let run = Run::new(pilot, folder.path());
    let outcome = run.all(&backwatt::silent, ReportOptions::default()).unwrap_or_else(|e| panic!("{e}"));
    Ran { run, outcome, _folder: folder }
}

impl Ran {
    /// A table of the run; per-vehicle tables put together in the order of the vehicles.
    pub fn table(&self, table: &'static Described) -> Table {
        let layout = &self.run.layout;
        let whole = layout.table(table);
        let paths = if whole.exists() {
            vec![whole]
        } else {
            self.outcome.vehicles.iter().map(|vehicle| layout.vehicle_table(table, vehicle)).collect()
        };
        Table::read(&paths, table)
    }

    /// All refusals of the run.
    pub fn rejects(&self) -> Table {
        let folder = self.run.layout.root().join("rejects");
        let mut paths: Vec<_> = std::fs::read_dir(folder)
            .map(|entries| entries.flatten().map(|e| e.path()).collect())
            .unwrap_or_default();
        paths.sort();
        Table::read(&paths, &backwatt::tables::REJECTS)
    }

    /// Samples of one vehicle.
    pub fn samples(&self, vehicle: &str) -> Table {
        let folder = self.run.layout.samples_folder(vehicle);
        let mut paths: Vec<_> = std::fs::read_dir(folder)
            .map(|entries| entries.flatten().map(|e| e.path()).collect())
            .unwrap_or_default();
        paths.sort();
        Table::read(&paths, &backwatt::tables::SAMPLES)
    }
}
