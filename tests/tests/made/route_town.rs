//! Routes that are hard to tell apart: districts side by side at the end of one trunk road, other customers every day.
//!
//! A town of its own, drawn as streets of a grid: the demo's routes share little more than the depot's gate.

use std::collections::BTreeSet;

use arrow::array::RecordBatch;
use backwatt::tables;
use backwatt_estimate::{Drafts, Dwells, Places, Routes};
use backwatt_schema::{BatchBuilder, BatchView, Kind, Table, text_at};
use backwatt_testkit::adjusted_rand_index;
use h3o::{LatLng, Resolution};
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Degrees per metre at the depot.
const NORTH: f64 = 1.0 / 111_195.0;
const EAST: f64 = NORTH / 0.642_787_6;
const STREET_M: f64 = 200.0;
const TRUNK_M: f64 = 3000.0;
const SPEED_M_S: f64 = 9.0;
const DAY_NS: i64 = 86_400_000_000_000;

type Point = (f64, f64);

/// What the town asks of the finder.
#[derive(Clone, Copy)]
struct Town {
    districts: usize,
    /// Streets across a district, and between the middles of two.
    streets: u32,
    apart: u32,
    customers: usize,
    visited: f64,
    /// Rounds that go somewhere else on the way, for a fifth of their length.
    detours: f64,
    /// Time between positions. [s]
    period_s: f64,
    days: usize,
    trucks: usize,
}

const TOWN: Town = Town {
    districts: 6,
    streets: 6,
    apart: 9,
    customers: 20,
    visited: 0.7,
    detours: 0.2,
    period_s: 1.0,
    days: 15,
    trucks: 3,
};

struct Trip {
    times_ns: (i64, i64),
    ends: (Point, Point),
    metres: f64,
}

/// Trips of one truck as they come off the replay, and the districts they went to.
#[derive(Default)]
struct Logged {
    trips: Vec<Trip>,
    stops: Vec<(usize, i64, i64, Point)>,
    crossings: Vec<(usize, i64, Point)>,
    truth: Vec<usize>,
}

impl Town {
    fn customers(self, district: usize) -> Vec<Point> {
        let mut rng = ChaCha8Rng::seed_from_u64(100 + district as u64);
        let half = self.streets / 2;
        let corner = |rng: &mut ChaCha8Rng| {
            let step = |rng: &mut ChaCha8Rng| f64::from(rng.random_range(0..=self.streets)) - f64::from(half);
            let across = (district as f64 - (self.districts as f64 - 1.0) / 2.0) * f64::from(self.apart);
            (TRUNK_M + (step(rng) + f64::from(half)) * STREET_M, (across + step(rng)) * STREET_M)
        };
        (0..self.customers).map(|_| corner(&mut rng)).collect()
    }

    /// The corners of a round, with the places stood at.
    fn round(self, district: usize, rng: &mut ChaCha8Rng) -> (Vec<Point>, Vec<Point>) {
        let mut today = self.customers(district);
        today.shuffle(rng);
        today.truncate((self.customers as f64 * self.visited) as usize);
        // Row by row, as a planner would, to and fro.
        today.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.total_cmp(&b.0)));
        let mut line = vec![(0.0, 0.0), (TRUNK_M, 0.0)];
        for to in today.iter().copied().chain([(TRUNK_M, 0.0)]) {
            let from = line[line.len() - 1];
            // One way round the block or the other.
            line.push(if rng.random_bool(0.5) { (from.0, to.1) } else { (to.0, from.1) });
            line.push(to);
        }
        if rng.random_bool(self.detours) {
            line.push((TRUNK_M, -1500.0));
            line.push((0.0, -1500.0));
        }
        line.push((0.0, 0.0));
        if rng.random_bool(0.5) {
            line.reverse();
        }
        (line, today)
    }

    fn truck(self, truck: usize, seed: u64) -> Logged {
        let mut rng = ChaCha8Rng::seed_from_u64(seed * 1000 + truck as u64);
        let mut logged = Logged::default();
        for day in 0..self.days {
            let mut now = day as i64 * DAY_NS + 6 * 3_600_000_000_000;
            for _ in 0..2 {
                let district = rng.random_range(0..self.districts);
                now = self.drive(district, now, &mut logged, &mut rng) + 1_200_000_000_000;
            }
        }
        logged
    }

    /// One round; a long stop in the middle of it makes two trips of every third.
    fn drive(self, district: usize, start: i64, logged: &mut Logged, rng: &mut ChaCha8Rng) -> i64 {
        let (line, customers) = self.round(district, rng);
        let split = rng.random_bool(0.33).then(|| customers[customers.len() / 2]);
        let noise = |rng: &mut ChaCha8Rng, at: Point| {
            (at.0 + rng.random_range(-8.0..8.0), at.1 + rng.random_range(-8.0..8.0))
        };
        let (mut now, mut left_s, mut trip_start, mut from, mut last) = (start, 0.0, start, line[0], line[0]);
        let mut metres = 0.0;
        for to in line[1..].iter().copied().chain([line[line.len() - 1]]) {
            let length = (to.0 - last.0).hypot(to.1 - last.1);
            let mut done = 0.0;
            while done < length {
                if left_s <= 0.0 {
                    let share = done / length;
                    let here = (last.0 + (to.0 - last.0) * share, last.1 + (to.1 - last.1) * share);
                    logged.crossings.push((logged.trips.len(), now, noise(rng, here)));
                    left_s += self.period_s;
                }
                (done, left_s, now) = (done + SPEED_M_S, left_s - 1.0, now + 1_000_000_000);
            }
            (metres, last) = (metres + length, to);
            if customers.contains(&to) {
                let stood = now + rng.random_range(100..280) * 1_000_000_000;
                logged.stops.push((logged.trips.len(), now, stood, noise(rng, to)));
                now = stood;
            }
            if split == Some(to) && from != to {
                self.close(logged, (trip_start, now), (from, to), metres, district);
                (now, from, metres) = (now + 400_000_000_000, to, 0.0);
                trip_start = now;
            }
        }
        self.close(logged, (trip_start, now), (from, last), metres, district);
        now
    }

    fn close(
        self,
        logged: &mut Logged,
        times_ns: (i64, i64),
        ends: (Point, Point),
        metres: f64,
        district: usize,
    ) {
        logged.trips.push(Trip { times_ns, ends, metres });
        logged.truth.push(district);
    }
}

/// A table of the columns given; the others null, or where that is not allowed zero, false and "-".
struct Filled {
    rows: usize,
    numbers: Vec<(&'static str, Vec<Option<f64>>)>,
    texts: Vec<(&'static str, Vec<Option<String>>)>,
    times: Vec<(&'static str, Vec<i64>)>,
}

impl Filled {
    fn batch(&self, table: &'static Table) -> RecordBatch {
        let mut builder = BatchBuilder::new(table);
        for column in table.columns {
            let name = column.name;
            builder = match column.kind {
                Kind::F64 => {
                    let given =
                        self.numbers.iter().find(|(given, _)| *given == name).map(|(_, values)| values.clone());
                    builder.number(
                        name,
                        given.unwrap_or_else(|| vec![(!column.nullable()).then_some(0.0); self.rows]),
                    )
                }
                Kind::Text => {
                    let given = self.texts.iter().find(|(given, _)| *given == name);
                    let blank = vec![(!column.nullable()).then(|| "-".to_owned()); self.rows];
                    let values = given.map_or(&blank, |(_, values)| values);
                    builder.text(name, values.iter().map(Option::as_deref))
                }
                Kind::Time => {
                    let given =
                        self.times.iter().find(|(given, _)| *given == name).map(|(_, values)| values.clone());
                    builder.time(name, given.unwrap_or_else(|| vec![0; self.rows]))
                }
                Kind::Bool => builder.flag(name, vec![(!column.nullable()).then_some(false); self.rows]),
                Kind::U32 => builder.order(name, 0..self.rows as u32),
                Kind::U64 => builder.count(name, 0..self.rows as u64),
            };
        }
        builder.finish().expect("a batch")
    }
}

fn lat(at: Point) -> f64 {
    50.0 + at.1 * NORTH
}

fn lon(at: Point) -> f64 {
    8.0 + at.0 * EAST
}

impl Logged {
    fn id(trip: usize) -> Option<String> {
        Some(format!("trip {trip}"))
    }

    fn trips(&self, truck: usize) -> RecordBatch {
        let rows = &self.trips;
        let number = |of: &dyn Fn(&Trip) -> f64| rows.iter().map(|row| Some(of(row))).collect();
        Filled {
            rows: rows.len(),
            numbers: vec![
                ("lat_start_deg", number(&|r| lat(r.ends.0))),
                ("lon_start_deg", number(&|r| lon(r.ends.0))),
                ("lat_end_deg", number(&|r| lat(r.ends.1))),
                ("lon_end_deg", number(&|r| lon(r.ends.1))),
                ("distance_m", number(&|r| r.metres)),
            ],
            texts: vec![
                ("vehicle_id", vec![Some(format!("truck {truck}")); rows.len()]),
                ("trip_id", (0..rows.len()).map(Self::id).collect()),
                (
                    "service_day",
                    rows.iter().map(|row| Some(format!("day {}", row.times_ns.0 / DAY_NS))).collect(),
                ),
                ("route_id", vec![None; rows.len()]),
            ],
            times: vec![
                ("time_start_ns", rows.iter().map(|row| row.times_ns.0).collect()),
                ("time_end_ns", rows.iter().map(|row| row.times_ns.1).collect()),
            ],
        }
        .batch(&tables::TRIPS)
    }

    fn stops(&self) -> RecordBatch {
        let rows = &self.stops;
        Filled {
            rows: rows.len(),
            numbers: vec![
                ("lat_deg", rows.iter().map(|row| Some(lat(row.3))).collect()),
                ("lon_deg", rows.iter().map(|row| Some(lon(row.3))).collect()),
            ],
            texts: vec![
                ("trip_id", rows.iter().map(|row| Self::id(row.0)).collect()),
                ("kind", vec![Some("stop".to_owned()); rows.len()]),
            ],
            times: vec![
                ("time_start_ns", rows.iter().map(|row| row.1).collect()),
                ("time_end_ns", rows.iter().map(|row| row.2).collect()),
            ],
        }
        .batch(&tables::STOPS)
    }

    fn crossings(&self) -> RecordBatch {
        let rows = &self.crossings;
        let cell =
            |at: Point| LatLng::new(lat(at), lon(at)).expect("a place").to_cell(Resolution::Ten).to_string();
        Filled {
            rows: rows.len(),
            numbers: Vec::new(),
            texts: vec![
                ("trip_id", rows.iter().map(|row| Self::id(row.0)).collect()),
                ("cell", rows.iter().map(|row| Some(cell(row.2))).collect()),
            ],
            times: vec![("time_start_ns", rows.iter().map(|row| row.1).collect())],
        }
        .batch(&tables::CROSSINGS)
    }
}

/// Agreement of the routes found with the districts driven to, and how many were found.
fn score(town: Town, seed: u64) -> (f64, usize) {
    let trucks: Vec<Logged> = (0..town.trucks).map(|truck| town.truck(truck, seed)).collect();
    let logs: Vec<[RecordBatch; 3]> = trucks
        .iter()
        .enumerate()
        .map(|(at, truck)| [truck.trips(at), truck.stops(), truck.crossings()])
        .collect();
    let mut dwells = Dwells::default();
    logs.iter().for_each(|[trips, stops, _]| dwells.add(&Dwells::of(trips, stops).expect("dwells")));
    let places = Places::find(&dwells, &[]);
    let mut drafts = Drafts::default();
    for [trips, stops, crossings] in &logs {
        drafts.add(Drafts::of(trips, stops, crossings, &places).expect("drafts"));
    }
    let routes = Routes::find(drafts, &places);
    let mut labels: Vec<String> = Vec::new();
    for [trips, stops, crossings] in &logs {
        let assigned = routes.assign(trips, stops, crossings, &places).expect("assigned").trip_routes;
        let ids = BatchView::new(&tables::TRIP_ROUTES, &assigned).texts("route_id").expect("ids");
        let (rows, before) = (0..assigned.num_rows(), labels.len());
        labels.extend(
            rows.map(|row| text_at(ids, row).map_or_else(|| format!("none {}", before + row), str::to_owned)),
        );
    }
    let truth: Vec<usize> = trucks.iter().flat_map(|truck| truck.truth.iter().copied()).collect();
    let found: BTreeSet<&String> = labels.iter().filter(|label| label.starts_with("found")).collect();
    (adjusted_rand_index(&truth, &labels), found.len())
}

fn check(what: &str, town: Town) {
    for seed in 1..=5 {
        let (index, found) = score(town, seed);
        println!("{what}, seed {seed}: index {index:.4}, {found} routes of {}", town.districts);
        assert!(index >= 0.95, "{what}, seed {seed}: {index}");
    }
}

#[test]
fn districts_at_the_end_of_one_road() {
    check("every second", TOWN);
}

#[test]
fn districts_from_slow_positions() {
    check("10 s", Town { period_s: 10.0, ..TOWN });
    check("30 s", Town { period_s: 30.0, ..TOWN });
}

#[test]
fn districts_with_many_detours_and_few_customers() {
    check("detours", Town { detours: 0.6, visited: 0.5, ..TOWN });
}
