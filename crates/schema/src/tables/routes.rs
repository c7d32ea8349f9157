use crate::column::{Column, Table, count, number, text};

/// The routes of the pilot, whoever named them. Their energies stand in `recovery`, under the same id.
pub static ROUTES: Table =
    Table { name: "routes", version: 2, one_row_is: "one route", sorted_by: "route_id", columns: &COLUMNS };

static COLUMNS: [Column; 17] = [
    text(
        "route_id",
        "",
        "the log's or the file's name; of a found route \"found-\" and the H3 cell of resolution 9 of its farthest part",
    ),
    text("name", "", "the log's or the file's name; of a found route its first, farthest and last places"),
    text(
        "basis",
        "",
        "log (the log's route column); map (a line of the pilot's map); found (trips alike in places and road)",
    ),
    count("rounds", "", "rounds driven: trips from one visit to a depot to the next count as one"),
    count("trips", "", "trips"),
    count("trips_found", "", "of which the log does not name: found to be on it"),
    count("days", "", "vehicle-days; on a relative clock each round is one"),
    count("vehicles", "", "vehicles"),
    number("distance_mi", "[mi_i]", "", "0 or more", "driven on it in all"),
    number("round_distance_median_mi", "[mi_i]", "not driven", "0 or more", "median of a round, to 2 %"),
    text("place_start_id", "no known place", "place of places at which its typical round begins"),
    text("place_end_id", "no known place", "place at which that ends"),
    text("stops", "no known place", "names of the places of its typical round in order, repeats left out"),
    count("stops_typical", "", "known places stood at in its typical round"),
    count("cells", "", "road cells that at least half of its rounds pass"),
    text(
        "way",
        "",
        "road cells of its typical round in order, H3 strings of resolution 10, with a blank between",
    ),
    number(
        "similarity_mean_frac",
        "1",
        "no round long enough to compare",
        "0 to 1",
        "mean likeness of its rounds to it: share of road cells in common, places in order for a quarter",
    ),
];
