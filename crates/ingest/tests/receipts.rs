//! Whatever a file holds, every row is kept or refused, and every refused row is in the rejects.

use std::path::Path;

use backwatt_ingest::dialect::Stated;
use backwatt_ingest::settings::{CellUnit, LogFile, Mapping, Positive, Source, TimeKind, TimeSettings};
use backwatt_ingest::{Receipt, Settings, Unpacking, run};
use backwatt_schema::tables::{REJECTS, SAMPLES};
use backwatt_schema::unit::Unit;
use backwatt_schema::{BatchView, Table};
use backwatt_store::{Layout, Provenance, read_table};
use proptest::prelude::*;

fn settings(log: &Path) -> Settings {
    let unit = |text: &str| Unit::parse(text).expect("a unit");
    let mapping = |name: &str, signal: &str, unit: CellUnit| Mapping {
        signal: backwatt_ingest::signal::position(signal).expect("a signal"),
        names: vec![name.to_owned()],
        unit,
        scale: 1.0,
        fill_forward: false,
        least: None,
        most: None,
        positive: Positive::Prove,
    };
    Settings {
        sources: vec![Source {
            name: "s".to_owned(),
            files: vec![LogFile {
                path: log.to_owned(),
                member: None,
                shown: "log.csv".to_owned(),
                vehicle: None,
            }],
            vehicle_column: Some("id".to_owned()),
            format: None,
            dbc: None,
            long: None,
            gather: None,
            unpacking: Unpacking::default(),
            dialect: Stated {
                delimiter: Some(b','),
                header_line: Some(1),
                units_line: Some(false),
                ..Stated::default()
            },
            missing: Vec::new(),
            time: TimeSettings { columns: vec!["t".to_owned()], kind: TimeKind::Epoch(unit("s")), gps: None },
            columns: vec![
                mapping("v", "speed", CellUnit::Plain(unit("m/s"))),
                mapping("who", "driver", CellUnit::None),
            ],
        }],
        elevation_tiles: None,
        loads: Vec::new(),
        shifts: Vec::new(),
        weather: None,
        time_earliest_ns: 0,
        time_latest_ns: i64::MAX,
        frozen_after_s: 10.0,
        memory_bytes: backwatt_ingest::settings::MEMORY_BYTES,
    }
}

/// Rows of every file of a table below a folder.
fn rows(folder: &Path, table: &'static Table, counts: fn(BatchView<'_>) -> usize) -> usize {
    let mut open = vec![folder.to_owned()];
    let mut sum = 0;
    while let Some(next) = open.pop() {
        for path in std::fs::read_dir(next).into_iter().flatten().flatten().map(|entry| entry.path()) {
            if path.is_dir() {
                open.push(path);
            } else {
                sum += counts(BatchView::new(table, &read_table(&path, table).expect("readable")));
            }
        }
    }
    sum
}

fn check(body: &[u8]) -> Receipt {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let log = folder.path().join("log.csv");
    let mut bytes = b"t,v,id,who\n".to_vec();
    bytes.extend_from_slice(body);
    std::fs::write(&log, bytes).expect("writable");
    let layout = Layout::new(folder.path().join("out"));
    let outcome = run(&settings(&log), &layout, &Provenance::default(), &|_| ()).expect("it runs");
    let receipt = outcome.receipts[0].clone();
    assert!(receipt.balances(), "{receipt:?}");
    let refused = rows(&layout.root().join("rejects"), &REJECTS, |view| {
        let scope = view.texts("scope").expect("a column");
        (0..view.rows()).filter(|row| scope.value(*row) == "row").count()
    });
    assert_eq!(refused as u64, receipt.rows_rejected, "{receipt:?}");
    let kept = rows(&layout.root().join("samples"), &SAMPLES, |view| view.rows());
    assert_eq!(kept as u64 + receipt.rows_merged, receipt.rows_kept, "{receipt:?}");
    receipt
}

#[test]
fn a_clean_file_is_kept_whole() {
    let receipt = check(b"1,2,T1,Ana\n2,3,T1,Ana\n3,4,\"T2\",\"Bo,b\"\n");
    assert_eq!((receipt.rows_in, receipt.rows_kept, receipt.cells_refused), (3, 3, 0));
}

/// Rows are out of order within their vehicle: that one vehicle follows another in a file is none.
#[test]
fn vehicles_one_after_another_are_in_order() {
    let receipt = check(b"5,2,T1,\n6,2,T1,\n1,2,T2,\n2,2,T2,\n7,2,T1,\n");
    assert_eq!((receipt.rows_kept, receipt.rows_out_of_order), (5, 0));
    let receipt = check(b"5,2,T1,\n1,2,T2,\n4,2,T1,\n2,2,T2,\n");
    assert_eq!((receipt.rows_kept, receipt.rows_out_of_order), (4, 1));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    /// Rows out of the pieces that logs are made of, good and bad.
    #[test]
    fn receipts_balance_for_torn_logs(pieces in prop::collection::vec(
        prop::sample::select(vec![
            "1", "2", "3.5", "17", ",", ",", ",", "\n", "\n", "T1", "T2", "\"", "\"\"", "Ana", " ", "\r\n", "-", "NaN",
            "1e9", "t,v,id,who\n", "1,2,T1,Ana\n", "2,2,T1,\"a\nb\"\n", "\u{e9}", "../x", ";", "\0",
        ]),
        0..200,
    )) {
        check(pieces.concat().as_bytes());
    }

    #[test]
    fn receipts_balance_for_any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
        check(&bytes);
    }
}
