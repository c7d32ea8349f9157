//! Memory is bounded by a setting, not by the log. A binary of its own, because the peak is the process's.
//!
//! `BACKWATT_LOG_MB=2048 cargo test -p backwatt-ingest --test memory -- --nocapture` tries two gigabytes.

#![cfg(target_os = "linux")]

use std::io::{BufWriter, Write};
use std::path::Path;

use backwatt_ingest::settings::{CellUnit, LogFile, Mapping, Positive, Source, TimeKind, TimeSettings};
use backwatt_ingest::{Settings, run, signal};
use backwatt_schema::unit::Unit;
use backwatt_store::{Layout, Provenance};

/// Rows a second apart of so many vehicles in turn, until the file is as large as wanted. Gives the rows.
fn write_log(path: &Path, vehicles: u64, bytes: u64) -> u64 {
    let mut log = BufWriter::with_capacity(1 << 20, std::fs::File::create(path).expect("makable"));
    let header = "t,id,v,lat,lon,soc,amps,volts\n";
    log.write_all(header.as_bytes()).expect("writable");
    let (mut written, mut row) = (header.len() as u64, 0);
    while written < bytes {
        let second = row / vehicles;
        let speed = 10.0 + (second % 600) as f64 / 100.0;
        let lat = 1.0 + (second % 80_000) as f64 * 1e-4;
        let line = format!(
            "{},T{:02},{speed:.2},{lat:.6},30.123456,{:.2},{:.2},351.{}\n",
            1_700_000_000 + second,
            row % vehicles,
            90.0 - (second % 8000) as f64 / 100.0,
            (second % 600) as f64 / 3.0 - 60.0,
            second % 10
        );
        log.write_all(line.as_bytes()).expect("writable");
        written += line.len() as u64;
        row += 1;
    }
    log.flush().expect("writable");
    row
}

fn settings(log: &Path, memory_bytes: u64) -> Settings {
    let unit = |text: &str| CellUnit::Plain(Unit::parse(text).expect("a unit"));
    let mapping = |(name, column, text): &(&str, &str, &str)| Mapping {
        signal: signal::position(name).expect("a signal"),
        names: vec![(*column).to_owned()],
        unit: unit(text),
        scale: 1.0,
        fill_forward: false,
        least: None,
        most: None,
        positive: Positive::Discharge,
    };
    let columns = [
        ("speed", "v", "m/s"),
        ("latitude", "lat", "deg"),
        ("longitude", "lon", "deg"),
        ("state_of_charge", "soc", "%"),
        ("pack_current", "amps", "A"),
        ("pack_voltage", "volts", "V"),
    ];
    let file = LogFile { path: log.to_owned(), member: None, shown: "log.csv".to_owned(), vehicle: None };
    let source = Source {
        name: "s".to_owned(),
        files: vec![file],
        vehicle_column: Some("id".to_owned()),
        time: TimeSettings {
            columns: vec!["t".to_owned()],
            kind: TimeKind::Epoch(Unit::parse("s").expect("a unit")),
            gps: None,
        },
        columns: columns.iter().map(mapping).collect(),
        ..Source::unmapped()
    };
    Settings {
        sources: vec![source],
        time_earliest_ns: 0,
        time_latest_ns: i64::MAX,
        frozen_after_s: 10.0,
        memory_bytes,
        elevation_tiles: None,
        loads: Vec::new(),
        shifts: Vec::new(),
        weather: None,
    }
}

/// Peak resident memory of this process. [bytes]
fn peak_bytes() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("Linux tells");
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).expect("a peak");
    let kib: u64 = line.split_whitespace().nth(1).and_then(|kib| kib.parse().ok()).expect("a number");
    kib * 1024
}

#[test]
fn the_peak_stays_below_the_setting() {
    let large: Option<u64> = std::env::var("BACKWATT_LOG_MB").ok().and_then(|text| text.parse().ok());
    // A vehicle of a million rows takes some 800 MB where it is held whole.
    let (megabytes, memory_bytes) = large.map_or((64, 256 << 20), |megabytes| (megabytes, 1 << 30));
    for vehicles in [50, 1] {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let log = folder.path().join("log.csv");
        let rows = write_log(&log, vehicles, megabytes << 20);
        let layout = Layout::new(folder.path().join("out"));
        let begun = std::time::Instant::now();
        let outcome =
            run(&settings(&log, memory_bytes), &layout, &Provenance::default(), &|_| ()).expect("it runs");
        assert_eq!(outcome.receipts[0].rows_kept, rows);
        let peak = peak_bytes();
        eprintln!(
            "{megabytes} MiB, {rows} rows, {vehicles} vehicles: peak {} MiB, setting {} MiB, {:.0} s",
            peak >> 20,
            memory_bytes >> 20,
            begun.elapsed().as_secs_f64()
        );
        assert!(peak < memory_bytes, "{} MiB at the peak", peak >> 20);
    }
}
