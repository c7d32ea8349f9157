//! What the targets share: sources that map the columns of the fixtures, by any clock.

use backwatt_ingest::formats::Format;
use backwatt_ingest::settings::{CellUnit, Long, Mapping, Positive, Source, TimeKind, TimeSettings};
use backwatt_ingest::{Settings, doors, signal};
use backwatt_schema::unit::Unit;
use jiff::{civil::date, tz::TimeZone};

/// Signal, unit, and the names it goes by in the fixtures.
const COLUMNS: [(&str, &str, &[&str]); 9] = [
    ("speed", "km/h", &["speed", "Motion.Speed", "ground_speed"]),
    ("latitude", "deg min", &["lat", "gps.lat", "Latitude"]),
    ("longitude", "deg", &["lon", "gps.lon", "Longitude"]),
    ("altitude", "m", &["ele", "gps.ele", "Altitude", "altitude"]),
    ("state_of_charge", "%", &["soc", "Charge"]),
    ("pack_voltage", "V", &["volts", "battery.pack.0.volts", "Voltage"]),
    ("pack_current", "A", &["amps", "battery.pack.0.amps", "Current"]),
    ("plugged_in", "", &["plugged", "Plugged"]),
    ("regen_level", "", &["level", "Level"]),
];

pub fn settings() -> Settings {
    Settings {
        sources: Vec::new(),
        time_earliest_ns: 0,
        time_latest_ns: i64::MAX,
        frozen_after_s: 10.0,
        memory_bytes: backwatt_ingest::settings::MEMORY_BYTES,
        elevation_tiles: None,
        loads: Vec::new(),
        shifts: Vec::new(),
        weather: None,
    }
}

pub fn source(format: Format, clock: u8) -> Source {
    let mapping = |(name, unit, names): &(&str, &str, &[&str])| Mapping {
        signal: signal::position(name).expect("a signal"),
        names: names.iter().map(|name| (*name).to_owned()).collect(),
        unit: match *unit {
            "deg min" => CellUnit::DegreesMinutes,
            unit => Unit::parse(unit).map_or(CellUnit::None, CellUnit::Plain),
        },
        scale: 1.0,
        fill_forward: clock & 0x40 != 0,
        least: None,
        most: None,
        positive: Positive::Prove,
    };
    let long = Long { signal: "signal".to_owned(), value: "value".to_owned() };
    Source {
        format: Some(format),
        long: (clock & 0x80 != 0).then_some(long),
        vehicle_column: (clock & 0x20 != 0).then(|| "level".to_owned()),
        time: TimeSettings { columns: vec!["time".to_owned()], kind: clock_of(clock), gps: None },
        columns: COLUMNS.iter().map(mapping).collect(),
        ..Source::unmapped()
    }
}

/// One of the clocks a logger may keep.
pub fn clock_of(choice: u8) -> TimeKind {
    let seconds = Unit::parse("s").expect("seconds");
    let milliseconds = Unit::parse("ms").expect("milliseconds");
    let zone = TimeZone::get("America/New_York").unwrap_or(TimeZone::UTC);
    match choice & 0x07 {
        0 | 1 => TimeKind::Iso,
        2 => TimeKind::Epoch(seconds),
        3 => TimeKind::Epoch(milliseconds),
        4 => TimeKind::Relative(seconds),
        5 => TimeKind::Local { format: "%Y-%m-%d %H:%M:%S%.f".to_owned(), zone },
        6 => TimeKind::Local { format: "%m/%d/%Y %I:%M:%S %p".to_owned(), zone },
        _ => TimeKind::DayNumber { epoch: date(1899, 12, 30), first: 0.0, zone, plus: None },
    }
}

/// Reads a log and asserts what holds for any.
pub fn log(source: &Source, bytes: &[u8]) {
    let receipt = doors::read_log(&settings(), source, bytes.to_vec()).expect("nothing is written, so nothing fails");
    assert!(receipt.balances(), "{receipt:?}");
}

/// Panics of foreign readers that are caught and become a file's problem are no findings.
pub fn let_caught_panics_pass() {
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| std::panic::set_hook(Box::new(|_| ())));
}
