//! Reads the tables, writes the report.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use arrow::array::RecordBatch;
use backwatt_schema::{BatchView, Table, tables};
use backwatt_store::{
    Layout, Provenance, StoreError, TableWriter, read_table, write_bytes, write_table, write_with,
};

use crate::answers::Answers;
use crate::share::Censor;
use crate::shell::Site;
use crate::source::Source;
use crate::topics::{self, Tables};
use crate::trust::Trust;
use crate::{ReportError, ReportInput, ReportOptions, balance, export, named_events, refused, site};

/// Tables too long for JSON: one row for each event of each trip.
static LONG: [&Table; 3] = [&tables::BRAKING_EVENTS, &tables::STOPS, &tables::CHARGES];
/// Said on every page of a copy that may leave.
const SHARED: &str = "A copy to share: people, vehicles and found routes go by pseudonyms; trips, places and small groups are left out.";

/// Writes `braking_balance.parquet` and the report folder, and gives the answers.
pub fn write(
    input: &ReportInput,
    layout: &Layout,
    provenance: &Provenance,
    options: ReportOptions,
) -> Result<Answers, ReportError> {
    let censor = if options.to_share { Censor::leaving(input, layout)? } else { Censor::own(input, layout)? };
    let source = Source::new(layout, &censor);
    let exports = Exports::new(&source, input, layout, provenance, &censor);
    let mut trust = Trust::default();
    let receipts = source.table(&tables::RECEIPTS)?;
    trust.read_receipts(&receipts)?;
    let recovery = source.table(&tables::RECOVERY)?;
    let mut trips = Vec::new();
    for vehicle in &input.vehicles {
        let own = source.vehicle_table(&tables::TRIPS, vehicle)?;
        trust.add_trips(&own)?;
        trips.push(own);
    }
    let balance = balances(input, layout, provenance)?;
    let balance = source.shown(&tables::BRAKING_BALANCE, balance)?;
    let shown = ReportInput {
        settings: censor.settings(&input.settings),
        problems: if censor.leaves() { Vec::new() } else { input.problems.clone() },
        ..input.clone()
    };
    let mut answers = Answers::new(&shown, &recovery, &balance, trust)?;
    trips.iter().try_for_each(|batch| answers.place_trips(batch))?;
    let estimates = Tables::read(&source, input.metric, &shown.settings)?;
    answers.topics = topics::all(&estimates)?;
    answers.people = topics::people(&estimates)?;
    if !censor.leaves() {
        let places = topics::places(&estimates)?;
        answers.event_places = named_events::places(&source, &input.vehicles, &answers.people, &places)?;
    }
    answers.taken_out = censor.told(layout, input);

    for (table, batch) in
        [(&tables::RECOVERY, &recovery), (&tables::BRAKING_BALANCE, &balance), (&tables::RECEIPTS, &receipts)]
    {
        exports.write(table, std::slice::from_ref(batch))?;
    }
    if !censor.leaves() {
        exports.write(&tables::TRIPS, &trips)?;
        LONG.iter().try_for_each(|table| exports.write_each_vehicle(table))?;
        exports.write(&tables::REJECTS, &refused::first(&source, layout)?)?;
    }
    for table in topics::SHOWN {
        let Some(batch) = estimates.batch(table) else { continue };
        exports.write(table, std::slice::from_ref(batch))?;
    }
    if let Some(cells) = estimates.batch(&tables::ROAD_CELLS) {
        let svg = topics::to_share(cells, input.metric)?;
        exports.file("map-to-share.svg", svg.as_bytes())?;
    }
    let mut json = serde_json::to_vec_pretty(&answers)?;
    json.push(b'\n');
    exports.file("answers.json", &json)?;
    exports.file("summary.txt", crate::text(&answers).as_bytes())?;
    if !answers.taken_out.is_empty() {
        exports.file("taken-out.txt", format!("{}\n", answers.taken_out.join("\n")).as_bytes())?;
    }
    if !options.no_pages {
        let site = Site {
            pilot: input.pilot_name.clone(),
            program: input.program.clone(),
            metric: input.metric,
            shared: censor.leaves().then(|| SHARED.to_owned()),
        };
        for file in site::files(&answers, &site, &input.replays)? {
            exports.file(&file.path, &file.bytes)?;
        }
        exports.sweep()?;
    }
    censor.write_key(layout)?;
    Ok(answers)
}

/// Sums of the braking energy, as they stand among the tables: with every name.
fn balances(input: &ReportInput, layout: &Layout, provenance: &Provenance) -> Result<RecordBatch, ReportError> {
    let drivers = named_drivers(&read_table(&layout.table(&tables::RECOVERY), &tables::RECOVERY)?)?;
    let mut sums = Vec::new();
    for (vehicle, vehicle_type) in input.vehicles.iter().zip(&input.vehicle_types) {
        let read = |table: &'static Table| read_table(&layout.vehicle_table(table, vehicle), table);
        let (segments, battery) = (read(&tables::SEGMENTS)?, read(&tables::SEGMENT_BATTERY)?);
        let (trips, routes) = (read(&tables::TRIPS)?, read(&tables::TRIP_ROUTES)?);
        let own = balance::Tables {
            vehicle_type,
            segments: &segments,
            battery: &battery,
            step_swings: &read(&tables::STEP_SWINGS)?,
            trips: &trips,
            trip_routes: &routes,
        };
        sums.push(balance::of_vehicle(&own, &drivers)?);
    }
    let merged = balance::merge(sums)?;
    for (table, batch) in
        [(&tables::BRAKING_BALANCE, &merged.balance), (&tables::OPEN_VALUES, &merged.open_values)]
    {
        write_table(&layout.table(table), table, batch, provenance)?;
    }
    Ok(merged.balance)
}

/// Drivers that the answer table names.
fn named_drivers(recovery: &RecordBatch) -> Result<Vec<String>, ReportError> {
    let view = BatchView::new(&tables::RECOVERY, recovery);
    let (grouping, group) = (view.texts("grouping")?, view.texts("group")?);
    let drivers = (0..view.rows()).filter(|row| grouping.value(*row) == "driver");
    Ok(drivers.map(|row| group.value(row).to_owned()).collect())
}

/// The folder of the report, and what has been written into it.
struct Exports<'a> {
    source: &'a Source<'a>,
    vehicles: &'a [String],
    folder: PathBuf,
    provenance: Provenance,
    written: std::cell::RefCell<BTreeSet<PathBuf>>,
}

impl<'a> Exports<'a> {
    fn new(
        source: &'a Source<'a>,
        input: &'a ReportInput,
        layout: &Layout,
        provenance: &Provenance,
        censor: &Censor,
    ) -> Self {
        let folder = if censor.leaves() { layout.report_to_share() } else { layout.report() };
        // A digest of the logs would tell their owner from a stranger.
        let inputs_digest = if censor.leaves() { String::new() } else { provenance.inputs_digest.clone() };
        let provenance = Provenance { inputs_digest, ..provenance.clone() };
        Self { source, vehicles: &input.vehicles, folder, provenance, written: BTreeSet::new().into() }
    }

    fn file(&self, path: &str, bytes: &[u8]) -> Result<(), StoreError> {
        write_bytes(&self.noted(path), bytes)
    }

    fn noted(&self, path: &str) -> PathBuf {
        let path = self.folder.join(path);
        self.written.borrow_mut().insert(path.clone());
        path
    }

    /// As CSV and Parquet, as JSON but for the longest, and as GeoJSON what has a shape.
    fn write(&self, table: &'static Table, batches: &[RecordBatch]) -> Result<(), ReportError> {
        let path = |ending: &str| self.noted(&format!("tables/{}.{ending}", table.name));
        let text = |path: &Path, write: &dyn Fn(&mut dyn std::io::Write) -> std::io::Result<()>| {
            let io = |source| StoreError::Io { doing: "write", path: path.to_owned(), source };
            write_with(path, |out| write(out).map_err(io)).map(drop)
        };
        text(&path("csv"), &|out| export::csv(out, table, batches))?;
        if !LONG.iter().any(|long| long.name == table.name) {
            text(&path("json"), &|out| export::json(out, table, batches))?;
        }
        if let ([batch], true) = (batches, export::SHAPED.contains(&table.name)) {
            text(&path("geojson"), &|out| export::geojson(out, table, batch))?;
        }
        let mut writer = TableWriter::create(&path("parquet"), table, &self.provenance)?;
        batches.iter().try_for_each(|batch| writer.write(batch))?;
        writer.finish()?;
        Ok(())
    }

    fn write_each_vehicle(&self, table: &'static Table) -> Result<(), ReportError> {
        let all = self.vehicles.iter().map(|vehicle| self.source.vehicle_table(table, vehicle));
        self.write(table, &all.collect::<Result<Vec<_>, _>>()?)
    }

    /// Removes what an earlier run left and this one did not write: a sheet of somebody who is no longer shown, a page
    /// that is no more.
    fn sweep(&self) -> Result<(), StoreError> {
        let written = self.written.borrow();
        for folder in ["", "drivers", "methods", "tables", "trips"] {
            let folder = self.folder.join(folder);
            let Ok(entries) = std::fs::read_dir(&folder) else { continue };
            for path in entries.flatten().map(|entry| entry.path()) {
                if path.is_file() && !written.contains(&path) {
                    std::fs::remove_file(&path).map_err(|source| StoreError::Io {
                        doing: "remove",
                        path: path.clone(),
                        source,
                    })?;
                }
            }
        }
        Ok(())
    }
}
