//! What each stage does with the tables. Threads and files live here; the kernels know of neither.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use arrow::array::RecordBatch;
use arrow::compute::concat_batches;
use backwatt_estimate::{
    Learned, SessionCapacity, Statistics, StopLengths, Tally, TypeSheet, avoidable_losses, calibration, infer,
    learn, observe, recovery, sampling_audit, signal_value, tally,
};
use backwatt_ingest::Receipt;
use backwatt_physics::replay as replay_vehicle;
use backwatt_pilot::{Pilot, VehicleType};
use backwatt_report::{Answers, ReportInput, ReportOptions};
use backwatt_schema::{BatchView, Place, Problem, Severity, Table, number_at, tables, text_at};
use backwatt_store::{
    Layout, Provenance, StoreError, read_table, read_table_columns, write_bytes, write_table,
};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::{BackwattError, Event, Progress, comparisons, plan, replay_pages, routes, sessions, speeds};

pub fn ingest(
    pilot: &Pilot,
    layout: &Layout,
    provenance: &Provenance,
    progress: Progress<'_>,
) -> Result<Vec<String>, BackwattError> {
    let files: usize = pilot.ingest.sources.iter().map(|source| source.files.len()).sum();
    progress(Event::Stage { name: "ingest", steps: files });
    let step = |what: &str| progress(Event::Step { what: what.to_owned() });
    let outcome = backwatt_ingest::run(&pilot.ingest, layout, provenance, &step)?;
    keep_problems(layout, &outcome.problems)?;
    Ok(outcome.vehicles)
}

/// Tables of the replay stage, one file a vehicle.
pub const REPLAYED: [&Table; 9] = [
    &tables::TRIPS,
    &tables::SEGMENTS,
    &tables::BRAKING_EVENTS,
    &tables::STOPS,
    &tables::CHARGES,
    &tables::APPROACHES,
    &tables::LEVEL_FITS,
    &tables::CROSSINGS,
    &tables::STEP_SWINGS,
];

pub fn replay(
    pilot: &Pilot,
    layout: &Layout,
    vehicles: &[String],
    provenance: &Provenance,
    progress: Progress<'_>,
) -> Result<(), BackwattError> {
    let typed = types(pilot, vehicles)?;
    progress(Event::Stage { name: "replay", steps: vehicles.len() });
    let zone = pilot.zone.clone().unwrap_or(TimeZone::UTC);
    let settings = speeds::with_library(&pilot.replay, layout, &typed)?;
    typed.par_iter().try_for_each(|(vehicle, _, vehicle_type)| {
        let samples = read_samples(layout, vehicle)?;
        let day = |time_ns: i64| service_day(time_ns, &zone);
        let found = replay_vehicle(vehicle, &samples, &vehicle_type.sheet, &settings, &day)?;
        let tables: [(&'static Table, &RecordBatch); 9] = [
            (&tables::TRIPS, &found.trips),
            (&tables::SEGMENTS, &found.segments),
            (&tables::BRAKING_EVENTS, &found.braking_events),
            (&tables::STOPS, &found.stops),
            (&tables::CHARGES, &found.charges),
            (&tables::APPROACHES, &found.approaches),
            (&tables::LEVEL_FITS, &found.level_fits),
            (&tables::CROSSINGS, &found.crossings),
            (&tables::STEP_SWINGS, &found.step_swings),
        ];
        for (table, batch) in tables {
            write_table(&layout.vehicle_table(table, vehicle), table, batch, provenance)?;
        }
        progress(Event::Step { what: (*vehicle).to_owned() });
        Ok::<(), BackwattError>(())
    })?;
    for table in REPLAYED {
        remove_absent(layout, table, vehicles)?;
    }
    Ok(())
}

pub fn estimate(
    pilot: &Pilot,
    layout: &Layout,
    vehicles: &[String],
    provenance: &Provenance,
    progress: Progress<'_>,
) -> Result<(), BackwattError> {
    let typed = types(pilot, vehicles)?;
    progress(Event::Stage { name: "estimate", steps: vehicles.len() });
    let capacities = sessions::write(&pilot.charging, layout, &typed, provenance)?;
    let places = routes::find(pilot, layout, vehicles, provenance)?;
    let learned = learn_types(layout, &typed, &capacities)?;
    let tallies = typed
        .par_iter()
        .map(|(vehicle, type_name, _)| {
            let (segments, trips) = replayed(layout, vehicle)?;
            let Some(posterior) = learned.get(*type_name).and_then(|(of, _)| of.of_vehicle(vehicle)) else {
                return Ok(Tally::new());
            };
            let battery = infer(&segments, &trips, &posterior)?;
            let path = layout.vehicle_table(&tables::SEGMENT_BATTERY, vehicle);
            write_table(&path, &tables::SEGMENT_BATTERY, &battery, provenance)?;
            let of_trips =
                read_table(&layout.vehicle_table(&tables::TRIP_ROUTES, vehicle), &tables::TRIP_ROUTES)?;
            let tally = tally(&segments, &battery, &trips, &of_trips, &posterior)?;
            progress(Event::Step { what: (*vehicle).to_owned() });
            Ok(tally)
        })
        .collect::<Result<Vec<Tally>, BackwattError>>()?;
    remove_absent(layout, &tables::SEGMENT_BATTERY, vehicles)?;
    let trips = |(vehicle, ..): &Typed<'_>| {
        let trips = read_table(&layout.vehicle_table(&tables::TRIPS, vehicle), &tables::TRIPS)?;
        Ok(((*vehicle).to_owned(), trips))
    };
    let trips = typed.iter().map(trips).collect::<Result<Vec<_>, BackwattError>>()?;
    write_table(
        &layout.table(&tables::SAMPLING_AUDIT),
        &tables::SAMPLING_AUDIT,
        &sampling_audit(&trips)?,
        provenance,
    )?;
    let calibrated = calibration(learned.values().map(|(of, _)| of))?;
    write_table(&layout.table(&tables::CALIBRATION), &tables::CALIBRATION, &calibrated, provenance)?;
    let value = signal_value(learned.values().map(|(of, statistics)| (of, statistics.as_slice())))?;
    write_table(&layout.table(&tables::SIGNAL_VALUE), &tables::SIGNAL_VALUE, &value, provenance)?;
    // In the order of the vehicles, whichever thread was first: sums of floats depend on their order.
    let mut merged = Tally::new();
    for (key, sums) in tallies.into_iter().flatten() {
        merged.entry(key).or_default().add(&sums);
    }
    write_table(&layout.table(&tables::RECOVERY), &tables::RECOVERY, &recovery(&merged)?, provenance)?;
    routes::map(layout, vehicles, &places, provenance)?;
    avoidable(layout, vehicles, provenance)?;
    // Side by side: comparisons end in fits that keep one core busy, scenarios take whatever is free.
    let (drivers, days) = rayon::join(
        || comparisons::compare(pilot, layout, &typed, provenance),
        || plan::days(pilot, layout, &typed, &learned, provenance),
    );
    plan::answer(pilot, layout, &typed, days?, &drivers?, provenance)
}

/// First pass over each vehicle, second over the statistics of each type: one vehicle's tables are in memory for each
/// thread, and of the others only their moments.
fn learn_types(
    layout: &Layout,
    typed: &[Typed<'_>],
    capacities: &BTreeMap<String, SessionCapacity>,
) -> Result<BTreeMap<String, (Learned, Vec<Statistics>)>, BackwattError> {
    let observed = typed
        .par_iter()
        .map(|(vehicle, type_name, vehicle_type)| {
            let (segments, trips) = replayed(layout, vehicle)?;
            let sheet = vehicle_type.estimation(type_name);
            let mut statistics = observe(&segments, &trips, &sheet)?;
            // A vehicle without a segment has no row to take its name from.
            statistics.vehicle_id = (*vehicle).to_owned();
            statistics.capacity = capacities.get(*vehicle).copied();
            Ok((sheet, statistics))
        })
        .collect::<Result<Vec<(TypeSheet, Statistics)>, BackwattError>>()?;
    let mut by_type: BTreeMap<String, (TypeSheet, Vec<Statistics>)> = BTreeMap::new();
    for (sheet, statistics) in observed {
        by_type.entry(sheet.name.clone()).or_insert_with(|| (sheet, Vec::new())).1.push(statistics);
    }
    let learned = by_type.into_iter().filter_map(|(name, (sheet, of))| {
        let learned = learn(&sheet, &of)?;
        Some((name, (learned, of)))
    });
    Ok(learned.collect())
}

pub fn replayed(layout: &Layout, vehicle: &str) -> Result<(RecordBatch, RecordBatch), BackwattError> {
    let segments = read_table(&layout.vehicle_table(&tables::SEGMENTS, vehicle), &tables::SEGMENTS)?;
    let trips = read_table(&layout.vehicle_table(&tables::TRIPS, vehicle), &tables::TRIPS)?;
    Ok((segments, trips))
}

/// The same with the routes found, and the table of those.
pub fn replayed_on_routes(
    layout: &Layout,
    vehicle: &str,
) -> Result<(RecordBatch, RecordBatch, RecordBatch), BackwattError> {
    let (segments, trips) = replayed(layout, vehicle)?;
    let found = read_table(&layout.vehicle_table(&tables::TRIP_ROUTES, vehicle), &tables::TRIP_ROUTES)?;
    let segments = routes::with_routes(&tables::SEGMENTS, &segments, &found)?;
    let trips = routes::with_routes(&tables::TRIPS, &trips, &found)?;
    Ok((segments, trips, found))
}

/// References rest on the stops of the whole pilot, so its lengths are counted before any stop is compared.
fn avoidable(layout: &Layout, vehicles: &[String], provenance: &Provenance) -> Result<(), BackwattError> {
    let read =
        |vehicle: &String| read_table(&layout.vehicle_table(&tables::APPROACHES, vehicle), &tables::APPROACHES);
    let counted = vehicles
        .par_iter()
        .map(|vehicle| Ok(StopLengths::of(&read(vehicle)?)?))
        .collect::<Result<Vec<_>, BackwattError>>()?;
    let mut lengths = StopLengths::default();
    counted.iter().for_each(|one| lengths.add(one));
    vehicles.par_iter().try_for_each(|vehicle| {
        let found = read_table(&layout.vehicle_table(&tables::TRIP_ROUTES, vehicle), &tables::TRIP_ROUTES)?;
        let losses = avoidable_losses(&read(vehicle)?, &lengths)?;
        let losses = routes::with_routes(&tables::AVOIDABLE_LOSSES, &losses, &found)?;
        let path = layout.vehicle_table(&tables::AVOIDABLE_LOSSES, vehicle);
        write_table(&path, &tables::AVOIDABLE_LOSSES, &losses, provenance)?;
        Ok::<(), BackwattError>(())
    })?;
    remove_absent(layout, &tables::AVOIDABLE_LOSSES, vehicles)
}

pub fn report(
    pilot: &Pilot,
    layout: &Layout,
    vehicles: &[String],
    problems: &[Problem],
    provenance: &Provenance,
    options: ReportOptions,
) -> Result<Answers, BackwattError> {
    // A drive in full, with its places, is nothing to share.
    let replays = if options.no_pages || options.to_share {
        BTreeMap::new()
    } else {
        replay_pages::write(pilot, layout, vehicles, &provenance.program)?
    };
    let input = ReportInput {
        replays,
        pilot_name: pilot.name.clone(),
        metric: pilot.units == backwatt_pilot::DisplayUnits::Metric,
        vehicles: vehicles.to_vec(),
        vehicle_types: vehicles
            .iter()
            .map(|vehicle| pilot.type_of(vehicle).map_or(String::new(), |(name, _)| name.to_owned()))
            .collect(),
        settings: pilot.settings.iter().map(setting_row).collect(),
        problems: problems.to_vec(),
        program: provenance.program.clone(),
        drivers_are_pseudonyms: pilot.pseudonyms,
    };
    Ok(backwatt_report::write(&input, layout, provenance, options)?)
}

fn setting_row(setting: &backwatt_pilot::Setting) -> backwatt_report::SettingRow {
    let origin = match &setting.origin {
        backwatt_pilot::Origin::File { line } => format!("pilot file, line {line}"),
        backwatt_pilot::Origin::Default { source } => format!("default: {source}"),
    };
    backwatt_report::SettingRow { key: setting.key.clone(), value: setting.value.clone(), origin }
}

/// A vehicle with the name of its type and the type.
pub type Typed<'p> = (&'p str, &'p str, &'p VehicleType);

pub fn types<'p>(pilot: &'p Pilot, vehicles: &'p [String]) -> Result<Vec<Typed<'p>>, BackwattError> {
    let mut typed = Vec::new();
    let mut problems = Vec::new();
    for vehicle in vehicles {
        match pilot.type_of(vehicle) {
            Some((name, vehicle_type)) => typed.push((vehicle.as_str(), name, vehicle_type)),
            None => problems.push(
                Problem::error("run-vehicle-untyped", format!("vehicle \"{vehicle}\" has no vehicle type"))
                    .named(format!("vehicles.{vehicle}"))
                    .hint(format!(
                        "[vehicles.\"{vehicle}\"]\ntype = \"...\", or vehicle_type = \"...\" in its source"
                    )),
            ),
        }
    }
    if problems.is_empty() { Ok(typed) } else { Err(BackwattError::Problems(problems)) }
}

/// A vehicle's months, put together.
pub fn read_samples(layout: &Layout, vehicle: &str) -> Result<RecordBatch, BackwattError> {
    read_columns(layout, vehicle, None)
}

/// The same, of some columns only where they are named.
pub fn read_columns(
    layout: &Layout,
    vehicle: &str,
    columns: Option<&[&str]>,
) -> Result<RecordBatch, BackwattError> {
    let folder = layout.samples_folder(vehicle);
    let io = |source| BackwattError::Io { doing: "list", path: folder.clone(), source };
    let mut months: Vec<_> =
        std::fs::read_dir(&folder).map_err(io)?.flatten().map(|entry| entry.path()).collect();
    months.sort();
    let read = |month: &PathBuf| match columns {
        Some(columns) => read_table_columns(month, &tables::SAMPLES, columns),
        None => read_table(month, &tables::SAMPLES),
    };
    let batches = months.iter().map(read).collect::<Result<Vec<_>, _>>()?;
    let schema = batches.first().map_or_else(|| tables::SAMPLES.schema(), RecordBatch::schema);
    concat_batches(&schema, &batches).map_err(|error| {
        BackwattError::Batch(backwatt_schema::BatchError::Arrow {
            table: tables::SAMPLES.name.to_owned(),
            message: error.to_string(),
        })
    })
}

/// The day a trip belongs to: cut at 03:00 local, so that a late round stays whole.
fn service_day(time_ns: i64, zone: &TimeZone) -> String {
    let stamp = Timestamp::from_nanosecond(i128::from(time_ns)).unwrap_or(Timestamp::UNIX_EPOCH);
    let civil = zone.to_datetime(stamp);
    civil.checked_sub(3.hours()).unwrap_or(civil).date().to_string()
}

pub fn remove_absent(layout: &Layout, table: &'static Table, vehicles: &[String]) -> Result<(), BackwattError> {
    let keep: Vec<_> = vehicles.iter().map(|vehicle| layout.vehicle_table(table, vehicle)).collect();
    let Ok(entries) = std::fs::read_dir(layout.root().join(table.name)) else { return Ok(()) };
    let ours = |path: &std::path::PathBuf| path.extension().is_some_and(|e| e == "parquet");
    for path in entries.flatten().map(|entry| entry.path()).filter(|path| ours(path) && !keep.contains(path)) {
        std::fs::remove_file(&path).map_err(|source| BackwattError::Io { doing: "remove", path, source })?;
    }
    Ok(())
}

/// The receipts of the last ingest; none when there was none.
pub fn receipts(layout: &Layout) -> Result<Vec<Receipt>, BackwattError> {
    let path = layout.table(&tables::RECEIPTS);
    if !path.exists() {
        return Ok(Vec::new());
    }
    let batch = read_table(&path, &tables::RECEIPTS)?;
    let view = BatchView::new(&tables::RECEIPTS, &batch);
    let (files, sources) = (view.texts("source_file")?, view.texts("source")?);
    let (rows_in, kept, rejected) =
        (view.counts("rows_in")?, view.counts("rows_kept")?, view.counts("rows_rejected")?);
    let interval = view.numbers("sample_interval_s")?;
    let problem = view.texts("problem")?;
    let receipt = |row: usize| Receipt {
        source_file: files.value(row).to_owned(),
        source: sources.value(row).to_owned(),
        rows_in: rows_in.value(row),
        rows_kept: kept.value(row),
        rows_rejected: rejected.value(row),
        sample_interval_s: number_at(interval, row),
        problem: text_at(problem, row).map(str::to_owned),
        ..Receipt::default()
    };
    Ok((0..view.rows()).map(receipt).collect())
}

/// Problems met while reading logs outlive the stage: a later report shows them too.
#[derive(Serialize, Deserialize)]
struct KeptProblem {
    code: String,
    warning: bool,
    message: String,
    file: Option<String>,
    line: Option<u64>,
    name: Option<String>,
    value: Option<String>,
    hint: String,
}

fn problems_path(layout: &Layout) -> std::path::PathBuf {
    layout.root().join(".stamps").join("problems.json")
}

fn keep_problems(layout: &Layout, problems: &[Problem]) -> Result<(), StoreError> {
    let kept: Vec<KeptProblem> = problems
        .iter()
        .map(|p| KeptProblem {
            code: p.code.to_owned(),
            warning: p.severity == Severity::Warning,
            message: p.message.clone(),
            file: p.place.file.clone(),
            line: p.place.line,
            name: p.place.name.clone(),
            value: p.place.value.clone(),
            hint: p.hint.clone(),
        })
        .collect();
    write_bytes(&problems_path(layout), serde_json::to_string_pretty(&kept).unwrap_or_default().as_bytes())
}

/// Codes a kept problem may have: they are static texts of this program.
const KEPT_CODES: [&str; 8] = [
    "ingest-clock-off",
    "ingest-clock-unfollowed",
    "ingest-file-unreadable",
    "ingest-shift-contradicted",
    "ingest-sign-contradicted",
    "ingest-sign-unproved",
    "ingest-tile-unreadable",
    "ingest-unit-suspected",
];

pub fn kept_problems(layout: &Layout) -> Vec<Problem> {
    let read = |path: &Path| serde_json::from_slice::<Vec<KeptProblem>>(&std::fs::read(path).ok()?).ok();
    let kept = read(&problems_path(layout)).unwrap_or_default();
    kept.into_iter()
        .map(|k| {
            let code = KEPT_CODES.into_iter().find(|code| *code == k.code).unwrap_or("ingest-problem");
            let severity = if k.warning { Severity::Warning } else { Severity::Note };
            let place = Place { file: k.file, line: k.line, name: k.name, value: k.value };
            Problem { code, severity, message: k.message, place, hint: k.hint }
        })
        .collect()
}
