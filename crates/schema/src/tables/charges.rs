use crate::column::{Column, Table, number, text, time};

/// Energy that came from outside while the vehicle stood. It is never recovered energy.
pub static CHARGES: Table = Table {
    name: "charges",
    version: 1,
    one_row_is: "one stretch of charging at standstill within continuous log",
    sorted_by: "vehicle_id, time_start_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 10] = [
    text("vehicle_id", "", "the vehicle"),
    time("time_start_ns", "first instant"),
    time("time_end_ns", "last instant"),
    number("duration_s", "s", "", "0 or more", "length in time"),
    number(
        "energy_plugged_kwh",
        "kW.h",
        "battery power is not logged here",
        "0 or more",
        "into the battery terminals",
    ),
    number("soc_start_frac", "1", "not logged", "0 to 1", "state of charge at the start"),
    number("soc_end_frac", "1", "not logged", "0 to 1", "state of charge at the end"),
    number("lat_deg", "deg", "no position near", "north positive", "latitude"),
    number("lon_deg", "deg", "no position near", "east positive", "longitude"),
    text(
        "basis",
        "",
        "flag (the log says plugged in); inflow (battery power at standstill); soc (state of charge rose at standstill)",
    ),
];
