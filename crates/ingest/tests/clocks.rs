//! What a logger's clock does to its rows: summer time beginning and ending, and a clock that is not GPS time.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use backwatt_ingest::settings::{
    CellUnit, GpsClock, LogFile, Long, MEMORY_BYTES, Mapping, Positive, Source, TimeKind, TimeSettings,
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

fn settings(log: &Path, time: TimeSettings, memory_bytes: u64) -> Settings {
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
        time_earliest_ns: 1_262_304_000_000_000_000, // 2010
        time_latest_ns: i64::MAX,
        frozen_after_s: 10.0,
        memory_bytes,
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
    ingest_within(log, time, MEMORY_BYTES)
}

fn ingest_within(log: &str, time: TimeSettings, memory_bytes: u64) -> Ingested {
    ingest_with(settings(Path::new(""), time, memory_bytes), log)
}

fn ingest_with(mut settings: Settings, log: &str) -> Ingested {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("log.csv");
    std::fs::write(&path, log).expect("writable");
    settings.sources[0].files[0].path = path;
    let layout = Layout::new(folder.path().join("out"));
    let outcome = run(&settings, &layout, &Provenance::default(), &|_| ()).expect("it runs");
    assert!(outcome.receipts[0].balances(), "{:?}", outcome.receipts[0]);
    Ingested { outcome, folder }
}

fn time(kind: TimeKind) -> TimeSettings {
    TimeSettings { columns: vec!["t".to_owned()], kind, gps: None }
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

fn with_gps(follow: bool) -> TimeSettings {
    let gps = GpsClock { columns: vec!["gps".to_owned()], kind: TimeKind::Iso, follow };
    TimeSettings { gps: Some(gps), ..time(TimeKind::Iso) }
}

/// Hours at 1 Hz by a clock that starts some seconds behind GPS time and loses a second in so many; no fix in the first minute,
/// and one cell that is no time. Three rows come late, as rows do.
fn log_with_gps(hours: i64, behind_s: f64, loses_one_in: f64) -> String {
    let mut log = "t,gps,v,id\n".to_owned();
    let mut rows: Vec<i64> = (0..hours * 3600).collect();
    rows[5000..5004].rotate_left(1);
    for second in rows {
        let at = stamp("2026-02-28T22:30:00Z") + SignedDuration::from_secs(second);
        let later = SignedDuration::from_secs_f64(behind_s + second as f64 / loses_one_in);
        let gps = match second {
            0..60 => "2000-01-01T00:00:00Z".to_owned(),
            60 => "no fix".to_owned(),
            _ => (at + later).to_string(),
        };
        let _ = writeln!(log, "{at},{gps},{}.{},T1", 5 + second % 7, second % 10);
    }
    log
}

fn codes(ingested: &Ingested) -> Vec<&'static str> {
    ingested.outcome.problems.iter().map(|problem| problem.code).collect()
}

fn worst(receipt: &Receipt) -> (f64, f64) {
    let (_, verdict) = receipt.clocks.worst.as_ref().expect("GPS time was heard");
    (verdict.offset_s, verdict.drift_s_day.expect("the file is long enough"))
}

#[test]
fn a_clock_that_is_off_is_told_and_nothing_is_moved() {
    let log = log_with_gps(4, 30.0, 2400.0);
    let told = ingest(&log, with_gps(false));
    // 14,400 s at one in 2400: 6 s over the file, 36 s a day, 33 s in its middle.
    let (offset_s, drift_s_day) = worst(told.receipt());
    assert!((offset_s - 33.0).abs() < 0.05 && (drift_s_day - 36.0).abs() < 0.01, "{offset_s} {drift_s_day}");
    assert_eq!(codes(&told), ["ingest-clock-off"]);
    let problem = &told.outcome.problems[0];
    assert_eq!(problem.place.file.as_deref(), Some("log.csv"));
    assert!(
        problem.message.contains("+33.0 s") && problem.message.contains("+36.0 s a day"),
        "{}",
        problem.message
    );
    assert_eq!((told.receipt().rows_on_gps_time, told.receipt().cells_refused), (0, 61));
    assert_eq!((told.reasons().len(), told.reasons()[0].as_str()), (61, "gps-time-out-of-range"));
    let plain = ingest(&log, time(TimeKind::Iso));
    assert!(told.samples("T1") == plain.samples("T1"));
    assert_eq!(plain.receipt().clocks.worst, None);
}

#[test]
fn a_good_clock_is_not_told() {
    let told = ingest(&log_with_gps(4, 0.4, 1e9), with_gps(false));
    assert_eq!(codes(&told), Vec::<&str>::new());
    assert!((worst(told.receipt()).0 - 0.4).abs() < 1e-4);
}

#[test]
fn rows_that_follow_stand_on_gps_time() {
    let followed = ingest(&log_with_gps(4, 30.0, 2400.0), with_gps(true));
    assert_eq!(codes(&followed), ["ingest-clock-off"]);
    assert_eq!((followed.receipt().rows_on_gps_time, followed.receipt().rows_kept), (14_400, 14_400));
    let mut times = followed.times_ns("T1", "2026-02");
    times.extend(followed.times_ns("T1", "2026-03"));
    assert!(times.len() == 14_400 && times.windows(2).all(|pair| pair[0] < pair[1]));
    let first = stamp("2026-02-28T22:30:00Z").as_nanosecond();
    for (second, time) in times.iter().enumerate().skip(61) {
        let gps_s = second as f64 + 30.0 + second as f64 / 2400.0;
        let off_s = (i128::from(*time) - first) as f64 * 1e-9 - gps_s;
        assert!(off_s.abs() < 0.05, "row {second} is {off_s} s off");
    }
}

/// Where rows cannot follow they stand, and it is told.
#[test]
fn a_file_without_gps_time_is_told_where_rows_were_to_follow() {
    let log = hourly_log("2026-03-01T08:00:00Z", 1, true, |at| at.to_string());
    let plain = ingest(&log, time(TimeKind::Iso));
    for (follow, wanted) in [(false, &[][..]), (true, &["ingest-clock-unfollowed"][..])] {
        let told = ingest(&log, with_gps(follow));
        assert_eq!(codes(&told), wanted);
        assert_eq!(told.receipt().columns_missing, ["gps_time"]);
        assert!(told.samples("T1") == plain.samples("T1") && told.samples("T2") == plain.samples("T2"));
    }
}

/// The same log with its signals below each other: GPS time is one of them.
#[test]
fn gps_time_may_be_a_signal_of_the_long_form() {
    let log = log_with_gps(4, 30.0, 2400.0);
    let wide = ingest(&log, with_gps(true));
    let mut below = "t,signal,value,id\n".to_owned();
    for row in log.lines().skip(1) {
        let [t, gps, v, id] = row.split(',').collect::<Vec<_>>()[..] else { panic!("four cells") };
        let _ = write!(below, "{t},gps,{gps},{id}\n{t},v,{v},{id}\n");
    }
    let long = |log: &str| {
        let mut settings = settings(Path::new(""), with_gps(true), MEMORY_BYTES);
        let long = Long { signal: "signal".to_owned(), value: "value".to_owned() };
        settings.sources[0].long = Some(long);
        ingest_with(settings, log)
    };
    let told = long(&below);
    assert_eq!(worst(told.receipt()), worst(wide.receipt()));
    assert_eq!(codes(&told), ["ingest-clock-off"]);
    // A row of GPS time alone is no row again: it gives its time away, and the 61 that are no time are refused as cells.
    let receipt = told.receipt();
    assert_eq!((receipt.rows_kept, receipt.rows_rejected, receipt.rows_merged), (28_800, 0, 14_400));
    assert_eq!(receipt.cells_refused, 61);
    for month in ["2026-02", "2026-03"] {
        assert_eq!(told.times_ns("T1", month), wide.times_ns("T1", month));
    }
    let silent = long("t,signal,value,id\n2026-03-01T08:00:00Z,v,5,T1\n2026-03-01T08:00:01Z,v,6,T1\n");
    assert_eq!(silent.receipt().columns_missing, ["gps_time"]);
}

#[test]
fn a_draft_names_gps_time_beside_the_clock() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let log = "time,gps_utc,speed_km_h\n1767225600,2026-01-01 00:00:03,5\n1767225601,2026-01-01 00:00:04,6\n";
    std::fs::write(folder.path().join("log.csv"), log).expect("writable");
    let draft = backwatt_ingest::inspect::inspect(folder.path()).expect("a draft");
    let wanted = "time = { column = \"time\", kind = \"epoch\", unit = \"s\", \
                  gps = { column = \"gps_utc\", kind = \"local\", format = \"%Y-%m-%d %H:%M:%S\", zone = \"UTC\" } }";
    assert!(draft.toml.lines().any(|line| line == wanted), "{}", draft.toml);
    assert!(draft.notes.iter().any(|note| note.contains("GPS time in gps_utc")), "{:?}", draft.notes);
}

#[test]
fn rows_that_follow_are_the_same_in_many_windows() {
    let log = log_with_gps(14, -4000.0, -1900.0);
    let [whole, parted] = [MEMORY_BYTES, 1 << 20].map(|bytes| ingest_within(&log, with_gps(true), bytes));
    assert_eq!(whole.receipt().rows_on_gps_time, 50_400);
    for month in ["2026-02", "2026-03"] {
        let times = whole.times_ns("T1", month);
        assert!(!times.is_empty() && times == parted.times_ns("T1", month), "{month}");
    }
    assert_eq!(parted.receipt(), whole.receipt());
}
