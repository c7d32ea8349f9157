//! NMEA, CAN and MDF files that other programs wrote, and what other programs read in them (`fixtures/formats`).

use std::collections::{BTreeMap, HashMap};
use std::path::PathBuf;

use super::can::DbcFile;
use super::{Fields, Format, RowText};
use crate::input::{Input, Unpacking};
use crate::settings::{CellUnit, LogFile, Mapping, Positive, Source};

fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/formats").join(name)
}

/// The lines of a fixture below its header, cell by cell.
fn table(name: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(fixture(name)).unwrap();
    text.lines().skip(1).map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

struct Read {
    names: Vec<String>,
    /// Line or number, and cells; a refused record has the reason alone.
    records: Vec<(u64, Vec<String>)>,
    end: Result<(), String>,
}

impl Read {
    fn column(&self, name: &str) -> usize {
        self.names.iter().position(|n| n == name).unwrap_or_else(|| panic!("{name} in {:?}", self.names))
    }

    fn texts(&self, name: &str) -> Vec<&str> {
        let at = self.column(name);
        self.records.iter().map(|(_, cells)| cells[at].as_str()).collect()
    }

    fn numbers(&self, name: &str) -> Vec<f64> {
        self.texts(name).iter().filter_map(|text| text.parse().ok()).collect()
    }
}

fn read(path: PathBuf, format: Format, dbc: Option<&str>, wanted: &[&str]) -> Result<Read, String> {
    let mapping = |name: &&str| Mapping {
        signal: 0,
        names: vec![(*name).to_owned()],
        unit: CellUnit::None,
        scale: 1.0,
        fill_forward: false,
        least: None,
        most: None,
        positive: Positive::Prove,
    };
    let columns = wanted.iter().map(mapping).collect();
    let source = Source {
        format: Some(format),
        dbc: dbc.map(|name| DbcFile::new(fixture(name))),
        columns,
        ..Source::unmapped()
    };
    let file = LogFile { shown: String::new(), member: None, vehicle: None, path };
    let input = Input::open(&file, Unpacking::default()).map_err(|error| error.to_string())?;
    let mut opened = super::open(&source, input).map_err(|error| error.to_string())?;
    let names = opened.records.names().to_vec();
    let (mut records, mut fields) = (Vec::new(), Fields::default());
    let end = loop {
        match opened.records.next(&mut fields) {
            Ok(RowText::End) => break Ok(()),
            Ok(RowText::Row { line, .. }) => {
                let cells: Vec<_> =
                    fields.iter().map(|cell| String::from_utf8(cell.to_vec()).unwrap()).collect();
                assert_eq!(cells.len(), names.len());
                records.push((line, cells));
            }
            Ok(RowText::Refused { line, reason, .. }) => records.push((line, vec![reason.to_owned()])),
            Err(error) => break Err(error.to_string()),
        }
    };
    Ok(Read { names, records, end })
}

fn read_fixture(name: &str, format: Format, dbc: Option<&str>, wanted: &[&str]) -> Read {
    read(fixture(name), format, dbc, wanted).unwrap()
}

/// pynmea2 1.19: the numbers of every sentence. It adds degrees and minutes in doubles, so the last digit may differ.
#[test]
fn nmea_as_pynmea2_reads_it() {
    let ours = read_fixture("nmea.log", Format::Nmea, None, &[]);
    assert_eq!(ours.records.len(), 60);
    let mut compared = 0;
    for theirs in table("nmea-as-pynmea2-reads.csv") {
        let line: u64 = theirs[0].parse().unwrap();
        let (_, cells) = ours.records.iter().rev().find(|(first, _)| *first <= line).unwrap();
        let columns = ["latitude_deg", "longitude_deg", "altitude_m", "speed_kn", "speed_km_h", "satellites"];
        for (name, text) in columns.iter().zip(&theirs[2..]).filter(|(_, text)| !text.is_empty()) {
            let (own, other): (f64, f64) = (cells[ours.column(name)].parse().unwrap(), text.parse().unwrap());
            assert!(
                (own - other).abs() <= 4.0 * f64::EPSILON * other.abs(),
                "line {line}, {name}: {own} {other}"
            );
            compared += 1;
        }
    }
    assert_eq!(compared, 60 * (3 + 2 + 4));
}

/// cantools 45.1: signals of random frames in both byte orders, signed, floating, multiplexed. It scales in doubles, we in
/// decimals.
#[test]
fn frames_as_cantools_decodes_them() {
    let letters: Vec<String> = ('A'..='O').map(String::from).collect();
    let wanted: Vec<&str> = letters.iter().map(String::as_str).collect();
    let ours = read_fixture("can-odd.log", Format::Candump, Some("can-odd.dbc"), &wanted);
    let by_line: HashMap<u64, &Vec<String>> = ours.records.iter().map(|(line, cells)| (*line, cells)).collect();
    let mut of_signal: BTreeMap<String, u32> = BTreeMap::new();
    for theirs in table("can-odd-as-cantools-reads.csv") {
        let (name, other): (_, f64) = (theirs[1].as_str(), theirs[2].parse().unwrap());
        let own: f64 = by_line[&theirs[0].parse().unwrap()][ours.column(name)].parse().unwrap();
        assert!((own - other).abs() <= 4.0 * f64::EPSILON * other.abs().max(1.0), "{theirs:?} {own}");
        *of_signal.entry(name.to_owned()).or_default() += 1;
    }
    assert_eq!(of_signal.len(), 15, "every signal: {of_signal:?}");
    let ours_filled: usize =
        ours.records.iter().map(|(_, cells)| cells[2..].iter().filter(|c| !c.is_empty()).count()).sum();
    assert_eq!(ours_filled as u32, of_signal.values().sum::<u32>(), "and no other");
}

/// A minute by J1939 from three senders, against exact decimals: with a DBC of another sender, and without. Every tenth
/// second holds reserved codes, which are no values.
#[test]
fn j1939_with_and_without_a_database() {
    let ours = ["wheel_based_vehicle_speed_km_h", "latitude_deg", "longitude_deg", "altitude_m"];
    let ours = [
        &ours[..],
        &["energy_storage_voltage_v", "energy_storage_current_a", "fast_update_state_of_charge_pct"],
    ]
    .concat();
    let theirs =
        ["WheelBasedVehicleSpeed", "Latitude", "Longitude", "Altitude", "Voltage", "Current", "StateOfCharge"];
    for (wanted, dbc) in [(&ours[..], None), (&theirs[..], Some("can-j1939.dbc"))] {
        let read = read_fixture("can-j1939.log", Format::Candump, dbc, wanted);
        let mut met = 0;
        for expected in table("can-j1939.csv") {
            for (name, text) in wanted.iter().zip(&expected[1..]) {
                let at = read.column(name);
                let here = read.records.iter().filter(|(_, cells)| cells[0] == expected[0]);
                let values: Vec<f64> = here.filter_map(|(_, cells)| cells[at].parse().ok()).collect();
                let exact: Vec<f64> = text.parse().into_iter().collect();
                assert_eq!(values, exact, "{name} at {}", expected[0]);
                met += values.len();
            }
        }
        assert_eq!(met, 7 * 54);
    }
}

#[test]
fn both_forms_of_candump_hold_the_same() {
    let wanted = ["Speed", "Latitude", "Voltage", "Charge", "Plugged"];
    let cells = |name: &str| read_fixture(name, Format::Candump, Some("can.dbc"), &wanted).records;
    assert_eq!(cells("can.log"), cells("can-terminal.log"));
    assert!(cells("can.log").len() > 200);
}

/// asammdf 8.8: three groups with clocks of their own, lines through whole numbers of both byte orders, singles.
#[test]
fn channels_as_asammdf_reads_them() {
    let names =
        ["speed_fast", "seventh_fast", "speed_slow", "seventh_slow", "speed_odd", "seventh_odd", "fast.count"];
    let ours = read_fixture("mdf-rates.mf4", Format::Mdf, None, &names);
    ours.end.as_ref().unwrap();
    let mut theirs: HashMap<String, Vec<(f64, f64)>> = HashMap::new();
    for row in table("mdf-rates-as-asammdf-reads.csv") {
        theirs.entry(row[1].clone()).or_default().push((row[0].parse().unwrap(), row[2].parse().unwrap()));
    }
    let clock = ours.column("time_s");
    for name in &names[..6] {
        let at = ours.column(name);
        let filled = ours.records.iter().filter(|(_, cells)| !cells[at].is_empty());
        let own: Vec<(f64, f64)> =
            filled.map(|(_, cells)| (cells[clock].parse().unwrap(), cells[at].parse().unwrap())).collect();
        assert_eq!(own, theirs[*name], "{name}");
    }
    assert_eq!(ours.records.len(), 500 + 40 + 30);
    assert_eq!(ours.texts("fast.count").iter().filter(|text| !text.is_empty()).count(), 500);
    let times = ours.numbers("time_s");
    assert!(times.is_sorted(), "groups are merged in the order of time");
    assert_eq!(ours.records[7].0, 7);
    assert_eq!(ours.texts("time")[1], "2026-03-02T06:30:00.001Z", "the first of the slow group");
}

/// Written by hand, read back by asammdf: two groups in one stream of records; counts and length left open.
#[test]
fn unsorted_and_unfinished_files() {
    let speed: Vec<f64> = table("minute.csv").iter().map(|row| row[1].parse().unwrap()).collect();
    let soc: Vec<f64> = table("minute.csv").iter().filter_map(|row| row[5].parse().ok()).collect();
    for name in ["mdf-unsorted.mf4", "mdf-unfinished.mf4"] {
        let ours = read_fixture(name, Format::Mdf, None, &["speed", "soc"]);
        assert_eq!((&ours.numbers("speed"), &ours.numbers("soc")), (&speed, &soc), "{name}");
        assert_eq!(ours.end, Ok(()), "{name}");
    }
    let local = read_fixture("mdf-local.mf4", Format::Mdf, None, &["speed"]);
    assert_eq!(local.names, ["time_s", "local_time", "speed"]);
    assert_eq!(local.texts("local_time")[59], "2026-03-02T06:30:59");
    assert_eq!(local.numbers("speed"), speed);
}

/// Cut anywhere, a file is an error or says that it is cut short; it never has values that were not in it.
#[test]
fn cut_and_damaged_mdf_files() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("cut.mf4");
    let check = |bytes: &[u8]| {
        std::fs::write(&path, bytes).unwrap();
        read(path.clone(), Format::Mdf, None, &["speed", "soc"])
    };
    for name in ["mdf-unsorted.mf4", "mdf-4.10.mf4", "mdf-4.11-transposed.mf4"] {
        let whole = std::fs::read(fixture(name)).unwrap();
        let all = check(&whole).unwrap().numbers("speed");
        assert_eq!(all.len(), 60, "{name}");
        for cut in (0..whole.len()).step_by(41) {
            if let Ok(read) = check(&whole[..cut]) {
                let speed = read.numbers("speed");
                assert!(all.starts_with(&speed), "{name} cut at {cut}");
                assert!(speed.len() == 60 || read.end.is_err(), "{name} cut at {cut}: {} of 60", speed.len());
            }
        }
        // Any one byte replaced: no panic, no hang; an error or whatever the bytes now say.
        for at in (0..whole.len()).step_by(29) {
            for byte in [0x00, 0x7F, 0xFF] {
                let mut damaged = whole.clone();
                damaged[at] = byte;
                let _ = check(&damaged);
            }
        }
    }
}
