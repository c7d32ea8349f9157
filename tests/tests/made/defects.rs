//! Every defect the made-up loggers make is met by the rule it belongs to, at its line.

use std::collections::BTreeSet;

use backwatt::tables;
use backwatt_testkit::Table;

use crate::truth::{SMALL, rows};

/// Defect of the logger, and the reason a reject must give at its line.
const REFUSED: [(&str, &str); 6] = [
    ("repeated_header", "repeated-header"),
    ("ragged_row", "ragged-row"),
    ("truncated_last_line", "ragged-row"),
    ("bogus_year", "time-out-of-range"),
    ("text_garbage", "not-a-number"),
    ("speed_spike", "speed-range"),
];

fn rejects() -> Table {
    let folder = SMALL.out.join("rejects");
    let mut paths: Vec<_> = std::fs::read_dir(folder).expect("rejects").flatten().map(|e| e.path()).collect();
    paths.sort();
    Table::read(&paths, &tables::REJECTS)
}

#[test]
fn defects_are_refused_where_they_stand() {
    let rejects = rejects();
    let found: BTreeSet<(String, u64, String)> = rejects
        .texts("source_file")
        .into_iter()
        .zip(rejects.counts("source_line"))
        .zip(rejects.texts("reason"))
        .map(|((file, line), reason)| (file.unwrap_or_default(), line, reason.unwrap_or_default()))
        .collect();
    let defects = rows(&SMALL.truth.join("defects.csv"));
    let mut met = 0;
    for (kind, reason) in REFUSED {
        for defect in defects.iter().filter(|row| row["kind"] == kind) {
            let line: u64 = defect["line"].parse().expect("a line");
            let wanted = (defect["file"].clone(), line, reason.to_owned());
            assert!(found.contains(&wanted), "{kind} at {wanted:?} was not refused; refused: {found:?}");
            met += 1;
        }
    }
    assert!(met >= REFUSED.len(), "only {met} defects were there to be met");
}

#[test]
fn rows_in_are_rows_kept_plus_rows_refused() {
    let receipts = Table::read(&[SMALL.out.join("receipts.parquet")], &tables::RECEIPTS);
    let (rows_in, kept, refused) =
        (receipts.counts("rows_in"), receipts.counts("rows_kept"), receipts.counts("rows_rejected"));
    for row in 0..receipts.rows() {
        assert_eq!(rows_in[row], kept[row] + refused[row]);
    }
    let rejects = rejects();
    let whole = rejects.texts("scope").iter().filter(|s| s.as_deref() == Some("row")).count() as u64;
    assert_eq!(whole, refused.iter().sum::<u64>(), "each refused row is in the rejects");
    let kept_rows: u64 = kept.iter().sum();
    let merged: u64 = receipts.counts("rows_merged").iter().sum();
    let samples: u64 = SMALL.vehicles.iter().map(|v| sample_rows(v)).sum();
    assert_eq!(samples, kept_rows - merged, "each kept row is in the samples");
}

fn sample_rows(vehicle: &str) -> u64 {
    let folder = backwatt_store::Layout::new(&SMALL.out).samples_folder(vehicle);
    let paths: Vec<_> = std::fs::read_dir(folder).expect("samples").flatten().map(|e| e.path()).collect();
    Table::read(&paths, &tables::SAMPLES).rows() as u64
}

#[test]
fn a_frozen_bus_builds_no_energy() {
    let frozen =
        rows(&SMALL.truth.join("defects.csv")).iter().filter(|row| row["kind"] == "frozen_bus").count();
    assert!(frozen > 0, "the small pilot has one");
    let trips = SMALL.per_vehicle(&tables::TRIPS);
    assert!(trips.sum("frozen_s") > 30.0, "{} s frozen within trips", trips.sum("frozen_s"));
}
