//! The table `routes`.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};

use super::driven::{Driven, OnRoute};
use super::found::{Route, Routes};
use super::names;
use crate::places::Places;

impl Routes {
    /// Routes and what was driven on them.
    pub fn batch(&self, driven: &Driven, places: &Places) -> Result<RecordBatch, BatchError> {
        let none = OnRoute::default();
        let rows: Vec<(&Route, &OnRoute)> = (self.routes.iter().enumerate())
            .map(|(at, route)| (route, driven.routes.get(&at).unwrap_or(&none)))
            .filter(|(_, on)| on.rounds > 0)
            .collect();
        let each = || rows.iter();
        let ways: Vec<String> = each().map(|(route, _)| way(route)).collect();
        let stops: Vec<Option<String>> =
            each().map(|(route, _)| names::sequence(&route.typical, places)).collect();
        let place = |at: Option<usize>| places.get(at?).map(|place| place.id.as_str());
        BatchBuilder::new(&tables::ROUTES)
            .text("route_id", each().map(|(route, _)| Some(route.id.as_str())))
            .text("name", each().map(|(route, _)| Some(route.name.as_str())))
            .text("basis", each().map(|(route, _)| Some(route.basis.as_str())))
            .count("rounds", each().map(|(_, on)| on.rounds))
            .count("trips", each().map(|(_, on)| on.trips))
            .count("trips_found", each().map(|(_, on)| on.trips_found))
            .count("days", each().map(|(_, on)| on.days))
            .count("vehicles", each().map(|(_, on)| on.vehicles))
            .number("distance_mi", each().map(|(_, on)| on.distance_mi()))
            .number("round_distance_median_mi", each().map(|(_, on)| on.round_median_mi()))
            .text("place_start_id", each().map(|(_, on)| place(on.start())))
            .text("place_end_id", each().map(|(_, on)| place(on.end())))
            .text("stops", stops.iter().map(Option::as_deref))
            .count("stops_typical", each().map(|(route, _)| route.typical.stops.len() as u64))
            .count("cells", each().map(|(route, _)| route.core.len() as u64))
            .text("way", ways.iter().map(|way| Some(way.as_str())))
            .number("similarity_mean_frac", each().map(|(_, on)| on.likeness()))
            .finish()
    }
}

fn way(route: &Route) -> String {
    let cells: Vec<String> = route.typical.path.iter().map(|cell| format!("{cell:x}")).collect();
    cells.join(" ")
}
