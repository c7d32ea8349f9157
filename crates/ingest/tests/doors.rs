//! What the fuzz targets try for minutes, for seconds: fixtures with bytes changed, cut out and doubled, through the same doors.

use std::path::Path;

use backwatt_ingest::formats::Format;
use backwatt_ingest::settings::{CellUnit, MEMORY_BYTES, Mapping, Positive, Source, TimeKind, TimeSettings};
use backwatt_ingest::{Settings, doors, signal};
use backwatt_schema::unit::{Unit, parse_quantity};
use jiff::tz::TimeZone;
use proptest::prelude::*;

fn fixture(name: &str) -> Vec<u8> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/formats").join(name);
    std::fs::read(path).expect("the fixture")
}

fn settings() -> Settings {
    Settings {
        sources: Vec::new(),
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

fn source(format: Format) -> Source {
    let mapping = |(name, unit, column): &(&str, &str, &str)| Mapping {
        signal: signal::position(name).expect("a signal"),
        names: vec![(*column).to_owned()],
        unit: Unit::parse(unit).map_or(CellUnit::None, CellUnit::Plain),
        scale: 1.0,
        fill_forward: true,
        least: None,
        most: None,
        positive: Positive::Prove,
    };
    let columns = [
        ("speed", "km/h", "speed"),
        ("speed", "km/h", "Motion.Speed"),
        ("speed", "kn", "speed_kn"),
        ("latitude", "deg", "lat"),
        ("altitude", "m", "ele"),
        ("state_of_charge", "1", "soc"),
        ("regen_level", "", "level"),
        ("pack_voltage", "V", "Voltage"),
    ];
    Source {
        format: Some(format),
        time: TimeSettings { columns: vec!["time".to_owned()], kind: TimeKind::Iso, gps: None },
        columns: columns.iter().map(mapping).collect(),
        ..Source::unmapped()
    }
}

/// One change: a place and a byte put there, a stretch cut out, or a stretch doubled.
#[derive(Debug, Clone)]
enum Change {
    Byte(prop::sample::Index, u8),
    Cut(prop::sample::Index, usize),
    Double(prop::sample::Index, usize),
}

fn changes() -> impl Strategy<Value = Vec<Change>> {
    let change = prop_oneof![
        (any::<prop::sample::Index>(), any::<u8>()).prop_map(|(at, byte)| Change::Byte(at, byte)),
        (any::<prop::sample::Index>(), 1..300_usize).prop_map(|(at, length)| Change::Cut(at, length)),
        (any::<prop::sample::Index>(), 1..300_usize).prop_map(|(at, length)| Change::Double(at, length)),
    ];
    prop::collection::vec(change, 1..8)
}

fn changed(mut bytes: Vec<u8>, changes: &[Change]) -> Vec<u8> {
    for change in changes {
        if bytes.is_empty() {
            return bytes;
        }
        let length = bytes.len();
        match change {
            Change::Byte(at, byte) => bytes[at.index(length)] = *byte,
            Change::Cut(at, cut) => {
                let at = at.index(length);
                bytes.drain(at..(at + cut).min(length));
            }
            Change::Double(at, double) => {
                let at = at.index(length);
                let again = bytes[at..(at + double).min(length)].to_vec();
                bytes.splice(at..at, again);
            }
        }
    }
    bytes
}

fn reads(source: &Source, bytes: Vec<u8>) -> u64 {
    let receipt = doors::read_log(&settings(), source, bytes).expect("nothing is written, so nothing fails");
    assert!(receipt.balances(), "{receipt:?}");
    receipt.rows_kept
}

const LOGS: [(Format, &str); 7] = [
    (Format::Delimited, "minute.csv"),
    (Format::Ndjson, "minute.ndjson"),
    (Format::Gpx, "minute.gpx"),
    (Format::Nmea, "nmea.log"),
    (Format::Candump, "can.log"),
    (Format::Mdf, "mdf-4.10.mf4"),
    (Format::Parquet, "minute.parquet"),
];

/// The doors lead where they should: each fixture as it is gives rows.
#[test]
fn fixtures_as_they_are_give_rows() {
    for (format, name) in LOGS {
        let mut source = source(format);
        if format == Format::Candump {
            let text = String::from_utf8(fixture("can.dbc")).expect("text");
            source.dbc = Some(doors::read_dbc(&text).expect("a DBC file"));
        }
        assert!(reads(&source, fixture(name)) > 0, "{name}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn damaged_logs_balance(which in 0..LOGS.len(), changes in changes()) {
        let (format, name) = LOGS[which];
        reads(&source(format), changed(fixture(name), &changes));
    }

    #[test]
    fn a_damaged_dbc_is_refused_or_reads_frames(changes in changes()) {
        let text = String::from_utf8_lossy(&changed(fixture("can-j1939.dbc"), &changes)).into_owned();
        if let Ok(dbc) = doors::read_dbc(&text) {
            reads(&Source { dbc: Some(dbc), ..source(Format::Candump) }, fixture("can-j1939.log"));
        }
    }

    #[test]
    fn any_text_is_a_time_or_none(text in "\\PC{0,40}", comma: bool) {
        let zone = TimeZone::get("America/New_York").expect("a zone");
        let seconds = Unit::parse("s").expect("seconds");
        for kind in [
            TimeKind::Iso,
            TimeKind::Epoch(seconds),
            TimeKind::Local { format: "%Y-%m-%d %H:%M:%S%.f".to_owned(), zone },
        ] {
            doors::read_time(&text, None, &kind, comma);
        }
    }

    #[test]
    fn any_text_is_a_quantity_or_none(text in "[-+0-9.eE_]{0,12} ?[a-zA-Z/0-9.%\\[\\]]{0,8}") {
        if let Ok((value, _)) = parse_quantity(&text) {
            prop_assert!(value.is_finite(), "{}", text);
        }
    }
}
