use crate::column::{Column, Table, count, number, text};

/// How much of what is planned the pilot has driven.
pub static COVERAGE: Table = Table {
    name: "coverage",
    version: 1,
    one_row_is: "one cell of route, season, band of temperature and band of payload; all: the cells of a dimension together",
    sorted_by: "route, season, temperature_band, payload_band, margins first",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 13] = [
    text("route", "", "the route, or all"),
    text("season", "", "the season, or all"),
    text("temperature_band", "", "ten degrees of the outside air, or all"),
    text(
        "payload_band",
        "",
        "empty to a quarter of the sheet's upper payload, to a half, to three quarters, to full and above; unknown; or all",
    ),
    count("vehicle_days", "", "service days of each vehicle that drove in it"),
    count("vehicles", "", "vehicles"),
    number("distance_mi", "[mi_i]", "", "0 or more", "distance driven in it"),
    number("distance_share_frac", "1", "", "0 to 1", "share of the pilot's distance"),
    number(
        "planned_share_frac",
        "1",
        "the plan states none for this cell",
        "0 to 1",
        "share of the distance the plan foresees",
    ),
    number(
        "represented_frac",
        "1",
        "the plan states none for this cell",
        "0 to 1",
        "share of the plan's distance here that the pilot's share covers, at most 1",
    ),
    count(
        "more_vehicle_days",
        "every assumption of this route and season has a verdict, or more days alone would bring none",
        "most vehicle-days that any assumption of this route and season still needs",
    ),
    text(
        "undecided",
        "none",
        "assumptions of this route and season without a verdict, and what would bring one",
    ),
    text("note", "", "not driven, too little, or empty"),
];
