//! Routes found with the log's route column hidden, against the routes that were driven.

use std::collections::BTreeMap;
use std::path::Path;

use backwatt::{Run, tables};
use backwatt_demo::trial::{Base, SheetSays, Trial};
use backwatt_testkit::{Table, adjusted_rand_index};

use crate::truth::rows;

/// What a pilot's routes came to.
struct Scored {
    rand_index: f64,
    trips: usize,
    named: usize,
    routes: usize,
    truly: usize,
}

/// A pilot file without its route columns, so that nothing names a route.
fn hide_routes(folder: &Path) -> std::path::PathBuf {
    let text = std::fs::read_to_string(folder.join("pilot.toml")).expect("the pilot file");
    let kept: Vec<&str> = text.lines().filter(|line| !line.starts_with("route ")).collect();
    assert!(kept.len() < text.lines().count(), "the pilot names its routes");
    let hidden = folder.join("hidden.toml");
    std::fs::write(&hidden, kept.join("\n")).expect("writable");
    hidden
}

/// Runs a made-up pilot up to the routes and compares each trip's with the one driven on that day.
fn score(folder: &Path) -> Scored {
    let pilot = backwatt::read_pilot(&hide_routes(folder)).expect("the pilot reads");
    let run = Run::new(pilot, folder.join("hidden"));
    run.ingest(&backwatt::silent).expect("ingest");
    run.replay(&backwatt::silent).expect("replay");
    let vehicles = run.estimate(&backwatt::silent).expect("estimate").vehicles;
    let paths = |table| vehicles.iter().map(|v| run.layout.vehicle_table(table, v)).collect::<Vec<_>>();
    let trips = Table::read(&paths(&tables::TRIPS), &tables::TRIPS);
    let found = Table::read(&paths(&tables::TRIP_ROUTES), &tables::TRIP_ROUTES);
    assert_eq!(trips.texts("trip_id"), found.texts("trip_id"), "one row a trip");
    let truth: BTreeMap<(String, String), String> = rows(&folder.join("truth").join("vehicle_days.csv"))
        .into_iter()
        .map(|row| ((row["vehicle"].clone(), row["date"].clone()), row["route"].clone()))
        .collect();
    let (vehicle, day) = (trips.texts("vehicle_id"), trips.texts("service_day"));
    let truly: Vec<String> = (0..trips.rows())
        .map(|row| {
            truth[&(vehicle[row].clone().unwrap_or_default(), day[row].clone().unwrap_or_default())].clone()
        })
        .collect();
    let (ids, basis) = (found.texts("route_id"), found.texts("basis"));
    // A trip of no route is a group of its own.
    let labels: Vec<String> =
        ids.iter().enumerate().map(|(row, id)| id.clone().unwrap_or_else(|| format!("none {row}"))).collect();
    let mut why: BTreeMap<String, usize> = BTreeMap::new();
    basis.iter().flatten().for_each(|b| *why.entry(b.clone()).or_default() += 1);
    let routes = Table::read(&[run.layout.table(&tables::ROUTES)], &tables::ROUTES);
    println!("{:?} of {} trips; routes {:?}", why, trips.rows(), routes.texts("name"));
    let mut kinds = truly.clone();
    kinds.sort();
    kinds.dedup();
    Scored {
        rand_index: adjusted_rand_index(&truly, &labels),
        trips: trips.rows(),
        named: ids.iter().flatten().count(),
        routes: routes.rows(),
        truly: kinds.len(),
    }
}

fn trial(period_s: u32) -> Trial {
    Trial {
        base: Base::Light,
        days: 20,
        period_s,
        soc_step_pct: 0.5,
        has_pack_power: true,
        has_payload_column: true,
        has_level_column: true,
        height_drift_m: 5.0,
        has_fast_companion: false,
        sheet: SheetSays::RIGHT,
    }
}

fn check(scored: &Scored, what: &str) {
    println!(
        "{what}: index {:.4}, {} of {} trips named, {} routes of {}",
        scored.rand_index, scored.named, scored.trips, scored.routes, scored.truly
    );
    assert!(scored.rand_index >= 0.95, "{what}: {}", scored.rand_index);
}

#[test]
fn routes_of_slow_logs() {
    for period_s in [1, 10, 30] {
        let folder = tempfile::tempdir().expect("a temporary folder");
        backwatt_demo::trial::write(folder.path(), &trial(period_s), 7).expect("the trial is written");
        check(&score(folder.path()), &format!("{period_s} s"));
    }
}

#[test]
fn routes_of_the_small_pilot() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    backwatt_demo::write(folder.path(), backwatt_demo::Size::Small, 3, &|_, _| {})
        .expect("the demo is written");
    check(&score(folder.path()), "small");
}
