//! What routes must not depend on, on the tables of one made-up run.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, LazyLock};

use arrow::array::{ArrayRef, Float64Array, RecordBatch, StringArray, UInt32Array};
use arrow::compute::take_record_batch;
use backwatt::tables;
use backwatt_estimate::{Drafts, Driven, Dwells, Places, Routes};
use backwatt_schema::{BatchView, Table, text_at};
use backwatt_store::read_table;
use backwatt_testkit::adjusted_rand_index;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::routes::{hidden_run, trial, truth_of_trips};

/// One vehicle's tables.
#[derive(Clone)]
struct Logged {
    trips: RecordBatch,
    stops: RecordBatch,
    crossings: RecordBatch,
}

struct Pilot {
    vehicles: Vec<Logged>,
    truth: Vec<String>,
}

/// Two trucks, one of them at 10 s, for four weeks.
static PILOT: LazyLock<Pilot> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let with_companion = backwatt_demo::trial::Trial { has_fast_companion: true, ..trial(10) };
    backwatt_demo::trial::write(folder.path(), &with_companion, 11).expect("the trial is written");
    let (run, names) = hidden_run(folder.path());
    let read =
        |table, name: &String| read_table(&run.layout.vehicle_table(table, name), table).expect("a table");
    let vehicles = names.iter().map(|name| Logged {
        trips: read(&tables::TRIPS, name),
        stops: read(&tables::STOPS, name),
        crossings: read(&tables::CROSSINGS, name),
    });
    Pilot { vehicles: vehicles.collect(), truth: truth_of_trips(folder.path(), &run, &names) }
});

struct Found {
    places: RecordBatch,
    routes: RecordBatch,
    trip_routes: Vec<RecordBatch>,
}

fn find(vehicles: &[Logged]) -> Found {
    let mut dwells = Dwells::default();
    vehicles.iter().for_each(|v| dwells.add(&Dwells::of(&v.trips, &v.stops).expect("dwells")));
    let places = Places::find(&dwells, &[]);
    let mut drafts = Drafts::default();
    vehicles
        .iter()
        .for_each(|v| drafts.add(Drafts::of(&v.trips, &v.stops, &v.crossings, &places).expect("drafts")));
    let routes = Routes::find(drafts, &places);
    let mut driven = Driven::default();
    let mut trip_routes = Vec::new();
    for v in vehicles {
        let assigned = routes.assign(&v.trips, &v.stops, &v.crossings, &places).expect("assigned");
        driven.add(&assigned.driven);
        trip_routes.push(assigned.trip_routes);
    }
    let routes = routes.batch(&driven, &places).expect("routes");
    Found { places: places.batch().expect("places"), routes, trip_routes }
}

fn texts(table: &'static Table, batch: &RecordBatch, name: &str) -> Vec<Option<String>> {
    let array = BatchView::new(table, batch).texts(name).expect("a text column");
    (0..batch.num_rows()).map(|row| text_at(array, row).map(str::to_owned)).collect()
}

fn labels(found: &Found) -> Vec<String> {
    let ids = found.trip_routes.iter().flat_map(|batch| texts(&tables::TRIP_ROUTES, batch, "route_id"));
    ids.enumerate().map(|(row, id)| id.unwrap_or_else(|| format!("none {row}"))).collect()
}

fn rand_index(vehicles: &[Logged]) -> f64 {
    let labels = labels(&find(vehicles));
    let index = adjusted_rand_index(&PILOT.truth, &labels);
    println!("index {index:.4} over {} trips", labels.len());
    index
}

fn with_column(batch: &RecordBatch, name: &str, column: ArrayRef) -> RecordBatch {
    let mut columns = batch.columns().to_vec();
    columns[batch.schema().index_of(name).expect("a column")] = column;
    RecordBatch::try_new(batch.schema(), columns).expect("the same shape")
}

/// The cells of every trip changed by a rule that sees them in order.
fn with_cells(logged: &Logged, mut rule: impl FnMut(&mut [Option<String>])) -> Logged {
    let mut cells = texts(&tables::CROSSINGS, &logged.crossings, "cell");
    let trips = texts(&tables::CROSSINGS, &logged.crossings, "trip_id");
    let mut start = 0;
    for part in trips.chunk_by(|a, b| a == b) {
        if part[0].is_some() {
            rule(&mut cells[start..start + part.len()]);
        }
        start += part.len();
    }
    let crossings = with_column(&logged.crossings, "cell", Arc::new(StringArray::from(cells)));
    Logged { crossings, ..logged.clone() }
}

/// A stretch of a trip: where it begins and ends, of some share of its length.
fn stretch(rng: &mut ChaCha8Rng, rows: usize, share: f64) -> std::ops::Range<usize> {
    let length = (rows as f64 * share) as usize;
    let start = rng.random_range(0..=rows - length);
    start..start + length
}

fn moved_east(cell: &str, by_deg: f64) -> Option<String> {
    let cell: h3o::CellIndex = cell.parse().ok()?;
    let at = h3o::LatLng::from(cell);
    Some(h3o::LatLng::new(at.lat(), at.lng() + by_deg).ok()?.to_cell(cell.resolution()).to_string())
}

#[test]
fn as_driven() {
    assert!(rand_index(&PILOT.vehicles) >= 0.95);
}

/// Every other trip goes a fifth of its way a kilometre beside the road.
#[test]
fn detours_do_not_matter() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut detour = |cells: &mut [Option<String>]| {
        if rng.random_bool(0.5) {
            for at in stretch(&mut rng, cells.len(), 0.2) {
                cells[at] = cells[at].as_deref().and_then(|cell| moved_east(cell, 0.0128));
            }
        }
    };
    let vehicles: Vec<Logged> = PILOT.vehicles.iter().map(|v| with_cells(v, &mut detour)).collect();
    assert!(rand_index(&vehicles) >= 0.95);
}

/// Every other trip has no position for a quarter of its way.
#[test]
fn lost_positions_do_not_matter() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let mut lose = |cells: &mut [Option<String>]| {
        if rng.random_bool(0.5) {
            stretch(&mut rng, cells.len(), 0.25).for_each(|at| cells[at] = None);
        }
    };
    let vehicles: Vec<Logged> = PILOT.vehicles.iter().map(|v| with_cells(v, &mut lose)).collect();
    assert!(rand_index(&vehicles) >= 0.95);
}

#[test]
fn direction_does_not_matter() {
    let mut odd = false;
    let mut turn = |cells: &mut [Option<String>]| {
        odd = !odd;
        if odd {
            cells.reverse();
        }
    };
    let vehicles: Vec<Logged> = PILOT.vehicles.iter().map(|v| with_cells(v, &mut turn)).collect();
    assert!(rand_index(&vehicles) >= 0.95);
}

#[test]
fn the_order_of_the_vehicles_does_not_matter() {
    let reversed: Vec<Logged> = PILOT.vehicles.iter().rev().cloned().collect();
    let (a, b) = (find(&PILOT.vehicles), find(&reversed));
    assert_eq!((a.places, a.routes), (b.places, b.routes));
    assert_eq!(a.trip_routes, b.trip_routes.into_iter().rev().collect::<Vec<_>>());
}

/// Rows of one table whose trip is kept.
fn kept(batch: &RecordBatch, table: &'static Table, trips: &BTreeSet<String>) -> RecordBatch {
    let ids = texts(table, batch, "trip_id");
    let rows = (0..batch.num_rows() as u32)
        .filter(|row| ids[*row as usize].as_ref().is_some_and(|id| trips.contains(id)));
    take_record_batch(batch, &UInt32Array::from_iter_values(rows)).expect("rows")
}

/// Without the last two days of each truck the same routes have the same ids.
#[test]
fn a_late_day_renames_no_route() {
    let early: Vec<Logged> = PILOT
        .vehicles
        .iter()
        .map(|v| {
            let days = texts(&tables::TRIPS, &v.trips, "service_day");
            let all: BTreeSet<&String> = days.iter().flatten().collect();
            let last: BTreeSet<&String> = all.iter().rev().take(2).copied().collect();
            let ids = texts(&tables::TRIPS, &v.trips, "trip_id").into_iter().zip(&days);
            let trips: BTreeSet<String> = ids
                .filter(|(_, day)| day.as_ref().is_some_and(|day| !last.contains(day)))
                .filter_map(|(id, _)| id)
                .collect();
            Logged {
                trips: kept(&v.trips, &tables::TRIPS, &trips),
                stops: kept(&v.stops, &tables::STOPS, &trips),
                crossings: kept(&v.crossings, &tables::CROSSINGS, &trips),
            }
        })
        .collect();
    let route_of = |found: &Found| -> BTreeMap<String, Option<String>> {
        let each = found.trip_routes.iter();
        each.flat_map(|batch| {
            texts(&tables::TRIP_ROUTES, batch, "trip_id").into_iter().flatten().zip(texts(
                &tables::TRIP_ROUTES,
                batch,
                "route_id",
            ))
        })
        .collect()
    };
    let (before, after) = (route_of(&find(&early)), route_of(&find(&PILOT.vehicles)));
    assert!(before.len() + 10 < after.len(), "days were left out");
    let renamed: Vec<_> = before.iter().filter(|(trip, route)| after[*trip] != **route).collect();
    assert!(renamed.is_empty(), "{renamed:?}");
}

/// Logs without a position have trips and no route; logs without a row have nothing.
#[test]
fn without_positions_there_is_no_route() {
    let blind: Vec<Logged> = PILOT
        .vehicles
        .iter()
        .map(|v| {
            let nothing = |batch: &RecordBatch| -> ArrayRef {
                Arc::new(Float64Array::from(vec![None; batch.num_rows()]))
            };
            let blank = |batch: &RecordBatch, names: &[&str]| {
                names.iter().fold(batch.clone(), |batch, name| with_column(&batch, name, nothing(&batch)))
            };
            let v = with_cells(v, |cells| cells.fill(None));
            Logged {
                trips: blank(&v.trips, &["lat_start_deg", "lon_start_deg", "lat_end_deg", "lon_end_deg"]),
                stops: blank(&v.stops, &["lat_deg", "lon_deg"]),
                crossings: v.crossings,
            }
        })
        .collect();
    let found = find(&blind);
    assert_eq!((found.places.num_rows(), found.routes.num_rows()), (0, 0));
    let basis: BTreeSet<_> =
        found.trip_routes.iter().flat_map(|batch| texts(&tables::TRIP_ROUTES, batch, "basis")).collect();
    assert_eq!(basis, BTreeSet::from([Some("no position".to_owned())]));
    let empty = |table: &'static Table| RecordBatch::new_empty(table.schema());
    let nothing = Logged {
        trips: empty(&tables::TRIPS),
        stops: empty(&tables::STOPS),
        crossings: empty(&tables::CROSSINGS),
    };
    assert_eq!(find(&[nothing]).routes.num_rows(), 0);
    assert_eq!(find(&[]).routes.num_rows(), 0);
}

/// Names that a log may hold: those of found routes, of other folders, of nothing, endless ones; and cells that are none.
#[test]
fn hostile_names_are_only_names() {
    let first = &PILOT.vehicles[0];
    let endless = "x".repeat(100_000);
    let found = find(&PILOT.vehicles);
    let taken = texts(&tables::ROUTES, &found.routes, "route_id")[0].clone().expect("an id");
    let names = ["../../etc/passwd", "", "\u{202e}\u{0}<script>", &endless, &taken];
    let rows = first.trips.num_rows();
    let labels: Vec<Option<&str>> = (0..rows).map(|row| names.get(row % 9).copied()).collect();
    let named = Logged {
        trips: with_column(&first.trips, "route_id", Arc::new(StringArray::from(labels.clone()))),
        ..with_cells(first, |cells| {
            if let Some(cell) = cells.first_mut() {
                *cell = Some("not a cell".to_owned());
            }
        })
    };
    let found = find(&[named]);
    let ids = texts(&tables::ROUTES, &found.routes, "route_id");
    assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), ids.len(), "each id is one route's");
    let of_trips = texts(&tables::TRIP_ROUTES, &found.trip_routes[0], "route_id");
    for (label, route) in labels.into_iter().zip(of_trips) {
        let label = label.filter(|label| !label.is_empty());
        assert!(label.is_none_or(|label| route.as_deref() == Some(label)), "{label:?} became {route:?}");
    }
}

/// Trips that the replay put on a line of the pilot's map: the route is the line's, and says so.
#[test]
fn a_line_of_the_map_names_its_rounds() {
    let first = &PILOT.vehicles[0];
    let rows = first.trips.num_rows();
    let text = |value: &'static str| Arc::new(StringArray::from(vec![Some(value); rows]));
    let trips = with_column(&first.trips, "route_id", text("milk round"));
    let mapped = Logged { trips: with_column(&trips, "route_basis", text("map")), ..first.clone() };
    let found = find(&[mapped]);
    assert_eq!(texts(&tables::ROUTES, &found.routes, "name"), [Some("milk round".to_owned())]);
    let of_trips = texts(&tables::TRIP_ROUTES, &found.trip_routes[0], "basis");
    let of_routes = texts(&tables::ROUTES, &found.routes, "basis");
    assert!(of_trips.iter().chain(&of_routes).all(|basis| basis.as_deref() == Some("map")), "{of_trips:?}");
}
