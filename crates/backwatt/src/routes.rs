//! Places, then routes, then the route of each trip, and the map: each a pass over the vehicles, with the tables of one in
//! memory for each thread.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{ArrayRef, RecordBatch, StringArray};
use arrow::datatypes::FieldRef;
use backwatt_estimate::{Drafts, Driven, Dwells, KnownPlace, Places, RoadCells, Routes};
use backwatt_pilot::{Depot, DepotPlace, Pilot};
use backwatt_schema::{BatchError, BatchView, Table, tables, text_at};
use backwatt_store::{Layout, Provenance, read_table, write_table};
use rayon::prelude::*;

use crate::BackwattError;
use crate::stages::remove_absent;

/// Maps of so many vehicles are held before they are added up.
const AT_A_TIME: usize = 32;

/// Writes `places`, `routes` and each vehicle's `trip_routes`; the places are for the map as well.
pub fn find(
    pilot: &Pilot,
    layout: &Layout,
    vehicles: &[String],
    provenance: &Provenance,
) -> Result<Places, BackwattError> {
    let places = places(pilot, layout, vehicles)?;
    write_table(&layout.table(&tables::PLACES), &tables::PLACES, &places.batch()?, provenance)?;
    let drafts = vehicles.par_iter().map(|vehicle| {
        let Read { trips, stops, crossings } = Read::of(layout, vehicle)?;
        Ok::<_, BackwattError>(Drafts::of(&trips, &stops, &crossings, &places)?)
    });
    let all = drafts.try_reduce(Drafts::default, |mut sum, one| {
        sum.add(one);
        Ok(sum)
    })?;
    let routes = Routes::find(all, &places);
    let driven = vehicles.par_iter().map(|vehicle| {
        let Read { trips, stops, crossings } = Read::of(layout, vehicle)?;
        let assigned = routes.assign(&trips, &stops, &crossings, &places)?;
        let path = layout.vehicle_table(&tables::TRIP_ROUTES, vehicle);
        write_table(&path, &tables::TRIP_ROUTES, &assigned.trip_routes, provenance)?;
        Ok::<_, BackwattError>(assigned.driven)
    });
    let sum = driven.try_reduce(Driven::default, |mut sum, one| {
        sum.add(&one);
        Ok(sum)
    })?;
    write_table(&layout.table(&tables::ROUTES), &tables::ROUTES, &routes.batch(&sum, &places)?, provenance)?;
    remove_absent(layout, &tables::TRIP_ROUTES, vehicles)?;
    Ok(places)
}

/// Writes `road_cells`. Needs each vehicle's `segment_battery`.
pub fn map(
    layout: &Layout,
    vehicles: &[String],
    places: &Places,
    provenance: &Provenance,
) -> Result<(), BackwattError> {
    let of_vehicle = |vehicle: &String| {
        let Read { trips, stops, crossings } = Read::of(layout, vehicle)?;
        let read = |table| read_table(&layout.vehicle_table(table, vehicle), table);
        let segments = read(&tables::SEGMENTS)?;
        // Of a vehicle that nothing was learned about nothing is known of its battery.
        let battery = if layout.vehicle_table(&tables::SEGMENT_BATTERY, vehicle).exists() {
            read(&tables::SEGMENT_BATTERY)?
        } else {
            RecordBatch::new_empty(tables::SEGMENT_BATTERY.schema())
        };
        Ok::<_, BackwattError>(RoadCells::of(&crossings, &segments, &battery, &trips, &stops)?)
    };
    // In the order of the vehicles, whichever thread was first: sums of floats depend on their order. Some at a time, so
    // that memory holds one map and not one for each vehicle.
    let mut all = RoadCells::default();
    for some in vehicles.chunks(AT_A_TIME) {
        let cells = some.par_iter().map(of_vehicle).collect::<Result<Vec<_>, BackwattError>>()?;
        cells.iter().for_each(|one| all.add(one));
    }
    write_table(&layout.table(&tables::ROAD_CELLS), &tables::ROAD_CELLS, &all.batch(places)?, provenance)
        .map_err(BackwattError::from)
}

/// Places of the whole pilot, the pilot file's nodes and the depots of its map among them.
fn places(pilot: &Pilot, layout: &Layout, vehicles: &[String]) -> Result<Places, BackwattError> {
    let dwells = vehicles.par_iter().map(|vehicle| {
        let trips = read_table(&layout.vehicle_table(&tables::TRIPS, vehicle), &tables::TRIPS)?;
        let stops = read_table(&layout.vehicle_table(&tables::STOPS, vehicle), &tables::STOPS)?;
        Ok::<_, BackwattError>(Dwells::of(&trips, &stops)?)
    });
    let all = dwells.try_reduce(Dwells::default, |mut sum, one| {
        sum.add(&one);
        Ok(sum)
    })?;
    let known = |node: &backwatt_physics::replay::Node| KnownPlace {
        name: node.name.clone(),
        lat_deg: node.lat_deg,
        lon_deg: node.lon_deg,
        radius_m: node.radius_m,
    };
    let nodes = pilot.replay.nodes.iter().map(known);
    let known: Vec<KnownPlace> = nodes.chain(pilot.depots.iter().filter_map(depot)).collect();
    Ok(Places::find(&all, &known))
}

/// Around a depot that the map gives as a point. Common practice, no source. [m]
const DEPOT_RADIUS_M: f64 = 100.0;

/// A depot of the map of routes as a place: an area is the circle around its corners' middle that holds them all.
fn depot(depot: &Depot) -> Option<KnownPlace> {
    let (corners, least_m) = match &depot.place {
        DepotPlace::Point(at) => (vec![*at], DEPOT_RADIUS_M),
        DepotPlace::Areas(areas) => {
            (areas.iter().filter_map(|rings| rings.first()).flatten().copied().collect(), 0.0)
        }
    };
    let count = corners.len() as f64;
    let middle = |of: fn(&(f64, f64)) -> f64| corners.iter().map(of).sum::<f64>() / count;
    let (lat_deg, lon_deg) = (middle(|at| at.0), middle(|at| at.1));
    let metres = |(lat, lon): &(f64, f64)| {
        let east = (lon - lon_deg) * lat_deg.to_radians().cos();
        (lat - lat_deg).hypot(east) * METRES_PER_DEGREE
    };
    let radius_m = corners.iter().map(metres).fold(least_m, f64::max);
    (count > 0.0).then(|| KnownPlace { name: depot.name.clone(), lat_deg, lon_deg, radius_m })
}

/// Of latitude, near enough for a yard. [m]
const METRES_PER_DEGREE: f64 = 111_132.0;

struct Read {
    trips: RecordBatch,
    stops: RecordBatch,
    crossings: RecordBatch,
}

impl Read {
    fn of(layout: &Layout, vehicle: &str) -> Result<Self, BackwattError> {
        let read = |table| read_table(&layout.vehicle_table(table, vehicle), table);
        Ok(Self {
            trips: read(&tables::TRIPS)?,
            stops: read(&tables::STOPS)?,
            crossings: read(&tables::CROSSINGS)?,
        })
    }
}

/// A table with a trip and a route in each row, with the route of the trip where the log names none.
pub fn with_routes(
    table: &'static Table,
    batch: &RecordBatch,
    trip_routes: &RecordBatch,
) -> Result<RecordBatch, BackwattError> {
    let found = BatchView::new(&tables::TRIP_ROUTES, trip_routes);
    let (trips, routes) = (found.texts("trip_id")?, found.texts("route_id")?);
    let of_trip: HashMap<&str, &str> =
        (0..found.rows()).filter_map(|row| Some((text_at(trips, row)?, text_at(routes, row)?))).collect();
    let view = BatchView::new(table, batch);
    let (trips, logged) = (view.texts("trip_id")?, view.texts("route_id")?);
    let route = |row: usize| {
        text_at(logged, row).or_else(|| of_trip.get(text_at(trips, row)?).copied()).map(str::to_owned)
    };
    let filled: ArrayRef = Arc::new((0..view.rows()).map(route).collect::<StringArray>());
    let named = |(at, field): (usize, &FieldRef)| {
        if field.name() == "route_id" { filled.clone() } else { batch.column(at).clone() }
    };
    let columns = batch.schema().fields().iter().enumerate().map(named).collect();
    // A batch with the columns it had: only its rows' routes are others.
    let refused = |error: arrow::error::ArrowError| BatchError::Arrow {
        table: table.name.to_owned(),
        message: error.to_string(),
    };
    Ok(RecordBatch::try_new(batch.schema(), columns).map_err(refused)?)
}
