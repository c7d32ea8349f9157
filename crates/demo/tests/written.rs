//! What a caller finds on disk: the small pilot, read back as bytes.

use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use backwatt_demo::{Made, Size, write};

fn small(seed: u64) -> (tempfile::TempDir, Made) {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let made = write(dir.path(), Size::Small, seed, &|_, _| {}).expect("a small pilot");
    (dir, made)
}

/// Every file below a folder with its bytes, by relative path.
fn files(root: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![root.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let bytes = fs::read(&path).expect("a file");
                found.insert(path.strip_prefix(root).expect("a path below").to_path_buf(), bytes);
            }
        }
    }
    found
}

/// Rows of a truth table by column name.
fn table(path: &Path) -> Vec<HashMap<String, String>> {
    let text = fs::read_to_string(path).expect("a truth file");
    let mut lines = text.lines();
    let names: Vec<&str> = lines.next().expect("a header").split(',').collect();
    let row =
        |line: &str| names.iter().map(ToString::to_string).zip(line.split(',').map(str::to_string)).collect();
    lines.map(row).collect()
}

fn number(row: &HashMap<String, String>, name: &str) -> f64 {
    row[name].parse().expect("a number")
}

/// A log's lines as text, Latin-1 read letter by letter.
fn log_lines(root: &Path, file: &str) -> Vec<String> {
    let bytes = fs::read(root.join(file)).expect("a log");
    let text: String = bytes.iter().map(|&byte| char::from(byte)).collect();
    text.split('\n').map(str::to_string).collect()
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
    let (first, _) = small(11);
    let (again, _) = small(11);
    let (other, _) = small(12);
    let first = files(first.path());
    assert!(first == files(again.path()));
    let other = files(other.path());
    let logs = |all: &BTreeMap<PathBuf, Vec<u8>>| {
        all.iter()
            .filter(|(path, _)| path.starts_with("logs"))
            .map(|(_, bytes)| bytes.clone())
            .collect::<Vec<_>>()
    };
    assert!(logs(&first).iter().zip(logs(&other)).all(|(one, two)| *one != two));
}

#[test]
fn what_was_made_is_what_lies_there() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let calls = AtomicUsize::new(0);
    let made = write(dir.path(), Size::Small, 3, &|done, total| {
        assert!(done <= total && total == 6);
        calls.fetch_add(1, Ordering::Relaxed);
    })
    .expect("a small pilot");
    assert_eq!((calls.into_inner(), made.vehicle_days), (6, 6));
    let logs = files(&dir.path().join("logs"));
    assert_eq!(made.log_files, logs.len());
    let lines: usize = logs.values().map(|bytes| bytes.iter().filter(|&&byte| byte == b'\n').count()).sum();
    // Headers, preambles, one repeated header; one last line has no end.
    assert_eq!(lines + 1, made.rows as usize + 3 + 2 * 3 + 1);
    assert!(made.pilot_file.is_file() && made.truth_dir.join("levels.csv").is_file());
    assert!(dir.path().join("README.md").is_file());
}

#[test]
fn energies_of_the_truth_are_in_order() {
    let (_dir, made) = small(1);
    for row in table(&made.truth_dir.join("vehicle_days.csv")) {
        let energy = |name: &str| number(&row, &format!("energy_{name}_kwh"));
        let by_cause = energy("kinetic") + energy("grade") + energy("rolling") + energy("aero");
        assert!((energy("tractive") - energy("braking") - by_cause).abs() < 1e-4);
        assert!((energy("regen_wheel") + energy("friction") - energy("braking")).abs() < 1e-4);
        assert!(energy("recovered") <= energy("recoverable") + 1e-6);
        assert!(energy("recovered") < energy("returned") && energy("returned") < energy("braking"));
        let miles = number(&row, "distance_m") / 1609.344;
        let use_per_mile = (energy("discharge_gross") - energy("recovered")) / miles;
        assert!((0.4..1.6).contains(&use_per_mile), "{use_per_mile} kWh/mile");
    }
}

#[test]
fn levels_add_up_to_their_day() {
    let (_dir, made) = small(1);
    let levels = table(&made.truth_dir.join("levels.csv"));
    for day in table(&made.truth_dir.join("vehicle_days.csv")) {
        let own = levels.iter().filter(|row| row["vehicle"] == day["vehicle"] && row["date"] == day["date"]);
        let sum: f64 = own.map(|row| number(row, "energy_recovered_kwh")).sum();
        assert!((sum - number(&day, "energy_recovered_kwh")).abs() < 1e-4);
    }
}

#[test]
fn logged_voltage_and_current_agree_with_the_truth() {
    let (dir, made) = small(1);
    let defects = table(&made.truth_dir.join("defects.csv"));
    let is_whole = |day: &HashMap<String, String>| {
        let mut own =
            defects.iter().filter(|row| row["vehicle"] == day["vehicle"] && row["date"] == day["date"]);
        !own.any(|row| ["logger_dropout", "frozen_bus"].contains(&row["kind"].as_str()))
    };
    let days = table(&made.truth_dir.join("vehicle_days.csv"));
    let day = days.iter().find(|day| is_whole(day)).expect("a day logged without a break");
    let trucks = table(&made.truth_dir.join("vehicles.csv"));
    let truck = trucks.iter().find(|truck| truck["vehicle"] == day["vehicle"]).expect("its truck");
    let offset_a = number(truck, "current_offset_a");
    let file = format!("logs/harbour/{}/{}.csv", day["vehicle"], day["date"]);
    let logged_j: f64 = log_lines(dir.path(), &file)
        .iter()
        .filter_map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            Some(cells.get(6)?.parse::<f64>().ok()? * (cells.get(7)?.parse::<f64>().ok()? - offset_a))
        })
        .sum();
    let true_kwh = number(day, "energy_discharge_gross_kwh")
        - number(day, "energy_recovered_kwh")
        - number(day, "energy_auxiliary_key_off_kwh");
    // A few doubled rows, and current read as momentary values, stand between the two.
    assert!((logged_j / 3.6e6 / true_kwh - 1.0).abs() < 0.02, "{} of {true_kwh} kWh", logged_j / 3.6e6);
}

#[test]
fn every_listed_defect_is_in_the_logs() {
    (1..=5).for_each(check_defects);
}

fn check_defects(seed: u64) {
    let (dir, made) = small(seed);
    let defects = table(&made.truth_dir.join("defects.csv"));
    let mut kinds: Vec<&str> = defects.iter().map(|row| row["kind"].as_str()).collect();
    kinds.sort_unstable();
    kinds.dedup();
    assert_eq!(kinds.len(), 12, "{kinds:?}");
    for row in &defects {
        let lines = log_lines(dir.path(), &row["file"]);
        let line = number(row, "line") as usize - 1;
        let rows = number(row, "rows") as usize;
        let at = |index: usize| lines[line + index].as_str();
        let is_comma = row["file"].contains("harbour");
        let separator = if is_comma { ',' } else { ';' };
        let cells = |text: &str| text.split(separator).map(str::to_string).collect::<Vec<_>>();
        let time = |text: &str| cells(text)[..if is_comma { 1 } else { 2 }].concat();
        let (lat, soc) = if is_comma { (2, 5) } else { (3, 6) };
        let header = if is_comma { lines[0].as_str() } else { lines[2].as_str() };
        let is_there = match row["kind"].as_str() {
            "duplicate_rows" => (0..rows).all(|index| at(2 * index) == at(2 * index + 1)),
            "rows_out_of_order" => (1..rows).all(|index| time(at(index)) < time(at(index - 1))),
            "truncated_last_line" => lines.len() == line + 1 && cells(at(0)).len() < cells(header).len(),
            "tunnel_without_gps" => cells(at(0))[lat].is_empty(),
            "logger_dropout" => time(at(0)) != time(&lines[line - 1]),
            "bogus_year" => (0..rows).all(|index| cells(at(index))[0].contains(&row["detail"])),
            "frozen_bus" => {
                let held = |index: usize| cells(at(index))[if is_comma { 1 } else { 2 }..].concat();
                (1..rows).all(|index| held(index) == held(0) && time(at(index)) > time(at(index - 1)))
            }
            "text_garbage" => (0..rows).all(|index| at(index).contains("#ERR")),
            "speed_spike" => at(0).replace(',', ".").contains("655.35"),
            "empty_state_of_charge" => (0..rows).all(|index| cells(at(index))[soc].is_empty()),
            "repeated_header" => at(0) == header,
            "ragged_row" => cells(at(0)).len() < cells(header).len(),
            other => panic!("unknown kind {other}"),
        };
        assert!(is_there, "{row:?}: {}", at(0));
    }
}

#[test]
fn a_folder_that_cannot_be_made_is_an_error_with_its_path() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let blocked = dir.path().join("a file");
    fs::write(&blocked, "here").expect("a file");
    let error = write(&blocked, Size::Small, 1, &|_, _| {}).expect_err("a file is no folder");
    assert!(error.to_string().contains("a file"));
}
