//! Reads the tables, writes the report.

use std::io::Write as _;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchView, Table, tables};
use backwatt_store::{Layout, Provenance, StoreError, read_table, write_bytes, write_table, write_with};

use crate::answers::Answers;
use crate::topics::{self, Tables};
use crate::trust::Trust;
use crate::{ReportError, ReportInput, ReportOptions, balance, export, page};

/// Writes `braking_balance.parquet` and the report folder, and gives the answers.
pub fn write(
    input: &ReportInput,
    layout: &Layout,
    provenance: &Provenance,
    options: ReportOptions,
) -> Result<Answers, ReportError> {
    let mut trust = Trust::default();
    let receipts = read_table(&layout.table(&tables::RECEIPTS), &tables::RECEIPTS)?;
    trust.read_receipts(&receipts)?;
    let recovery = read_table(&layout.table(&tables::RECOVERY), &tables::RECOVERY)?;
    let drivers = named_drivers(&recovery)?;
    let mut sums = Vec::new();
    let mut trips = Vec::new();
    for vehicle in &input.vehicles {
        let read = |table: &'static Table| read_table(&layout.vehicle_table(table, vehicle), table);
        let vehicle_trips = read(&tables::TRIPS)?;
        trust.add_trips(&vehicle_trips)?;
        sums.push(balance::of_vehicle(
            &read(&tables::SEGMENTS)?,
            &read(&tables::SEGMENT_BATTERY)?,
            &vehicle_trips,
            &read(&tables::TRIP_ROUTES)?,
            &drivers,
        )?);
        trips.push(vehicle_trips);
    }
    let balance = balance::merge(sums)?;
    write_table(&layout.table(&tables::BRAKING_BALANCE), &tables::BRAKING_BALANCE, &balance, provenance)?;
    let mut answers = Answers::new(input, &recovery, &balance, trust)?;
    trips.iter().try_for_each(|batch| answers.place_trips(batch))?;
    let estimates = Tables::read(layout)?;
    answers.topics = topics::all(&estimates, input.metric)?;

    let folder = layout.report();
    let csv = |table: &'static Table, batches: &[RecordBatch]| -> Result<(), ReportError> {
        let path = folder.join("tables").join(format!("{}.csv", table.name));
        let io = |source| StoreError::Io { doing: "write", path: path.clone(), source };
        write_with(&path, |out| export::csv(out, table, batches).map_err(io))?;
        Ok(())
    };
    csv(&tables::RECOVERY, std::slice::from_ref(&recovery))?;
    csv(&tables::BRAKING_BALANCE, std::slice::from_ref(&balance))?;
    csv(&tables::RECEIPTS, std::slice::from_ref(&receipts))?;
    csv(&tables::TRIPS, &trips)?;
    for table in [&tables::BRAKING_EVENTS, &tables::STOPS, &tables::CHARGES] {
        let all = input.vehicles.iter().map(|v| read_table(&layout.vehicle_table(table, v), table));
        csv(table, &all.collect::<Result<Vec<_>, _>>()?)?;
    }
    for table in topics::SHOWN {
        let Some(batch) = estimates.batch(table) else { continue };
        csv(table, std::slice::from_ref(batch))?;
        let path = folder.join("tables").join(format!("{}.json", table.name));
        let io = |source| StoreError::Io { doing: "write", path: path.clone(), source };
        write_with(&path, |out| export::json(out, table, batch).map_err(io))?;
    }
    if let Some(cells) = estimates.batch(&tables::ROAD_CELLS) {
        let svg = topics::to_share(cells, input.metric)?;
        write_bytes(&folder.join("map-to-share.svg"), svg.as_bytes())?;
    }
    let mut json = serde_json::to_vec_pretty(&answers)?;
    writeln!(json).map_err(|source| StoreError::Io { doing: "write", path: folder.clone(), source })?;
    write_bytes(&folder.join("answers.json"), &json)?;
    write_bytes(&folder.join("summary.txt"), crate::text(&answers).as_bytes())?;
    if !options.no_pages {
        write_bytes(&folder.join("index.html"), page::render(&answers)?.as_bytes())?;
    }
    Ok(answers)
}

/// Drivers that the answer table names.
fn named_drivers(recovery: &RecordBatch) -> Result<Vec<String>, ReportError> {
    let view = BatchView::new(&tables::RECOVERY, recovery);
    let (grouping, group) = (view.texts("grouping")?, view.texts("group")?);
    let drivers = (0..view.rows()).filter(|row| grouping.value(*row) == "driver");
    Ok(drivers.map(|row| group.value(row).to_owned()).collect())
}
