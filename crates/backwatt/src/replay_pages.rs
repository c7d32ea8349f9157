//! Replay pages: trips chosen, their ledger booked once more between the samples, pages written.
//!
//! Intervals are not kept on disk: booking one vehicle again takes less time than reading ten times its segments would.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_physics::{ledger_trace, what_if_trace};
use backwatt_pilot::what_if::parse as parse_what_if;
use backwatt_pilot::{DisplayUnits, Pilot, VehicleType};
use backwatt_report::replay_page::{self, ReplayInput, VehicleTraces, Written};
use backwatt_schema::{BatchView, tables, text_at};
use backwatt_store::{Layout, read_table, read_table_if_present};
use rayon::prelude::*;

use crate::stages::{read_samples, types};
use crate::{BackwattError, speeds};

/// Trips that have a page, with its path below the report's folder.
pub fn write(
    pilot: &Pilot,
    layout: &Layout,
    vehicles: &[String],
    program: &str,
) -> Result<BTreeMap<String, String>, BackwattError> {
    clear(layout)?;
    let typed = types(pilot, vehicles)?;
    let read = |vehicle: &String| {
        Ok((vehicle.clone(), read_table(&layout.vehicle_table(&tables::TRIPS, vehicle), &tables::TRIPS)?))
    };
    let trips = vehicles.iter().map(read).collect::<Result<Vec<(String, RecordBatch)>, BackwattError>>()?;
    let habits = read_table_if_present(&layout.table(&tables::HABITS), &tables::HABITS)?;
    let chosen = replay_page::choose(&trips, habits.as_ref())?;
    let input = ReplayInput {
        pilot_name: pilot.name.clone(),
        program: program.to_owned(),
        metric: pilot.units == DisplayUnits::Metric,
        zone: pilot.zone.as_ref().and_then(|zone| zone.iana_name()).map(str::to_owned),
    };
    let settings = speeds::with_library(&pilot.replay, layout, &typed)?;
    let written = typed
        .par_iter()
        .filter(|(vehicle, ..)| !chosen.of(vehicle).is_empty())
        .map(|(vehicle, _, of)| {
            let samples = read_samples(layout, vehicle)?;
            let is_wanted = |trip: &str| chosen.holds(vehicle, trip);
            let traces = VehicleTraces {
                ledger: ledger_trace(vehicle, &samples, &of.sheet, &settings, &is_wanted)?,
                what_if: what_if(pilot, layout, (vehicle, of), &samples, &settings, &is_wanted)?,
            };
            Ok(replay_page::write_vehicle(&input, layout, vehicle, chosen.of(vehicle), &traces)?)
        })
        .collect::<Result<Vec<Vec<Written>>, BackwattError>>()?
        .concat();
    replay_page::write_list(&input, layout, &chosen, &trips, &written)?;
    Ok(written.into_iter().map(|page| (page.trip_id.clone(), replay_page::file(&page.trip_id))).collect())
}

/// The what-if asked for last, between the samples. A table that other settings wrote is told from its sums, by the page.
fn what_if(
    pilot: &Pilot,
    layout: &Layout,
    (vehicle, of): (&str, &VehicleType),
    samples: &RecordBatch,
    settings: &backwatt_physics::ReplaySettings,
    is_wanted: &dyn Fn(&str) -> bool,
) -> Result<Option<RecordBatch>, BackwattError> {
    let path = layout.vehicle_table(&tables::WHAT_IF, vehicle);
    let Some(table) = read_table_if_present(&path, &tables::WHAT_IF)? else { return Ok(None) };
    let Some(text) = text_at(BatchView::new(&tables::WHAT_IF, &table).texts("change")?, 0) else {
        return Ok(None);
    };
    let words: Vec<String> = text.split(", ").map(str::to_owned).collect();
    let Ok(asked) = parse_what_if(&words) else { return Ok(None) };
    let name = pilot.type_of(vehicle).map_or("", |(name, _)| name);
    // The pilot file may have changed since: a level it no longer has cannot be replayed.
    let Ok((before, after)) = asked.sides(name, of) else { return Ok(None) };
    let sides = (&before, &after);
    Ok(Some(what_if_trace(vehicle, samples, sides, &asked.change, settings, is_wanted)?))
}

/// Pages of an earlier run: its trips may have other names.
fn clear(layout: &Layout) -> Result<(), BackwattError> {
    let folder = layout.report().join("replay");
    match std::fs::remove_dir_all(&folder) {
        Err(source) if source.kind() != std::io::ErrorKind::NotFound => {
            Err(BackwattError::Io { doing: "clear", path: folder, source })
        }
        _ => Ok(()),
    }
}
