//! The minute of `fixtures/formats` as NMEA, CAN and MDF files that other programs wrote: the same samples as its CSV file,
//! as far as each format can hold them.

use std::path::{Path, PathBuf};

use arrow::array::RecordBatch;
use backwatt_ingest::formats::Format;
use backwatt_ingest::formats::can::DbcFile;
use backwatt_ingest::settings::{CellUnit, LogFile, Mapping, Positive, Source, TimeKind, TimeSettings};
use backwatt_ingest::{Receipt, Settings, run};
use backwatt_schema::BatchView;
use backwatt_schema::tables::{REJECTS, SAMPLES};
use backwatt_schema::unit::Unit;
use backwatt_store::{Layout, Provenance, read_table_if_present};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/formats").join(name)
}

fn mapping((signal, unit, name): &(&str, &str, &str)) -> Mapping {
    Mapping {
        signal: backwatt_ingest::signal::position(signal).expect("a signal"),
        names: vec![(*name).to_owned()],
        unit: Unit::parse(unit).map_or(CellUnit::None, CellUnit::Plain),
        scale: 1.0,
        fill_forward: false,
        least: None,
        most: None,
        positive: Positive::Discharge,
    }
}

fn source(columns: &[(&str, &str, &str)]) -> Source {
    Source {
        name: "s".to_owned(),
        time: TimeSettings { columns: vec!["time".to_owned()], kind: TimeKind::Iso, gps: None },
        columns: columns.iter().map(mapping).collect(),
        // Row by row, so that a blank stays one.
        gather: Some(false),
        ..Source::unmapped()
    }
}

const IN_CSV: [(&str, &str, &str); 9] = [
    ("speed", "m/s", "speed"),
    ("latitude", "deg", "lat"),
    ("longitude", "deg", "lon"),
    ("altitude", "m", "ele"),
    ("state_of_charge", "1", "soc"),
    ("pack_voltage", "V", "volts"),
    ("pack_current", "A", "amps"),
    ("plugged_in", "", "plugged"),
    ("regen_level", "", "level"),
];

const IN_CAN: [(&str, &str, &str); 9] = [
    ("speed", "m/s", "Motion.Speed"),
    ("latitude", "deg", "Latitude"),
    ("longitude", "deg", "Longitude"),
    ("altitude", "m", "Altitude"),
    ("state_of_charge", "1", "Charge"),
    ("pack_voltage", "V", "Voltage"),
    ("pack_current", "A", "Current"),
    ("plugged_in", "", "Plugged"),
    ("regen_level", "", "Level"),
];

struct Ingested {
    samples: RecordBatch,
    receipt: Receipt,
    rejects: Option<RecordBatch>,
}

fn ingest(source: Source, path: &Path) -> Ingested {
    let file = LogFile {
        path: path.to_owned(),
        member: None,
        shown: "log".to_owned(),
        vehicle: Some("T1".to_owned()),
    };
    let settings = Settings {
        sources: vec![Source { files: vec![file], ..source }],
        elevation_tiles: None,
        loads: Vec::new(),
        shifts: Vec::new(),
        weather: None,
        time_earliest_ns: 0,
        time_latest_ns: i64::MAX,
        frozen_after_s: 10.0,
        memory_bytes: backwatt_ingest::settings::MEMORY_BYTES,
    };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let layout = Layout::new(folder.path());
    let outcome = run(&settings, &layout, &Provenance::default(), &|_| ()).expect("it runs");
    let samples = layout.samples_folder("T1").join("2026-03.parquet");
    let receipt = outcome.receipts[0].clone();
    assert!(receipt.balances(), "{receipt:?}");
    Ingested {
        samples: read_table_if_present(&samples, &SAMPLES).expect("readable").expect("samples"),
        receipt,
        rejects: read_table_if_present(&layout.rejects_of_file("log"), &REJECTS).expect("readable"),
    }
}

/// The columns that differ, where the log came from left aside.
fn differences(a: &RecordBatch, b: &RecordBatch) -> Vec<&'static str> {
    assert_eq!(a.num_rows(), b.num_rows());
    let names = SAMPLES.columns.iter().map(|column| column.name);
    let differs = |name: &&str| a.column_by_name(name) != b.column_by_name(name);
    names.filter(|name| !name.starts_with("source_")).filter(differs).collect()
}

fn minute() -> RecordBatch {
    ingest(source(&IN_CSV), &fixture("minute.csv")).samples
}

/// A database of decimal factors loses nothing; its levels are numbers where the CSV file has words.
#[test]
fn a_can_log_with_its_database_is_the_minute() {
    for name in ["can.log", "can-terminal.log"] {
        let source = Source { dbc: Some(DbcFile::new(fixture("can.dbc"))), ..source(&IN_CAN) };
        let ours = ingest(source, &fixture(name));
        assert_eq!(differences(&minute(), &ours.samples), ["regen_level", "mask_merged"], "{name}");
        assert_eq!(ours.receipt.problem, None);
        assert_eq!(ours.receipt.dialect.as_deref(), Some("candump frames, signals of the DBC file"));
        assert_eq!(ours.receipt.rules.get("not-mapped"), Some(&60), "the frames of Noise");
        assert_eq!(ours.receipt.rows_rejected, 0);
    }
}

/// Doubles stay doubles and labels stay words, plain, packed, and packed by columns.
#[test]
fn an_mdf_file_is_the_minute() {
    for (name, version) in
        [("mdf-4.10.mf4", "4.10"), ("mdf-4.11-transposed.mf4", "4.11"), ("mdf-4.20-deflated.mf4", "4.20")]
    {
        let ours = ingest(source(&IN_CSV), &fixture(name));
        assert_eq!(differences(&minute(), &ours.samples), ["mask_merged"], "{name}");
        assert_eq!(
            (ours.receipt.rows_in, ours.receipt.rows_merged),
            (120, 60),
            "one record per group and second"
        );
        let description = format!("MDF {version}, 11 channels");
        assert_eq!(ours.receipt.dialect, Some(description));
    }
}

/// Places and heights are exact. Speed is exact in km/h as written, and reads as m/s to the rounding of one division; in knots it
/// is as the receiver rounded it, to 0.001 kn.
#[test]
fn an_nmea_log_is_the_minute() {
    let places = [
        ("latitude", "deg", "latitude_deg"),
        ("longitude", "deg", "longitude_deg"),
        ("altitude", "m", "altitude_m"),
    ];
    let minute = minute();
    for (speed, tolerance_m_s) in [
        (("speed", "km/h", "speed_km_h"), 8.0 * f64::EPSILON),
        (("speed", "[kn_i]", "speed_kn"), 0.0005 * 1852.0 / 3600.0 + 1e-12),
    ] {
        let columns = [&places[..], &[speed]].concat();
        let ours = ingest(source(&columns), &fixture("nmea.log"));
        assert_eq!((ours.receipt.rows_in, ours.receipt.rows_rejected), (60, 0));
        assert_eq!(ours.receipt.rules.get("other-sentence"), Some(&60));
        let differing = differences(&minute, &ours.samples);
        for exact in ["time_ns", "lat_deg", "lon_deg", "altitude_m"] {
            assert!(!differing.contains(&exact), "{differing:?}");
        }
        let speeds = |batch| BatchView::new(&SAMPLES, batch).numbers("speed_m_s").expect("a column").clone();
        let (theirs, own) = (speeds(&minute), speeds(&ours.samples));
        for (a, b) in theirs.values().iter().zip(own.values()) {
            assert!((a - b).abs() <= tolerance_m_s * a.abs().max(1.0), "{speed:?}: {a} {b}");
        }
    }
}

/// Each format is found without being stated.
#[test]
fn files_are_recognised() {
    for (name, word) in [("nmea.log", "NMEA"), ("can-j1939.log", "candump"), ("mdf-unsorted.mf4", "MDF")] {
        let column = match word {
            "NMEA" => "speed_km_h",
            "MDF" => "speed",
            _ => "wheel_based_vehicle_speed_km_h",
        };
        let ours = ingest(source(&[("speed", "km/h", column)]), &fixture(name));
        assert!(
            ours.receipt.dialect.as_deref().is_some_and(|text| text.starts_with(word)),
            "{:?}",
            ours.receipt
        );
        assert!(ours.samples.num_rows() == 60, "{name}");
    }
    let stated = Source { format: Some(Format::Mdf), ..source(&[("speed", "m/s", "speed")]) };
    let settings = |source| Settings {
        sources: vec![source],
        elevation_tiles: None,
        loads: Vec::new(),
        shifts: Vec::new(),
        weather: None,
        time_earliest_ns: 0,
        time_latest_ns: i64::MAX,
        frozen_after_s: 10.0,
        memory_bytes: backwatt_ingest::settings::MEMORY_BYTES,
    };
    let file = LogFile {
        path: fixture("minute.csv"),
        member: None,
        shown: "minute.csv".to_owned(),
        vehicle: Some("T1".to_owned()),
    };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let of = Source { files: vec![file], ..stated };
    let outcome =
        run(&settings(of), &Layout::new(folder.path()), &Provenance::default(), &|_| ()).expect("it runs");
    let problem = outcome.receipts[0].problem.clone().unwrap_or_default();
    assert!(problem.starts_with("cannot read: "), "{problem}");
}

/// What a log holds of faults, and what becomes of each line.
#[test]
fn faults_of_a_can_log_are_told_line_by_line() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("log");
    let dbc = folder.path().join("bus.dbc");
    std::fs::write(
        &dbc,
        "VERSION \"\"\n\nNS_ :\n\nBS_:\n\nBU_: E\n\nBO_ 288 Motion: 8 E\n SG_ Speed : 0|16@1+ (0.1,0) [0|50] \"m/s\" E\n",
    )
    .expect("writable");
    std::fs::write(
        &path,
        "(1772433000.0) can0 120#6400\n(1772433001.0) can0 120#64\n(1772433002.0) can0 120#E803\nnoise\n\
         (1772433003.0) can0 121#00\n(1772433004.0) can0 120#R\ncan0  120   [2]  64 00\n(1772433005.0) can0 120#6500\n",
    )
    .expect("writable");
    let stated = Source {
        format: Some(Format::Candump),
        dbc: Some(DbcFile::new(dbc)),
        ..source(&[("speed", "m/s", "Speed")])
    };
    let ours = ingest(stated, &path);
    assert_eq!((ours.receipt.rows_in, ours.receipt.rows_kept, ours.receipt.rows_rejected), (6, 3, 3));
    let rules: Vec<_> = ours.receipt.rules.iter().map(|(code, count)| format!("{code}={count}")).collect();
    assert_eq!(
        rules,
        [
            "frame-too-short=1",
            "not-a-frame=1",
            "not-a-number=1",
            "not-mapped=1",
            "remote-frame=1",
            "time-missing=1"
        ]
    );
    let rejects = ours.rejects.expect("rejects");
    let view = BatchView::new(&REJECTS, &rejects);
    let lines: Vec<u64> = view.counts("source_line").expect("a column").values().to_vec();
    assert_eq!(lines, [2, 3, 4, 7]);
    assert_eq!(
        view.texts("value").expect("a column").value(1),
        "100 (beyond 0 to 50, the range of the database)"
    );
}

/// Of the DBC files beside a log, the draft names the one by which most of it has a value.
#[test]
fn a_draft_names_the_dbc_file_beside_the_log() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for name in ["can.log", "can.dbc", "can-odd.dbc"] {
        std::fs::copy(fixture(name), folder.path().join(name)).expect("writable");
    }
    let drafted = || backwatt_ingest::inspect::inspect(folder.path()).expect("a draft");
    let draft = drafted();
    for line in ["dbc = \"can.dbc\"", "speed = { column = \"Speed\", unit = \"m/s\" }"] {
        assert!(draft.toml.lines().any(|found| found.starts_with(line)), "no {line} in\n{}", draft.toml);
    }
    for name in ["can.dbc", "can-odd.dbc"] {
        std::fs::remove_file(folder.path().join(name)).expect("removable");
    }
    let told = drafted().notes.join("\n");
    assert!(told.contains("left out can.log: its frames mean nothing without their DBC file"), "{told}");
}
