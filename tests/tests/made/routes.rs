//! Routes found with the log's route column hidden, against the routes that were driven.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use backwatt::{Run, tables};
use backwatt_demo::trial::{Base, SheetSays, Trial};
use backwatt_testkit::{Table, adjusted_rand_index, close};

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

/// Runs a made-up pilot, with its routes hidden, up to the routes.
pub fn hidden_run(folder: &Path) -> (Run, Vec<String>) {
    let pilot = backwatt::read_pilot(&hide_routes(folder)).expect("the pilot reads");
    let run = Run::new(pilot, folder.join("hidden"));
    run.ingest(&backwatt::silent).expect("ingest");
    run.replay(&backwatt::silent).expect("replay");
    let vehicles = run.estimate(&backwatt::silent).expect("estimate").vehicles;
    (run, vehicles)
}

fn per_vehicle(run: &Run, vehicles: &[String], table: &'static backwatt_schema::Table) -> Table {
    let paths: Vec<_> = vehicles.iter().map(|v| run.layout.vehicle_table(table, v)).collect();
    Table::read(&paths, table)
}

/// The route driven on the day of each trip, vehicle by vehicle.
pub fn truth_of_trips(folder: &Path, run: &Run, vehicles: &[String]) -> Vec<String> {
    let truth: BTreeMap<(String, String), String> = rows(&folder.join("truth").join("vehicle_days.csv"))
        .into_iter()
        .map(|row| ((row["vehicle"].clone(), row["date"].clone()), row["route"].clone()))
        .collect();
    let trips = per_vehicle(run, vehicles, &tables::TRIPS);
    let days = trips.texts("vehicle_id").into_iter().zip(trips.texts("service_day"));
    days.map(|(vehicle, day)| truth[&(vehicle.expect("a vehicle"), day.expect("a day"))].clone()).collect()
}

/// Compares each trip's route with the one driven on that day.
fn score(folder: &Path, has_stops: bool) -> Scored {
    let (run, vehicles) = hidden_run(folder);
    let truly = truth_of_trips(folder, &run, &vehicles);
    let found = per_vehicle(&run, &vehicles, &tables::TRIP_ROUTES);
    let trips = per_vehicle(&run, &vehicles, &tables::TRIPS);
    assert_eq!(trips.texts("trip_id"), found.texts("trip_id"), "one row a trip");
    let ids = found.texts("route_id");
    // A trip of no route is a group of its own.
    let label = |(row, id): (usize, &Option<String>)| id.clone().unwrap_or_else(|| format!("none {row}"));
    let labels: Vec<String> = ids.iter().enumerate().map(label).collect();
    let routes = Table::read(&[run.layout.table(&tables::ROUTES)], &tables::ROUTES);
    conserves(&run, &vehicles);
    found_everywhere(&run, &vehicles, has_stops);
    Scored {
        rand_index: adjusted_rand_index(&truly, &labels),
        trips: found.rows(),
        named: ids.iter().flatten().count(),
        routes: routes.rows(),
        truly: truly.iter().collect::<BTreeSet<_>>().len(),
    }
}

/// The map holds what the ledger holds, and recovery counts by the routes found.
fn conserves(run: &Run, vehicles: &[String]) {
    let cells = Table::read(&[run.layout.table(&tables::ROAD_CELLS)], &tables::ROAD_CELLS);
    let segments = per_vehicle(run, vehicles, &tables::SEGMENTS);
    let battery = per_vehicle(run, vehicles, &tables::SEGMENT_BATTERY);
    for name in ["energy_braking_kwh", "distance_m", "moving_s"].into_iter().chain(tables::CASCADE) {
        close(name, cells.sum(name), segments.sum(name), 1e-9 * segments.sum(name).max(1.0));
    }
    for name in ["energy_recovered_p05_kwh", "energy_recovered_p50_kwh", "energy_recovered_p95_kwh"] {
        close(name, cells.sum(name), battery.sum(name), 1e-9 * battery.sum(name).max(1.0));
    }
    depot_is_private(run, &cells);
    let recovery = Table::read(&[run.layout.table(&tables::RECOVERY)], &tables::RECOVERY);
    let by_route = recovery.texts("grouping").into_iter().zip(recovery.texts("group"));
    let by_route = by_route.filter(|(grouping, _)| grouping.as_deref() == Some("route"));
    assert!(
        by_route.filter(|(_, group)| group.as_deref().is_some_and(|g| g.starts_with("found-"))).count() > 1
    );
}

/// Where no column names a route, stops and the balance of braking go by the routes found as well. Logs of slow samples have
/// few stops that can be judged, or none.
fn found_everywhere(run: &Run, vehicles: &[String], has_stops: bool) {
    let is_found = |route: &Option<String>| route.as_deref().is_some_and(|route| route.starts_with("found-"));
    let losses = per_vehicle(run, vehicles, &tables::AVOIDABLE_LOSSES).texts("route_id");
    let found = losses.iter().filter(|route| is_found(route)).count();
    assert!(!has_stops || losses.len() > 100, "{} stops are judged", losses.len());
    assert!(2 * found >= losses.len(), "{found} of {} stops have a route", losses.len());
    let text = backwatt::ReportOptions { no_pages: true, ..Default::default() };
    run.report(&backwatt::silent, text).expect("report");
    let balance = Table::read(&[run.layout.table(&tables::BRAKING_BALANCE)], &tables::BRAKING_BALANCE);
    let of_routes: Vec<bool> = balance
        .texts("grouping")
        .iter()
        .zip(balance.texts("group"))
        .filter(|(grouping, _)| grouping.as_deref() == Some("route"))
        .map(|(_, group)| is_found(&group))
        .collect();
    assert!(of_routes.iter().filter(|found| **found).count() > 1, "{of_routes:?}");
}

/// Where vehicles spend the night nothing is to be shared.
fn depot_is_private(run: &Run, cells: &Table) {
    let places = Table::read(&[run.layout.table(&tables::PLACES)], &tables::PLACES);
    let depot = places.texts("kind").iter().position(|kind| kind.as_deref() == Some("depot")).expect("a depot");
    let degrees = |name: &str| places.numbers(name)[depot].expect("degrees");
    let at = h3o::LatLng::new(degrees("lat_deg"), degrees("lon_deg")).expect("a place");
    let cell = Some(at.to_cell(h3o::Resolution::Ten).to_string());
    let row = cells.texts("cell").iter().position(|known| *known == cell).expect("the depot is on the map");
    let view = backwatt_schema::BatchView::new(&tables::ROAD_CELLS, &cells.batch);
    let flag = |name: &str| view.flags(name).expect("a flag").value(row);
    assert!(flag("near_overnight_place") && !flag("is_shareable"));
}

pub fn trial(period_s: u32) -> Trial {
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
        check(&score(folder.path(), period_s == 1), &format!("{period_s} s"));
    }
}

#[test]
fn routes_of_the_small_pilot() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    backwatt_demo::write(folder.path(), backwatt_demo::Size::Small, 3, &|_, _| {})
        .expect("the demo is written");
    check(&score(folder.path(), true), "small");
}
