use crate::column::{Column, Table, number, order, text};

/// The route of each trip, and what says so.
pub static TRIP_ROUTES: Table = Table {
    name: "trip_routes",
    version: 2,
    one_row_is: "one trip of trips",
    sorted_by: "vehicle_id, as in trips",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 8] = [
    text("vehicle_id", "", "the vehicle"),
    text("trip_id", "", "the trip"),
    order("round_order", "number of the round within the vehicle's log: trips from depot to depot share one"),
    text("route_id", "basis once, short, ambiguous or no position", "the route of routes"),
    text(
        "basis",
        "",
        "log (the log's route column); map (on a line of the pilot's map); found; part (nearly all of its road is on one route); once (like no other round); \
         short (too few road cells to tell); ambiguous (as like one route as another); no position",
    ),
    number(
        "similarity_frac",
        "1",
        "no position, or too short to compare",
        "0 to 1",
        "likeness of its round to the route, or to the nearest where there is none: see routes.similarity_mean_frac",
    ),
    text("place_start_id", "no known place", "place it set off from"),
    text("place_end_id", "no known place", "place it came to"),
];
