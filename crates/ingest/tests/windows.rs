//! A vehicle that does not fit into memory at once gives the same samples, rejects and receipts as one that does.

use std::path::Path;

use arrow::array::RecordBatch;
use arrow::compute::concat_batches;
use backwatt_ingest::settings::{
    CellUnit, LogFile, MEMORY_BYTES, Mapping, Positive, Source, TimeKind, TimeSettings,
};
use backwatt_ingest::{Receipt, Settings, run};
use backwatt_schema::tables::{REJECTS, SAMPLES};
use backwatt_schema::unit::Unit;
use backwatt_schema::{BatchView, Table};
use backwatt_store::{Layout, Provenance, read_table};

/// Most of a day at 2 Hz without a pause, over the end of a month, with what rules look for near and far from full hours:
/// rows twice, rows out of order, a frozen bus, a spike of the speed, a fix in the sea, a jump of the state of charge.
fn log() -> String {
    let mut log = String::from("t,v,lat,lon,soc,amps,volts\n");
    let start = 1_772_290_800.0; // 2026-02-28 15:00 UTC
    let (mut way_m, mut soc) = (0.0, 0.95);
    for row in 0..100_000_u32 {
        let time = start + f64::from(row) * 0.5;
        let frozen = row % 14_400 < 80;
        let phase = f64::from(if frozen { 0 } else { row % 240 }) / 240.0 * std::f64::consts::TAU;
        let speed = 12.0 - 8.0 * phase.cos();
        let amps = 40.0 + 120.0 * phase.sin();
        if !frozen {
            way_m += speed * 0.5;
            soc -= 1.0e-7 * amps;
        }
        soc = if row % 30_001 == 30_000 { soc + 0.05 } else { soc };
        let spike = if row % 7_201 == 7_200 { 60.0 } else { 0.0 };
        let off = if row % 21_600 == 21_595 { 0.2 } else { 0.0 };
        let late = if row % 9_000 == 8_990 { -4.3 } else { 0.0 };
        let line = format!(
            "{:.1},{:.2},{:.6},30.0,{:.4},{amps:.2},350\n",
            time + late,
            speed + spike,
            1.0 + off + way_m % 50_000.0 / 111_195.0,
            soc.max(0.1),
        );
        log.push_str(&line);
        if row % 10_000 == 1 {
            log.push_str(&line);
        }
    }
    log.push_str("garbage,1\n");
    log
}

fn settings(log: &Path, memory_bytes: u64, gather: bool) -> Settings {
    let mapping = |(name, signal, unit): &(&str, &str, &str)| Mapping {
        signal: backwatt_ingest::signal::position(signal).expect("a signal"),
        names: vec![(*name).to_owned()],
        unit: CellUnit::Plain(Unit::parse(unit).expect("a unit")),
        scale: 1.0,
        fill_forward: false,
        least: None,
        most: None,
        positive: Positive::Prove,
    };
    let columns = [
        ("v", "speed", "m/s"),
        ("lat", "latitude", "deg"),
        ("lon", "longitude", "deg"),
        ("soc", "state_of_charge", "1"),
        ("amps", "pack_current", "A"),
        ("volts", "pack_voltage", "V"),
    ];
    let file = LogFile {
        path: log.to_owned(),
        member: None,
        shown: "log.csv".to_owned(),
        vehicle: Some("T1".to_owned()),
    };
    let source = Source {
        name: "s".to_owned(),
        files: vec![file],
        gather: Some(gather),
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

fn ingest(log: &Path, memory_bytes: u64, gather: bool) -> (RecordBatch, RecordBatch, Receipt) {
    let out = tempfile::tempdir().expect("a temporary folder");
    let layout = Layout::new(out.path());
    let settings = settings(log, memory_bytes, gather);
    let outcome = run(&settings, &layout, &Provenance::default(), &|_| ()).expect("it runs");
    let months =
        ["2026-02", "2026-03"].map(|month| layout.samples_folder("T1").join(format!("{month}.parquet")));
    let read = |path: &Path, table: &'static Table| read_table(path, table).expect("readable");
    let samples = months.map(|path| read(&path, &SAMPLES));
    let samples = concat_batches(&samples[0].schema(), &samples).expect("one schema");
    (samples, read(&layout.rejects_of_vehicle("T1"), &REJECTS), outcome.receipts[0].clone())
}

/// What was refused, whatever the order it was met in.
fn refusals(batch: &RecordBatch) -> Vec<String> {
    let view = BatchView::new(&REJECTS, batch);
    let text = |name: &str, row: usize| view.texts(name).expect("a column").value(row).to_owned();
    let line = |row: usize| view.counts("source_line").expect("a column").value(row);
    let mut all: Vec<String> = (0..view.rows())
        .map(|row| {
            format!(
                "{} {} {} {} {}",
                line(row),
                text("scope", row),
                text("reason", row),
                text("column", row),
                text("message", row)
            )
        })
        .collect();
    all.sort();
    all
}

#[test]
fn a_vehicle_in_many_windows_is_the_same_vehicle() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("log.csv");
    std::fs::write(&path, log()).expect("writable");
    for gather in [false, true] {
        let (samples, rejects, receipt) = ingest(&path, 64 * MEMORY_BYTES, gather);
        assert!(receipt.balances() && receipt.rows_in > 100_000, "{receipt:?}");
        for rule in [
            "duplicate-time",
            "out-of-order",
            "frozen",
            "rate",
            "position-jump",
            "soc-reanchored",
            "ragged-row",
        ] {
            assert!(receipt.rules.contains_key(rule), "{rule} is not tried: {:?}", receipt.rules);
        }
        // Twenty thousand rows at a time: half a dozen windows.
        let (parted_samples, parted_rejects, parted_receipt) = ingest(&path, 1 << 20, gather);
        // Pairs of samples across the edge of a window are not heard: their number, and nothing else, tells windows apart.
        let unheard = |receipt: &Receipt| Receipt { current_sign: None, ..receipt.clone() };
        assert_eq!(unheard(&parted_receipt), unheard(&receipt));
        assert!(
            parted_receipt
                .current_sign
                .is_some_and(|sign| sign.starts_with("pack_current: positive is discharge, proved"))
        );
        assert_eq!(parted_samples.num_rows(), samples.num_rows());
        for column in SAMPLES.columns.iter() {
            let (one, many) = (samples.column_by_name(column.name), parted_samples.column_by_name(column.name));
            assert!(one == many, "{} differs, gathered: {gather}", column.name);
        }
        assert_eq!(refusals(&parted_rejects), refusals(&rejects));
    }
}
