use crate::column::{Column, Table, flag, number, text, time};

/// What a stop cost, seen from each place before it: as driven, and as the gentlest stop between the same ends.
pub static APPROACHES: Table = Table {
    name: "approaches",
    version: 1,
    one_row_is: "one place before a stop, every 25 m as far back as the driver could have begun to slow, 600 m at most",
    sorted_by: "vehicle_id, time_stop_ns, distance_to_stop_m",
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
    number(
        "bearing_deg",
        "deg",
        "no position near",
        "0 to 360, clockwise from north",
        "direction from the farthest place of the approach to the stop",
    ),
    number(
        "slowing_m",
        "m",
        "",
        "above 0",
        "as driven: from where the speed was last within 5 % of the approach's highest",
    ),
    number("distance_to_stop_m", "m", "", "above 0", "this place, along the road"),
    number("speed_m_s", "m/s", "", "above 0", "speed there"),
    number("rise_to_stop_m", "m", "grade unknown", "uphill positive", "height gained from there to the stop"),
    number("duration_to_stop_s", "s", "", "above 0", "time from there to the stop"),
    number(
        "energy_driven_kwh",
        "kW.h",
        "",
        "signed: positive leaves the battery",
        "modelled energy out of the battery terminals from there to the stop, as driven, at the level as set",
    ),
    number(
        "energy_reference_kwh",
        "kW.h",
        "",
        "signed: positive leaves the battery",
        "the same with constant deceleration from the speed there over the whole distance",
    ),
];
