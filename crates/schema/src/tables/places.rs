use crate::column::{Column, Table, count, number, text};

/// Depots and regular stops, found from where vehicles stood, or named by the pilot file.
pub static PLACES: Table = Table {
    name: "places",
    version: 1,
    one_row_is: "one place at which vehicles of the pilot stood again and again",
    sorted_by: "place_id",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 13] = [
    text(
        "place_id",
        "",
        "H3 cell of resolution 11 of its most visited spot: stays when files come in another order or a day is added",
    ),
    text("name", "", "the pilot file's name; else kind, number and position to 0.01 degree"),
    text("name_basis", "", "named; found"),
    text("kind", "", "depot (vehicles stay overnight, or set out and come back where none does); stop"),
    number("lat_deg", "deg", "", "north positive", "middle of the visits"),
    number("lon_deg", "deg", "", "east positive", "middle of the visits"),
    number("radius_m", "m", "", "above 0", "from the middle to the farthest spot of it, at least 50"),
    count("visits", "", "times a vehicle stood there for 90 s and more"),
    count("vehicles", "", "vehicles that did"),
    count("overnight_visits", "", "of which over the cut of the service day, for 4 h and more"),
    number("standing_s", "s", "", "0 or more", "time stood there as far as it is known"),
    number(
        "visit_median_s",
        "s",
        "no length known",
        "above 0",
        "median length of a visit, to the class of lengths it falls in",
    ),
    number("overnight_share_frac", "1", "", "0 to 1", "visits overnight over all visits"),
];
