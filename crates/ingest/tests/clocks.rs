//! What a logger's clock does to its rows: summer time beginning and ending.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use backwatt_ingest::settings::{
    CellUnit, LogFile, MEMORY_BYTES, Mapping, Positive, Source, TimeKind, TimeSettings,
};
use backwatt_ingest::{Outcome, Receipt, Settings, run};
use backwatt_schema::tables::{REJECTS, SAMPLES};
use backwatt_schema::unit::Unit;
use backwatt_schema::{BatchView, Table};
use backwatt_store::{Layout, Provenance, read_table};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

const FORMAT: &str = "%Y-%m-%dT%H:%M:%S";

fn zurich() -> TimeZone {
    TimeZone::get("Europe/Zurich").expect("a zone")
}

fn local() -> TimeKind {
    TimeKind::Local { format: FORMAT.to_owned(), zone: zurich() }
}

fn on_the_wall(stamp: Timestamp) -> String {
    zurich().to_datetime(stamp).to_string()
}

fn stamp(text: &str) -> Timestamp {
    text.parse().expect("an instant")
}

fn settings(log: &Path, time: TimeSettings) -> Settings {
    let mapping = Mapping {
        signal: backwatt_ingest::signal::SPEED,
        names: vec!["v".to_owned()],
        unit: CellUnit::Plain(Unit::parse("m/s").expect("a unit")),
        scale: 1.0,
        fill_forward: false,
        least: None,
        most: None,
        positive: Positive::Prove,
    };
    let file = LogFile { path: log.to_owned(), member: None, shown: "log.csv".to_owned(), vehicle: None };
    Settings {
        sources: vec![Source {
            name: "s".to_owned(),
            files: vec![file],
            vehicle_column: Some("id".to_owned()),
            time,
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

struct Ingested {
    outcome: Outcome,
    folder: tempfile::TempDir,
}

impl Ingested {
    fn receipt(&self) -> &Receipt {
        &self.outcome.receipts[0]
    }

    /// Every file of samples by its name, as bytes.
    fn samples(&self, vehicle: &str) -> BTreeMap<PathBuf, Vec<u8>> {
        let folder = self.layout().samples_folder(vehicle);
        let files = std::fs::read_dir(folder).expect("samples").flatten();
        files.map(|entry| (entry.file_name().into(), std::fs::read(entry.path()).expect("readable"))).collect()
    }

    fn times_ns(&self, vehicle: &str, month: &str) -> Vec<i64> {
        let path = self.layout().samples_folder(vehicle).join(format!("{month}.parquet"));
        let batch = read_table(&path, &SAMPLES).expect("readable");
        BatchView::new(&SAMPLES, &batch).times("time_ns").expect("a column").values().to_vec()
    }

    fn reasons(&self) -> Vec<String> {
        let table: &'static Table = &REJECTS;
        let batch = read_table(&self.layout().rejects_of_file("log.csv"), table).expect("readable");
        let view = BatchView::new(table, &batch);
        let reasons = view.texts("reason").expect("a column");
        (0..view.rows()).map(|row| reasons.value(row).to_owned()).collect()
    }

    fn layout(&self) -> Layout {
        Layout::new(self.folder.path().join("out"))
    }
}

fn ingest(log: &str, time: TimeSettings) -> Ingested {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("log.csv");
    std::fs::write(&path, log).expect("writable");
    let layout = Layout::new(folder.path().join("out"));
    let outcome = run(&settings(&path, time), &layout, &Provenance::default(), &|_| ()).expect("it runs");
    assert!(outcome.receipts[0].balances(), "{:?}", outcome.receipts[0]);
    Ingested { outcome, folder }
}

fn time(kind: TimeKind) -> TimeSettings {
    TimeSettings { columns: vec!["t".to_owned()], kind }
}

/// A row every second of hours from an instant, each time as `shown`; of two vehicles by turns where `pair`.
fn hourly_log(from: &str, hours: i64, pair: bool, shown: impl Fn(Timestamp) -> String) -> String {
    let mut log = "t,v,id\n".to_owned();
    for second in 0..hours * 3600 {
        let at = stamp(from) + SignedDuration::from_secs(second);
        let vehicle = if pair && second % 2 == 1 { "T2" } else { "T1" };
        let _ = writeln!(log, "{},{}.{},{vehicle}", shown(at), 5 + second % 7, second % 10);
    }
    log
}

#[test]
fn a_log_over_the_end_of_summer_time_is_the_log_in_utc() {
    for pair in [false, true] {
        // From two hours before the change to two after: 01:00 to 03:00 of the wall's clock, and 02:00 to 04:00.
        let log = |shown: &dyn Fn(Timestamp) -> String| hourly_log("2025-10-25T23:00:00Z", 4, pair, shown);
        let wall = ingest(&log(&on_the_wall), time(local()));
        let utc = ingest(&log(&|at| at.to_string()), time(TimeKind::Iso));
        let receipt = wall.receipt();
        assert_eq!((receipt.rows_in, receipt.rows_kept, receipt.rows_out_of_order), (14_400, 14_400, 0));
        assert_eq!((receipt.rows_repeated_hour, receipt.rows_repeated_hour_later), (7200, 3600));
        assert_eq!(utc.receipt().rows_repeated_hour, 0);
        for vehicle in &utc.outcome.vehicles {
            assert!(wall.samples(vehicle) == utc.samples(vehicle), "{vehicle}");
        }
    }
}

#[test]
fn a_log_over_the_beginning_of_summer_time_is_the_log_in_utc() {
    let log = |shown: &dyn Fn(Timestamp) -> String| hourly_log("2026-03-28T23:00:00Z", 4, false, shown);
    let wall = ingest(&log(&on_the_wall), time(local()));
    let utc = ingest(&log(&|at| at.to_string()), time(TimeKind::Iso));
    let receipt = wall.receipt();
    assert_eq!((receipt.rows_in, receipt.rows_kept, receipt.rows_out_of_order), (14_400, 14_400, 0));
    assert_eq!((receipt.rows_repeated_hour, receipt.rows_skipped_hour), (0, 0));
    assert!(wall.samples("T1") == utc.samples("T1"));
}

#[test]
fn a_time_of_the_skipped_hour_is_refused_and_counted() {
    let log = "t,v,id\n2026-03-29T01:59:59,5,T1\n2026-03-29T02:30:00,5,T1\n2026-03-29T03:00:00,6,T1\n";
    let wall = ingest(log, time(local()));
    let receipt = wall.receipt();
    assert_eq!((receipt.rows_kept, receipt.rows_rejected, receipt.rows_skipped_hour), (2, 1, 1));
    assert_eq!(wall.reasons(), ["time-skipped"]);
    let seconds = wall.times_ns("T1", "2026-03");
    assert_eq!(seconds[1] - seconds[0], 1_000_000_000);
}

/// Nothing tells which hour it is: the earlier, and counted.
#[test]
fn a_log_that_starts_in_the_second_hour_is_counted() {
    let log = "t,v,id\n2025-10-26T02:10:00,5,T1\n2025-10-26T02:10:01,6,T1\n";
    let wall = ingest(log, time(local()));
    assert_eq!((wall.receipt().rows_repeated_hour, wall.receipt().rows_repeated_hour_later), (2, 0));
    let first = i64::try_from(stamp("2025-10-26T00:10:00Z").as_nanosecond()).expect("it fits");
    assert_eq!(wall.times_ns("T1", "2025-10"), [first, first + 1_000_000_000]);
}
