//! A log that says little, and the tables beside it: what each fills, to the row.

use std::path::Path;

use arrow::array::{Array, RecordBatch};
use backwatt_pilot::{DepotPlace, Pilot};
use backwatt_schema::{BatchView, Table, number_at, tables, text_at};
use backwatt_store::{Layout, Provenance, read_table};

fn pilot() -> Pilot {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/beside/pilot.toml");
    backwatt_pilot::read(&path).unwrap_or_else(|problems| panic!("{problems:#?}"))
}

fn texts(batch: &RecordBatch, table: &'static Table, name: &str) -> Vec<Option<String>> {
    let array = BatchView::new(table, batch).texts(name).unwrap_or_else(|e| panic!("{e}"));
    (0..array.len()).map(|row| text_at(array, row).map(str::to_owned)).collect()
}

fn numbers(batch: &RecordBatch, name: &str) -> Vec<Option<f64>> {
    let array = BatchView::new(&tables::SAMPLES, batch).numbers(name).unwrap_or_else(|e| panic!("{e}"));
    (0..array.len()).map(|row| number_at(array, row)).collect()
}

fn marked(batch: &RecordBatch, name: &str) -> Vec<usize> {
    let array = BatchView::new(&tables::SAMPLES, batch).flags(name).unwrap_or_else(|e| panic!("{e}"));
    (0..array.len()).filter(|row| array.value(*row)).collect()
}

#[test]
fn each_table_fills_what_the_log_leaves_open() {
    let pilot = pilot();
    let folder = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
    let layout = Layout::new(folder.path());
    let outcome = backwatt_ingest::run(&pilot.ingest, &layout, &Provenance::default(), &|_: &str| {})
        .unwrap_or_else(|e| panic!("{e}"));
    let path = layout.samples_folder("T1").join("2026-03.parquet");
    let samples = read_table(&path, &tables::SAMPLES).unwrap_or_else(|e| panic!("{e}"));

    // Shifts: the log's own 50 rows stand, against the shift, and that is said once without a name.
    let drivers = texts(&samples, &tables::SAMPLES, "driver_id");
    assert_eq!(
        [0, 99, 100, 149, 150, 199].map(|row| drivers[row].as_deref()),
        ["D2", "D2", "D1", "D1", "D2", "D2"].map(Some)
    );
    assert_eq!(
        [drivers[200].as_deref(), drivers[399].as_deref(), drivers[400].as_deref()],
        [Some("D3"), Some("D3"), None]
    );
    assert_eq!(marked(&samples, "mask_shift").len(), 350);
    let said: Vec<_> = outcome.problems.iter().map(|p| (p.code, p.place.line)).collect();
    assert_eq!(said, [("ingest-shift-contradicted", Some(2))]);
    assert!(outcome.problems[0].message.ends_with("on 50 rows"), "{}", outcome.problems[0]);

    // Weather: half-way between 4 and 6 degrees at the start; west wind at 0.7 of the mast's.
    let temperature = numbers(&samples, "temperature_ambient_k");
    assert!(temperature[0].is_some_and(|k| (k - 278.15).abs() < 1e-9), "{:?}", temperature[0]);
    assert!(temperature[360].is_some_and(|k| (k - 278.35).abs() < 1e-9), "{:?}", temperature[360]);
    let (speed, from) = (numbers(&samples, "wind_speed_m_s"), numbers(&samples, "wind_from_deg"));
    assert!(speed[5].is_some_and(|speed| (speed - 7.0).abs() < 1e-9));
    assert!(from[5].is_some_and(|from| (from - 270.0).abs() < 1e-9));
    assert_eq!(numbers(&samples, "air_pressure_pa")[5], None, "nobody said it");
    assert_eq!(marked(&samples, "mask_weather_temperature").len(), samples.num_rows());
    assert!(marked(&samples, "mask_weather_pressure").is_empty());

    // Routes: driven against the way it is drawn, 33 m beside it.
    let (_, vehicle_type) = pilot.type_of("T1").unwrap_or_else(|| panic!("a type"));
    let day = |_: i64| "2026-03-04".to_owned();
    let replayed = backwatt_physics::replay("T1", &samples, &vehicle_type.sheet, &pilot.replay, &day)
        .unwrap_or_else(|e| panic!("{e}"));
    let of_trips = |name| texts(&replayed.trips, &tables::TRIPS, name);
    assert_eq!(of_trips("route_id"), [Some("quay road".to_owned())]);
    assert_eq!(of_trips("route_basis"), [Some("map".to_owned())]);
    let air = texts(&replayed.segments, &tables::SEGMENTS, "air_basis");
    assert!(air.iter().flatten().all(|air| air.contains("temperature table")), "{air:?}");
    assert_eq!(texts(&replayed.segments, &tables::SEGMENTS, "wind_basis")[0].as_deref(), Some("table"));
}

#[test]
fn sessions_and_depots_are_there_for_others() {
    let pilot = pilot();
    assert_eq!(pilot.charging.sessions.len(), 2);
    assert_eq!(pilot.charging.sessions[1].vehicle, "T9");
    assert_eq!(pilot.depots[0].place, DepotPlace::Point((-45.0, -130.0)));
    assert!(pilot.settings.iter().any(|setting| setting.key == "charging.ac_efficiency"));
}

/// Each table at fault stops the pilot and is named with its own file.
#[test]
fn a_table_at_fault_is_named_with_its_file() {
    let folder = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
    let fixture = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/beside");
    std::fs::create_dir(folder.path().join("logs")).unwrap_or_else(|e| panic!("{e}"));
    let copy = |name: &str| {
        std::fs::copy(fixture.join(name), folder.path().join(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
    };
    let names = ["pilot.toml", "logs/T1.csv", "shifts.csv", "weather.csv", "sessions.csv", "routes.geojson"];
    names.into_iter().for_each(copy);
    let path = folder.path().join("pilot.toml");
    assert!(backwatt_pilot::read(&path).is_ok());
    for (name, code) in [
        ("shifts.csv", "pilot-shifts"),
        ("weather.csv", "pilot-weather-table"),
        ("sessions.csv", "pilot-charge-sessions"),
        ("routes.geojson", "pilot-routes"),
    ] {
        std::fs::write(folder.path().join(name), "nonsense\n").unwrap_or_else(|e| panic!("{e}"));
        let problems = backwatt_pilot::read(&path).err().unwrap_or_default();
        assert!(problems.iter().all(|problem| problem.code == code), "{name}: {problems:?}");
        assert!(problems[0].place.file.as_deref().is_some_and(|file| file.ends_with(name)), "{problems:?}");
        std::fs::remove_file(folder.path().join(name)).unwrap_or_else(|e| panic!("{e}"));
        let problems = backwatt_pilot::read(&path).err().unwrap_or_default();
        assert!(problems.iter().any(|problem| problem.code == code), "{name} is not there: {problems:?}");
        copy(name);
    }
}
