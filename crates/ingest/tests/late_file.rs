//! A log that comes late, for a month that was written before, changes what it would have changed had it been there from the start.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use backwatt_ingest::settings::{
    CellUnit, LogFile, MEMORY_BYTES, Mapping, Positive, Source, TimeKind, TimeSettings,
};
use backwatt_ingest::{Settings, run};
use backwatt_schema::unit::Unit;
use backwatt_store::{Layout, Provenance};

/// 2026-01-15 08:00 UTC.
const JANUARY_S: i64 = 1_768_464_000;
const DAY_S: i64 = 86_400;

/// An hour at 1 Hz of one vehicle, with a row twice, one late and one that is refused.
fn log(start_s: i64, vehicle: &str, speed: i64) -> String {
    let mut log = "t,v,id\n".to_owned();
    for second in 0..3600 {
        let late_s = if second == 900 { 5 } else { 0 };
        let _ = writeln!(log, "{},{}.{},{vehicle}", start_s + second - late_s, speed + second % 5, second % 10);
    }
    let _ = writeln!(log, "{},{speed},{vehicle}\nno time,{speed},{vehicle}", start_s + 10);
    log
}

fn settings(folder: &Path, names: &[&str]) -> Settings {
    let unit = |text: &str| Unit::parse(text).expect("a unit");
    let mapping = Mapping {
        signal: backwatt_ingest::signal::SPEED,
        names: vec!["v".to_owned()],
        unit: CellUnit::Plain(unit("m/s")),
        scale: 1.0,
        fill_forward: false,
        least: None,
        most: None,
        positive: Positive::Prove,
    };
    let file = |name: &&str| LogFile {
        path: folder.join(name),
        member: None,
        shown: (*name).to_owned(),
        vehicle: None,
    };
    Settings {
        sources: vec![Source {
            name: "s".to_owned(),
            files: names.iter().map(file).collect(),
            vehicle_column: Some("id".to_owned()),
            time: TimeSettings { columns: vec!["t".to_owned()], kind: TimeKind::Epoch(unit("s")), gps: None },
            columns: vec![mapping],
            ..Source::unmapped()
        }],
        time_earliest_ns: 0,
        time_latest_ns: i64::MAX,
        frozen_after_s: 10.0,
        memory_bytes: MEMORY_BYTES,
        elevation_tiles: None,
        loads: Vec::new(),
        shifts: Vec::new(),
        weather: None,
    }
}

/// Every file below a folder, by its path in it.
fn tree(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for path in std::fs::read_dir(next).expect("a folder").flatten().map(|entry| entry.path()) {
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder).expect("below it").to_owned();
                files.insert(name, std::fs::read(&path).expect("readable"));
            }
        }
    }
    files
}

#[test]
fn a_late_file_for_an_old_month_is_as_if_it_had_been_there() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let write = |name: &str, text: String| std::fs::write(folder.path().join(name), text).expect("writable");
    write("a.csv", log(JANUARY_S, "T1", 5));
    write("b.csv", log(JANUARY_S + 31 * DAY_S, "T1", 6));
    // Of the month of a.csv, its last ten minutes again with another speed, and on from there.
    write("late.csv", log(JANUARY_S + 3000, "T1", 9));
    let ingest = |out: &str, names: &[&str]| {
        let layout = Layout::new(folder.path().join(out));
        run(&settings(folder.path(), names), &layout, &Provenance::default(), &|_| ()).expect("it runs");
        tree(layout.root())
    };
    let two = ingest("grown", &["a.csv", "b.csv"]);
    let grown = ingest("grown", &["a.csv", "b.csv", "late.csv"]);
    let at_once = ingest("once", &["late.csv", "b.csv", "a.csv"]);
    let months =
        ["2026-01", "2026-02"].map(|m| Path::new("samples/vehicle=T1").join(m.to_owned() + ".parquet"));
    assert!(months.iter().all(|month| at_once.contains_key(month)), "{:?}", at_once.keys());
    assert!(two[&months[0]] != grown[&months[0]], "the late file is of the old month");
    assert!(two[&months[1]] == grown[&months[1]], "the other month stands");
    assert!(
        at_once.keys().any(|path| path.starts_with("rejects")) && at_once.len() >= 5,
        "{:?}",
        at_once.keys()
    );
    let names = |files: &BTreeMap<PathBuf, Vec<u8>>| files.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&grown), names(&at_once));
    for (path, bytes) in &at_once {
        assert!(grown[path] == *bytes, "{} differs", path.display());
    }
    // And back again: what came late can go.
    assert!(ingest("grown", &["a.csv", "b.csv"]) == two);
}
