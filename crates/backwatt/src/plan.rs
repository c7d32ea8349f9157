//! The plan's questions: scenarios vehicle by vehicle, then what the days of all of them say.

use std::collections::BTreeMap;

use backwatt_estimate::plan::{
    SameTrips, Set, TypePlan, VehicleDay, VehicleTables, charging, climate_cost, coverage, observe_days,
    pack_sizing, plan_check, plan_gap, same_trips,
};
use backwatt_estimate::{
    DriverDays, Learned, LevelReplays, ReplayedTables, Statistics, level_replays, level_what_if,
};
use backwatt_physics::kernels::climate;
use backwatt_physics::{Amount, scenarios};
use backwatt_pilot::what_if::WhatIf;
use backwatt_pilot::{Pilot, USUAL_CAB};
use backwatt_schema::{Table, tables};
use backwatt_store::{Layout, Provenance, read_table, write_table};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use rayon::prelude::*;

use crate::stages::{Typed, read_samples, remove_absent, replayed_on_routes};
use crate::{BackwattError, speeds};

/// Tables of the plan and of levels replayed, one file for the whole pilot.
pub const TABLES: [&Table; 8] = [
    &tables::LEVEL_WHAT_IF,
    &tables::SAME_TRIPS,
    &tables::PLAN_CHECK,
    &tables::PLAN_GAP,
    &tables::PACK_SIZING,
    &tables::CHARGING,
    &tables::COVERAGE,
    &tables::CLIMATE_COST,
];

pub fn answer(
    pilot: &Pilot,
    layout: &Layout,
    typed: &[Typed<'_>],
    Days { days, levels, same }: Days,
    drivers: &DriverDays,
    provenance: &Provenance,
) -> Result<(), BackwattError> {
    let settings = &pilot.plan.settings;
    let mut types: Vec<TypePlan> = Vec::new();
    for (_, name, of) in typed {
        if types.iter().all(|known| known.name != *name) {
            types.push(of.planning(name));
        }
    }
    types.sort_by(|a, b| a.name.cmp(&b.name));
    let zone = pilot.zone.clone().unwrap_or(TimeZone::UTC);
    let dwell = |from_ns: i64, until_ns: i64| allowed_s(from_ns, until_ns, pilot.plan.window_s, &zone);
    let checks = plan_check(&days, &types, settings)?;
    let answers = [
        (&tables::LEVEL_WHAT_IF, level_what_if(&levels, drivers, pilot.pseudonyms)?),
        (&tables::SAME_TRIPS, same_trips(&same, &sets(pilot, typed))?),
        (&tables::PLAN_GAP, plan_gap(&days, settings)?),
        (&tables::PACK_SIZING, pack_sizing(&days, &types, settings)?),
        (&tables::CHARGING, charging(&days, &types, settings, &dwell)?),
        (&tables::COVERAGE, coverage(&days, settings, &checks)?),
        (&tables::CLIMATE_COST, climate_cost(&days, &types)?),
        (&tables::PLAN_CHECK, checks),
    ];
    for (table, batch) in answers {
        write_table(&layout.table(table), table, &batch, provenance)?;
    }
    Ok(())
}

/// What is kept of each vehicle once its scenarios are run. Adds up over vehicles.
#[derive(Default)]
pub struct Days {
    days: Vec<VehicleDay>,
    levels: LevelReplays,
    same: SameTrips,
}

/// What is changed on the trips of each type, one thing at a time.
fn sets(pilot: &Pilot, typed: &[Typed<'_>]) -> BTreeMap<String, Vec<Set>> {
    let value = |amount: Option<Amount>| match amount {
        Some(Amount::Set(value)) => Some(value),
        _ => None,
    };
    let set = |(scenario, asked): (String, WhatIf)| Set {
        scenario,
        level: asked.change.level,
        payload_kg: value(asked.change.payload_kg),
        temperature_k: value(asked.change.temperature),
        packs: asked.packs.map(|packs| packs.round() as u64),
        speed_cap_m_s: asked.change.speed_cap_m_s,
    };
    let of_type = |(_, name, of): &Typed<'_>| {
        ((*name).to_owned(), pilot.plan.single_changes(of).into_iter().map(set).collect())
    };
    typed.iter().map(of_type).collect()
}

/// Days and levels of all vehicles, in the order of their names: one vehicle's samples are in memory for each thread.
pub fn days(
    pilot: &Pilot,
    layout: &Layout,
    typed: &[Typed<'_>],
    learned: &BTreeMap<String, (Learned, Vec<Statistics>)>,
    provenance: &Provenance,
) -> Result<Days, BackwattError> {
    let vehicles: Vec<String> = typed.iter().map(|(vehicle, ..)| (*vehicle).to_owned()).collect();
    let settings = speeds::with_library(&pilot.replay, layout, typed)?;
    let found = typed
        .par_iter()
        // A vehicle takes seconds: two of them together at the end leave the other cores idle.
        .with_max_len(1)
        .map(|(vehicle, type_name, of)| {
            let asked = pilot
                .plan
                .scenarios(type_name, of)
                .map_err(|problem| BackwattError::Problems(vec![*problem]))?;
            let samples = read_samples(layout, vehicle)?;
            let modelled = scenarios(vehicle, &samples, &of.sheet, &asked, &settings)?;
            write_table(
                &layout.vehicle_table(&tables::SCENARIOS, vehicle),
                &tables::SCENARIOS,
                &modelled,
                provenance,
            )?;
            let Some(posterior) = learned.get(*type_name).and_then(|(of, _)| of.of_vehicle(vehicle)) else {
                return Ok(Days::default());
            };
            let (segments, trips, trip_routes) = replayed_on_routes(layout, vehicle)?;
            let read = |table| read_table(&layout.vehicle_table(table, vehicle), table);
            let (battery, charges) = (read(&tables::SEGMENT_BATTERY)?, read(&tables::CHARGES)?);
            let of_vehicle = VehicleTables {
                segments: &segments,
                battery: &battery,
                trips: &trips,
                trip_routes: &trip_routes,
                charges: &charges,
                scenarios: &modelled,
            };
            let usual_cab_w = |ambient_k: f64| climate::power(&USUAL_CAB, ambient_k);
            let southern = pilot.plan.settings.is_southern;
            let days = observe_days(&of.planning(type_name), &of_vehicle, &posterior, southern, &usual_cab_w)?;
            let names: Vec<String> = of.sheet.nominal.levels.iter().map(|level| level.name.clone()).collect();
            let levels = level_replays(ReplayedTables {
                vehicle,
                vehicle_type: type_name,
                levels: &names,
                segments: &segments,
                battery: &battery,
                trips: &trips,
                scenarios: &modelled,
            })?;
            Ok(Days { days, levels, same: SameTrips::of(type_name, &modelled)? })
        })
        .collect::<Result<Vec<Days>, BackwattError>>()?;
    remove_absent(layout, &tables::SCENARIOS, &vehicles)?;
    let mut all = Days::default();
    for one in found {
        all.days.extend(one.days);
        all.levels.add(one.levels);
        all.same.add(&one.same);
    }
    Ok(all)
}

/// Seconds between two instants that lie within the daily window, local time.
fn allowed_s(from_ns: i64, until_ns: i64, window_s: Option<(f64, f64)>, zone: &TimeZone) -> f64 {
    let whole_s = (until_ns - from_ns) as f64 * 1e-9;
    let Some((opens_s, closes_s)) = window_s else { return whole_s.max(0.0) };
    let stamp = |ns: i64| Timestamp::from_nanosecond(i128::from(ns)).unwrap_or(Timestamp::UNIX_EPOCH);
    let first = zone.to_datetime(stamp(from_ns)).date();
    let length_s = if closes_s > opens_s { closes_s - opens_s } else { closes_s + 86_400.0 - opens_s };
    let days = (whole_s / 86_400.0).ceil() as i64 + 2;
    let mut allowed_s = 0.0;
    for day in -1..days {
        // From midnight on by the clock's seconds: a night with a change of the clock may be an hour off.
        let midnight = first.checked_add(day.days()).ok().map(|date| date.at(0, 0, 0, 0));
        let Some(opens) = midnight.and_then(|midnight| zone.to_timestamp(midnight).ok()) else { continue };
        let opens_at_s = (opens.as_nanosecond() - i128::from(from_ns)) as f64 * 1e-9 + opens_s;
        allowed_s += ((opens_at_s + length_s).min(whole_s) - opens_at_s.max(0.0)).max(0.0);
    }
    allowed_s
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR_NS: i64 = 3_600_000_000_000;

    /// 1970-01-01, UTC: from 17:00 to 07:00 next day, with a window from 19:00 to 06:00 and one from 22:00 to 24:00.
    #[test]
    fn a_window_takes_its_part_of_the_night() {
        let of = |window| allowed_s(17 * HOUR_NS, 31 * HOUR_NS, window, &TimeZone::UTC) / 3600.0;
        assert_eq!(of(None), 14.0);
        assert_eq!(of(Some((19.0 * 3600.0, 6.0 * 3600.0))), 11.0);
        assert_eq!(of(Some((22.0 * 3600.0, 0.0))), 2.0);
        assert_eq!(of(Some((12.0 * 3600.0, 13.0 * 3600.0))), 0.0);
        // Two nights and the day between.
        let long = allowed_s(17 * HOUR_NS, 55 * HOUR_NS, Some((19.0 * 3600.0, 6.0 * 3600.0)), &TimeZone::UTC);
        assert_eq!(long / 3600.0, 22.0);
    }
}
