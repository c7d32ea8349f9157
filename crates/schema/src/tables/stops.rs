use crate::column::{Column, Table, number, text, time};

/// Where and how long the vehicle stood.
pub static STOPS: Table = Table {
    name: "stops",
    version: 1,
    one_row_is: "one standstill of 3 s and more within continuous log",
    sorted_by: "vehicle_id, time_start_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 9] = [
    text("vehicle_id", "", "the vehicle"),
    text("trip_id", "outside trips", "the trip"),
    text("kind", "", "stop (within a trip) or parked"),
    time("time_start_ns", "coming to rest"),
    time("time_end_ns", "setting off, or the end of the log"),
    number("duration_s", "s", "", "0 or more", "length in time"),
    number("lat_deg", "deg", "no position near", "north positive", "latitude"),
    number("lon_deg", "deg", "no position near", "east positive", "longitude"),
    number(
        "energy_discharged_kwh",
        "kW.h",
        "battery power is not logged here",
        "0 or more",
        "gross discharge while standing",
    ),
];
