use crate::column::{Column, Table, count, flag, number, text, time};

/// R12, stop by stop: what a stop cost beyond the reference stop between the same ends.
pub static AVOIDABLE_LOSSES: Table = Table {
    name: "avoidable_losses",
    version: 1,
    one_row_is: "one stop with its reference stop",
    sorted_by: "vehicle_id, time_stop_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 17] = [
    text("vehicle_id", "", "the vehicle"),
    text("trip_id", "", "the trip"),
    time("time_stop_ns", "coming to rest"),
    flag("clock_relative", "", "true where the log has no wall clock"),
    text("driver_id", "unknown", "driver"),
    text("route_id", "unknown", "route"),
    text("regen_level", "unknown", "regen level in the last interval"),
    number("lat_deg", "deg", "no position near", "north positive", "latitude of the stop"),
    number("lon_deg", "deg", "no position near", "east positive", "longitude of the stop"),
    number("speed_start_m_s", "m/s", "", "above 0", "speed where the longer of both stops begins"),
    number("slowing_m", "m", "", "above 0", "length of the stop as driven"),
    number("reference_m", "m", "no reference", "above 0", "length of the reference stop"),
    text(
        "reference_basis",
        "",
        "this place (90th percentile of the lengths of stops here, ten and more); this speed (of stops from about this speed); \
         none (fewer than ten of either)",
    ),
    count("stops_compared", "", "stops the reference length rests on"),
    number(
        "energy_driven_kwh",
        "kW.h",
        "",
        "signed: positive leaves the battery",
        "modelled energy out of the battery terminals, as driven",
    ),
    number(
        "energy_reference_kwh",
        "kW.h",
        "no reference",
        "signed: positive leaves the battery",
        "the same of the reference stop",
    ),
    number(
        "energy_avoidable_kwh",
        "kW.h",
        "no reference",
        "signed: negative where gentler than the reference",
        "as driven less reference",
    ),
];
