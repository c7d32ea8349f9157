//! One data set run through its pilot file, all its tables in memory.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use backwatt::{Pilot, tables};
use backwatt_schema::BatchView;
use backwatt_testkit::{Table, fixture, run_pilot, shared, skipped};

/// Joules in a kilowatt-hour.
pub const KWH_J: f64 = 3.6e6;

pub struct Set {
    pub receipts: Table,
    pub rejects: Table,
    pub trips: Table,
    pub segments: Table,
    pub battery: Table,
    pub events: Table,
    pub charges: Table,
    pub recovery: Table,
    pub calibration: Table,
    pub samples: BTreeMap<String, Table>,
    pilot: Pilot,
}

impl Set {
    /// Runs a pilot file on a folder of logs.
    pub fn run(pilot_file: &Path, logs: &Path) -> Self {
        let ran = run_pilot(pilot_file, logs);
        let samples = ran.outcome.vehicles.iter().map(|v| (v.clone(), ran.samples(v))).collect();
        Self {
            receipts: ran.table(&tables::RECEIPTS),
            rejects: ran.rejects(),
            trips: ran.table(&tables::TRIPS),
            segments: ran.table(&tables::SEGMENTS),
            battery: ran.table(&tables::SEGMENT_BATTERY),
            events: ran.table(&tables::BRAKING_EVENTS),
            charges: ran.table(&tables::CHARGES),
            recovery: ran.table(&tables::RECOVERY),
            calibration: ran.table(&tables::CALIBRATION),
            samples,
            pilot: ran.run.pilot.clone(),
        }
    }

    /// The excerpt beside a fixture's pilot file.
    pub fn excerpt(name: &str) -> Self {
        let folder = fixture("real").join(name);
        Self::run(&folder.join("pilot.toml"), &folder)
    }

    /// The excerpt with its speed as logged and some keys of its pilot file left out.
    pub fn excerpt_as_logged(name: &str, keys: &[&str]) -> Self {
        let folder = fixture("real").join(name);
        let kept = pilot_without(name, keys);
        Self::run_text(&(kept + "\n[replay]\nspeed = \"as logged\"\n"), &folder)
    }

    /// Runs the text of a pilot file on a folder of logs.
    pub fn run_text(pilot: &str, logs: &Path) -> Self {
        let place = tempfile::tempdir().expect("a temporary folder");
        let pilot_file = place.path().join("pilot.toml");
        std::fs::write(&pilot_file, pilot).expect("the copy can be written");
        Self::run(&pilot_file, logs)
    }

    /// The whole data set, where it is: the pilot file of a fixture on a folder of the shared data.
    pub fn whole(pilot: &str, data: &str) -> Option<Self> {
        let logs = shared(&format!("data/{data}"))?;
        Some(Self::run(&fixture(pilot).join("pilot.toml"), &logs))
    }

    /// Power between the samples of a vehicle, by its own sheet.
    pub fn power_trace(&self, vehicle: &str) -> Table {
        let (_, vehicle_type) = self.pilot.type_of(vehicle).expect("the vehicle has a type");
        let samples = &self.samples[vehicle].batch;
        let trace = backwatt_physics::power_trace(vehicle, samples, &vehicle_type.sheet, &self.pilot.replay);
        Table::new(trace.expect("the samples were replayed before"), &tables::POWER_TRACE)
    }

    /// First and last instant of each file of a vehicle.
    pub fn file_times(&self, vehicle: &str) -> BTreeMap<String, (i64, i64)> {
        let samples = &self.samples[vehicle];
        let mut times: BTreeMap<String, (i64, i64)> = BTreeMap::new();
        for (file, at) in samples.texts("source_file").into_iter().zip(samples.times("time_ns")) {
            let file = file.expect("a sample names its file");
            let ends = times.entry(file).or_insert((at, at));
            *ends = (ends.0.min(at), ends.1.max(at));
        }
        times
    }

    /// Rows of a vehicle's table that begin within a file's time. Files of one vehicle do not overlap in these sets.
    pub fn rows_of_file(&self, table: &Table, vehicle: &str, file: &str) -> BTreeSet<usize> {
        let (first, last) = self.file_times(vehicle)[file];
        let vehicles = table.texts("vehicle_id");
        let starts = table.times("time_start_ns");
        (0..table.rows())
            .filter(|&row| vehicles[row].as_deref() == Some(vehicle))
            .filter(|&row| (first..=last).contains(&starts[row]))
            .collect()
    }

    /// Sum of a column of segments over one file; unknown values are left out.
    pub fn file_sum(&self, vehicle: &str, file: &str, column: &str) -> f64 {
        let values = self.segments.numbers(column);
        self.rows_of_file(&self.segments, vehicle, file).into_iter().filter_map(|row| values[row]).sum()
    }

    /// A figure of the answer table.
    pub fn answer(&self, grouping: &str, group: &str, column: &str) -> Option<f64> {
        self.recovery.numbers(column)[self.answer_row(grouping, group)]
    }

    pub fn answer_row(&self, grouping: &str, group: &str) -> usize {
        let (groupings, groups) = (self.recovery.texts("grouping"), self.recovery.texts("group"));
        (0..self.recovery.rows())
            .find(|&row| groupings[row].as_deref() == Some(grouping) && groups[row].as_deref() == Some(group))
            .unwrap_or_else(|| panic!("no answer for {grouping} {group}"))
    }

    /// A count of the receipt of one file.
    pub fn receipt(&self, file: &str, column: &str) -> u64 {
        self.receipts.counts(column)[self.receipt_row(file)]
    }

    pub fn receipt_row(&self, file: &str) -> usize {
        let files = self.receipts.texts("source_file");
        files.iter().position(|f| f.as_deref() == Some(file)).unwrap_or_else(|| panic!("no receipt of {file}"))
    }

    /// Asserts that every file's battery signal was proved to count so.
    pub fn sign_is_proved(&self, positive: &str) {
        for sign in self.receipts.texts("current_sign") {
            let sign = sign.expect("a battery signal is mapped");
            assert!(sign.contains(&format!("positive is {positive}, proved")), "{sign}");
        }
    }
}

/// The text of a fixture's pilot file with some keys left out.
pub fn pilot_without(name: &str, keys: &[&str]) -> String {
    let pilot_file = fixture("real").join(name).join("pilot.toml");
    let text = std::fs::read_to_string(pilot_file).expect("the fixture has a pilot file");
    let starts = |line: &str| keys.iter().any(|key| line.starts_with(&format!("{key} =")));
    let kept: Vec<&str> = text.lines().filter(|line| !starts(line)).collect();
    assert_eq!(kept.len() + keys.len(), text.lines().count(), "each of {keys:?} stands once in the pilot file");
    kept.join("\n")
}

/// A true-or-false column; unknown counts as false.
pub fn flags(table: &Table, described: &'static backwatt_schema::Table, name: &str) -> Vec<bool> {
    let view = BatchView::new(described, &table.batch);
    let array = view.flags(name).expect("a flag column");
    array.iter().map(|flag| flag == Some(true)).collect()
}

/// The set, or a loud word that its tests were skipped.
pub fn present<'a>(set: &'a Option<Set>, test: &str, data: &str) -> Option<&'a Set> {
    if set.is_none() {
        skipped(test, &format!("data/{data}"));
    }
    set.as_ref()
}

/// Rows of a table of the shared data without quotes, by column name.
pub fn csv_rows(path: &Path) -> Vec<BTreeMap<String, String>> {
    let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let mut lines = text.lines();
    let names: Vec<&str> = lines.next().expect("a header").split(',').collect();
    lines
        .map(|line| names.iter().map(|n| (*n).to_owned()).zip(line.split(',').map(str::to_owned)).collect())
        .collect()
}

/// `SANITY.csv` of a data set: figures worked out from the raw files by a left-rectangle rule.
pub fn sanity(data: &str) -> Vec<BTreeMap<String, String>> {
    csv_rows(&shared_file(data, "SANITY.csv"))
}

pub fn shared_file(data: &str, file: &str) -> PathBuf {
    shared(&format!("data/{data}/{file}")).unwrap_or_else(|| panic!("{data}/{file} lies beside the data"))
}

/// A number of a row of [`csv_rows`].
pub fn figure(row: &BTreeMap<String, String>, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|e| panic!("{column} = {:?}: {e}", row[column]))
}

/// What flows into a battery between two samples when its power lies on a straight line between them. Positive leaves.
pub fn linear_inflow_kwh(before_w: f64, now_w: f64, duration_ns: i64) -> f64 {
    let seconds = duration_ns as f64 * 1e-9;
    let (low, high) = (before_w.min(now_w), before_w.max(now_w));
    let joules = if high <= 0.0 {
        -f64::midpoint(low, high) * seconds
    } else if low >= 0.0 {
        0.0
    } else {
        // The triangle below zero.
        0.5 * low * low / (high - low) * seconds
    };
    joules / KWH_J
}
