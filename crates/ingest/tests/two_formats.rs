//! A stretch of a real log (`fixtures/real/trolleybus`) gives the same samples to the last bit, whether it is read as it was published,
//! or out of Parquet and JSON as other libraries write its numbers.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, RecordBatch, StringArray};
use backwatt_ingest::settings::{
    CellUnit, LogFile, MEMORY_BYTES, Mapping, Positive, Source, TimeKind, TimeSettings,
};
use backwatt_ingest::{Receipt, Settings, run};
use backwatt_schema::tables::SAMPLES;
use backwatt_schema::unit::Unit;
use backwatt_store::{Layout, Provenance, read_table};

/// Names and rows of the excerpt.
struct Log {
    names: Vec<String>,
    rows: Vec<Vec<String>>,
}

fn published() -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/real/trolleybus");
    let files = std::fs::read_dir(folder).expect("the fixture").flatten().map(|entry| entry.path());
    files.into_iter().find(|path| path.extension().is_some_and(|ending| ending == "csv")).expect("a log")
}

fn read(path: &Path) -> Log {
    let text = std::fs::read_to_string(path).expect("readable");
    // Every other piece between quotes is a cell's text, commas and all.
    let cells = |line: &str| {
        let mut cells = vec![String::new()];
        for (at, piece) in line.split('"').enumerate() {
            let mut parts =
                if at % 2 == 1 { vec![piece] } else { piece.split(',').collect::<Vec<_>>() }.into_iter();
            cells.last_mut().expect("one at least").push_str(parts.next().unwrap_or_default());
            cells.extend(parts.map(str::to_owned));
        }
        cells
    };
    let mut lines = text.lines().map(cells);
    let names = lines.next().expect("a header");
    let rows: Vec<_> = lines.collect();
    assert!(rows.len() > 1000 && rows.iter().all(|row| row.len() == names.len()));
    Log { names, rows }
}

impl Log {
    /// Whether all cells of a column are numbers.
    fn is_number(&self, at: usize) -> bool {
        self.rows.iter().all(|row| row[at].parse::<f64>().is_ok())
    }

    fn number(&self, row: usize, at: usize) -> Option<f64> {
        self.rows[row][at].parse().ok().filter(|number: &f64| number.is_finite())
    }

    fn as_parquet(&self) -> Vec<u8> {
        let column = |at: usize| -> ArrayRef {
            if self.is_number(at) {
                Arc::new(Float64Array::from_iter((0..self.rows.len()).map(|row| self.number(row, at))))
            } else {
                Arc::new(StringArray::from_iter_values(self.rows.iter().map(|row| &row[at])))
            }
        };
        let columns = self.names.iter().enumerate().map(|(at, name)| (name, column(at)));
        let batch = RecordBatch::try_from_iter(columns).expect("a batch");
        let mut writer =
            parquet::arrow::ArrowWriter::try_new(Vec::new(), batch.schema(), None).expect("a writer");
        writer.write(&batch).expect("writable");
        writer.into_inner().expect("written")
    }

    fn as_ndjson(&self) -> Vec<u8> {
        let value = |row: usize, at: usize| {
            if self.is_number(at) {
                self.number(row, at).map_or(serde_json::Value::Null, serde_json::Value::from)
            } else {
                self.rows[row][at].clone().into()
            }
        };
        let object = |row: usize| {
            let members = self.names.iter().enumerate().map(|(at, name)| (name.clone(), value(row, at)));
            serde_json::Value::Object(members.collect()).to_string() + "\n"
        };
        (0..self.rows.len()).map(object).collect::<String>().into_bytes()
    }
}

/// As the excerpt's own pilot file maps it.
fn source(log: &Path) -> Source {
    let mapping = |signal: &str, unit: &str, name: &str, scale: f64| Mapping {
        signal: backwatt_ingest::signal::position(signal).expect("a signal"),
        names: vec![name.to_owned()],
        unit: Unit::parse(unit).map_or(CellUnit::None, CellUnit::Plain),
        scale,
        fill_forward: matches!(signal, "payload" | "route"),
        least: None,
        most: None,
        positive: Positive::Prove,
    };
    let file = LogFile {
        path: log.to_owned(),
        member: None,
        shown: "log".to_owned(),
        vehicle: Some("B183".to_owned()),
    };
    Source {
        name: "s".to_owned(),
        files: vec![file],
        time: TimeSettings { columns: vec!["time_iso".to_owned()], kind: TimeKind::Iso, gps: None },
        columns: vec![
            mapping("speed", "m/s", "odometry_vehicleSpeed", 1.0),
            mapping("altitude", "m", "gnss_altitude", 1.0),
            mapping("latitude", "rad", "gnss_latitude", 1.0),
            mapping("longitude", "rad", "gnss_longitude", 1.0),
            mapping("pack_power", "W", "electric_powerDemand", 1.0),
            mapping("wheel_force", "N", "traction_tractionForce", 1.0),
            mapping("brake_pressure", "Pa", "traction_brakePressure", 1.0),
            mapping("ambient_temperature", "K", "temperature_ambient", 1.0),
            mapping("payload", "kg", "itcs_numberOfPassengers", 70.0),
            mapping("route", "", "itcs_busRoute", 1.0),
            mapping("overhead_line", "", "status_gridIsAvailable", 1.0),
        ],
        ..Source::unmapped()
    }
}

fn ingest(bytes: &[u8]) -> (RecordBatch, Receipt) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("log");
    std::fs::write(&path, bytes).expect("writable");
    let settings = Settings {
        sources: vec![source(&path)],
        time_earliest_ns: 0,
        time_latest_ns: i64::MAX,
        frozen_after_s: 10.0,
        memory_bytes: MEMORY_BYTES,
        elevation_tiles: None,
        loads: Vec::new(),
        shifts: Vec::new(),
        weather: None,
    };
    let layout = Layout::new(folder.path().join("out"));
    let outcome = run(&settings, &layout, &Provenance::default(), &|_| ()).expect("it runs");
    let samples = layout.samples_folder("B183").join("2021-07.parquet");
    (read_table(&samples, &SAMPLES).expect("samples"), outcome.receipts[0].clone())
}

#[test]
fn a_real_log_is_the_same_in_three_formats() {
    let path = published();
    let log = read(&path);
    let (wanted, receipt) = ingest(&std::fs::read(&path).expect("readable"));
    assert_eq!((receipt.rows_kept as usize, receipt.cells_refused), (log.rows.len(), 0));
    let dialects = [(log.as_parquet(), "Parquet"), (log.as_ndjson(), "JSON, an object a line")];
    for (bytes, dialect) in dialects {
        let (samples, told) = ingest(&bytes);
        assert_eq!(told.dialect.as_deref(), Some(dialect));
        for column in SAMPLES.columns.iter().map(|column| column.name).filter(|name| *name != "source_line") {
            assert_eq!(samples.column_by_name(column), wanted.column_by_name(column), "{dialect}: {column}");
        }
        // All but where a row stands in its file is counted alike as well.
        let counts = |receipt: &Receipt| {
            let rules: Vec<_> = receipt.rules.clone().into_iter().collect();
            (receipt.rows_in, receipt.rows_kept, receipt.rows_frozen, receipt.cells_filled, rules)
        };
        assert_eq!(counts(&told), counts(&receipt), "{dialect}");
    }
}
