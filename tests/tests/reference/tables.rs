//! Reference tables as written in their files.

use std::collections::HashMap;
use std::path::Path;

use backwatt_schema::unit::Unit;
use backwatt_testkit::fixture;

/// Rows of a small file without quotes: `#` comments, one header, cells by column name.
pub fn rows(path: &Path) -> Vec<HashMap<String, String>> {
    let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let mut lines = text.lines().filter(|line| !line.starts_with('#'));
    let header: Vec<&str> = lines.next().unwrap_or_default().split(',').collect();
    let row =
        |line: &str| header.iter().map(|h| (*h).to_owned()).zip(line.split(',').map(str::to_owned)).collect();
    let rows: Vec<_> = lines.map(row).collect();
    assert!(!rows.is_empty(), "{} holds no rows", path.display());
    rows
}

/// A cell as a number.
#[track_caller]
pub fn number(row: &HashMap<String, String>, name: &str) -> f64 {
    let cell = row.get(name).unwrap_or_else(|| panic!("no column {name}"));
    cell.parse().unwrap_or_else(|_| panic!("{name}: {cell:?} is no number"))
}

/// One column as numbers.
pub fn column(path: &Path, name: &str) -> Vec<f64> {
    rows(path).iter().map(|row| number(row, name)).collect()
}

/// A cycle's speeds at each second, as tabulated. [mph]
pub fn cycle_mph(name: &str) -> Vec<f64> {
    column(&fixture(&format!("reference/cycles/{name}.csv")), "speed_mph")
}

/// The same in SI. [m/s]
pub fn cycle(name: &str) -> Vec<f64> {
    in_m_s(&cycle_mph(name), "mph")
}

/// Speeds of the WLTC, class 3b, where the table is at hand: it is licensed otherwise than this repository. [km/h]
pub fn wltc_km_h(test: &str) -> Option<Vec<f64>> {
    let place = "reference/cycles/wltc_class3b.csv";
    let Some(path) = backwatt_testkit::shared(place) else {
        backwatt_testkit::skipped(test, place);
        return None;
    };
    Some(column(&path, "speed_kmh"))
}

pub fn in_m_s(speeds: &[f64], unit: &str) -> Vec<f64> {
    let unit = Unit::parse(unit).unwrap_or_else(|| panic!("{unit} is no unit"));
    speeds.iter().map(|speed| unit.to_si(*speed)).collect()
}
