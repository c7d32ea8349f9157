//! The part of the estimate stage that compares: drivers, their habits and changes, and regen levels.

use arrow::array::RecordBatch;
use backwatt_estimate::{
    DriverDays, DriverTables, LevelDays, StatedEvent, changes, driver_days, drivers, habits, level_comparison,
    level_days,
};
use backwatt_pilot::Pilot;
use backwatt_schema::{Table, tables};
use backwatt_store::{Layout, Provenance, read_table, write_table};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use rayon::prelude::*;

use crate::BackwattError;
use crate::routes::with_routes;
use crate::stages::{Typed, replayed_on_routes};

/// Drivers and regen levels, from each vehicle's tables and those the stage has just written; gives back the days of drivers,
/// which say of whom a figure may be shown.
pub fn compare(
    pilot: &Pilot,
    layout: &Layout,
    typed: &[Typed<'_>],
    provenance: &Provenance,
) -> Result<DriverDays, BackwattError> {
    let zone = pilot.zone.clone().unwrap_or(TimeZone::UTC);
    let hour = |time_ns: i64| local_hour(time_ns, &zone);
    let found = typed
        .par_iter()
        .map(|(vehicle, type_name, vehicle_type)| {
            let read = |table: &'static Table| read_table(&layout.vehicle_table(table, vehicle), table);
            let (segments, trips, of_trips) = replayed_on_routes(layout, vehicle)?;
            let battery = read(&tables::SEGMENT_BATTERY)?;
            let losses = read(&tables::AVOIDABLE_LOSSES)?;
            // On the routes of the driving they are held against, found ones among them.
            let events = with_routes(&tables::BRAKING_EVENTS, &read(&tables::BRAKING_EVENTS)?, &of_trips)?;
            let of = DriverTables {
                vehicle,
                vehicle_type: type_name,
                segments: &segments,
                battery: &battery,
                trips: &trips,
                losses: &losses,
                events: &events,
                capacity_kwh: vehicle_type.estimation(type_name).battery.map(|battery| battery.capacity_kwh),
            };
            Ok((driver_days(of, &hour)?, level_days(type_name, &segments, &battery, &trips)?))
        })
        .collect::<Result<Vec<_>, BackwattError>>()?;
    let (mut days, mut levels) = (DriverDays::default(), LevelDays::default());
    for (of_drivers, of_levels) in found {
        days.add(of_drivers);
        levels.add(of_levels);
    }
    let events = stated(pilot);
    let (levels, (drivers, (habits, changes))) = rayon::join(
        || level_comparison(&levels),
        || {
            let changes = || changes(&days, &events, pilot.pseudonyms);
            rayon::join(
                || drivers(&days, pilot.pseudonyms),
                || rayon::join(|| habits(&days, pilot.pseudonyms), changes),
            )
        },
    );
    let written: [(&'static Table, RecordBatch); 4] = [
        (&tables::DRIVERS, drivers?),
        (&tables::HABITS, habits?),
        (&tables::CHANGES, changes?),
        (&tables::LEVEL_COMPARISON, levels?),
    ];
    for (table, batch) in written {
        write_table(&layout.table(table), table, &batch, provenance)?;
    }
    Ok(days)
}

fn stated(pilot: &Pilot) -> Vec<StatedEvent> {
    let event = |event: &backwatt_pilot::Event| StatedEvent {
        day: event.day.clone(),
        what: event.what.clone(),
        drivers: event.drivers.clone(),
        vehicles: event.vehicles.clone(),
    };
    pilot.events.iter().map(event).collect()
}

/// Hour of the local day, with its fraction.
fn local_hour(time_ns: i64, zone: &TimeZone) -> f64 {
    let stamp = Timestamp::from_nanosecond(i128::from(time_ns)).unwrap_or(Timestamp::UNIX_EPOCH);
    let civil = zone.to_datetime(stamp);
    f64::from(civil.hour()) + f64::from(civil.minute()) / 60.0
}
