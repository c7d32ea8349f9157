//! Metered charges: each vehicle's sessions beside its samples, one vehicle in memory for each thread.

use std::collections::{BTreeMap, BTreeSet};

use backwatt_estimate::{
    ChargeSession, SessionCapacity, VehicleSessions, capacity_table, charge_sessions_table, match_sessions,
    soc_step, without_logs,
};
use backwatt_pilot::Charging;
use backwatt_schema::tables;
use backwatt_store::{Layout, Provenance, read_table, write_table};
use rayon::prelude::*;

use crate::BackwattError;
use crate::stages::{Typed, read_columns};

/// What of the samples sessions are matched with.
const COLUMNS: [&str; 4] = ["time_ns", "clock_relative", "speed_m_s", "soc_frac"];

/// Writes `charge_sessions` and `capacity`; a row in the one for every session, in the other for every vehicle with logs.
/// Returns what was found of each vehicle's battery.
pub fn write(
    charging: &Charging,
    layout: &Layout,
    typed: &[Typed<'_>],
    provenance: &Provenance,
) -> Result<BTreeMap<String, SessionCapacity>, BackwattError> {
    let mut by_vehicle: BTreeMap<&str, Vec<ChargeSession>> = BTreeMap::new();
    for session in &charging.sessions {
        by_vehicle.entry(&session.vehicle).or_default().push(session.clone());
    }
    let known: BTreeSet<&str> = typed.iter().map(|(vehicle, ..)| *vehicle).collect();
    let weighed = typed
        .par_iter()
        .map(|(vehicle, type_name, vehicle_type)| {
            let matched = match by_vehicle.get(*vehicle) {
                None => Vec::new(),
                Some(sessions) => {
                    let samples = read_columns(layout, vehicle, Some(&COLUMNS))?;
                    let trips = read_table(&layout.vehicle_table(&tables::TRIPS, vehicle), &tables::TRIPS)?;
                    match_sessions(sessions, &samples, soc_step(&trips)?)?
                }
            };
            Ok(VehicleSessions::new(vehicle, type_name, matched, vehicle_type.battery, charging.chargers))
        })
        .collect::<Result<Vec<_>, BackwattError>>()?;
    write_table(&layout.table(&tables::CAPACITY), &tables::CAPACITY, &capacity_table(&weighed)?, provenance)?;
    let strangers = by_vehicle.iter().filter(|(vehicle, _)| !known.contains(*vehicle));
    let strangers = strangers.map(|(vehicle, sessions)| {
        VehicleSessions::new(vehicle, "", without_logs(sessions), None, charging.chargers)
    });
    let mut all: Vec<VehicleSessions> = weighed.into_iter().chain(strangers).collect();
    all.sort_by(|a, b| a.vehicle_id.cmp(&b.vehicle_id));
    let sessions = charge_sessions_table(&all)?;
    write_table(&layout.table(&tables::CHARGE_SESSIONS), &tables::CHARGE_SESSIONS, &sessions, provenance)?;
    Ok(all.into_iter().filter_map(|of| Some((of.vehicle_id, of.capacity?))).collect())
}
