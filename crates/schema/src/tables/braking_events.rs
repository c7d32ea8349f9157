use crate::column::{Column, Table, number, order, text, time};

/// Braking events: the coach's unit of evidence.
pub static BRAKING_EVENTS: Table = Table {
    name: "braking_events",
    version: 1,
    one_row_is: "one stretch of negative wheel force of 1 s and more, ended by 1 s without, of 0.005 kWh and more",
    sorted_by: "vehicle_id, time_start_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 30] = [
    text("vehicle_id", "", "the vehicle"),
    text("trip_id", "", "the trip"),
    order("event_order", "position within the trip"),
    time("time_start_ns", "first instant of negative wheel force"),
    time("time_end_ns", "instant at which it ends; not part of it"),
    number("duration_s", "s", "", "above 0", "length in time"),
    number("distance_m", "m", "", "0 or more", "length in distance"),
    number("speed_start_m_s", "m/s", "", "0 or more", "speed at the start"),
    number("speed_end_m_s", "m/s", "", "0 or more", "speed at the end"),
    number("decel_mean_m_s2", "m/s2", "", "positive slows", "speed lost over time"),
    number("decel_peak_m_s2", "m/s2", "", "positive slows", "strongest between two samples"),
    number("lat_deg", "deg", "no position near", "north positive", "latitude at the start"),
    number("lon_deg", "deg", "no position near", "east positive", "longitude at the start"),
    text("regen_level", "unknown", "regen level at the start"),
    text("driver_id", "unknown", "driver"),
    text("route_id", "unknown", "route"),
    text("pedal", "", "used; not used; unknown (no pedal or pressure signal)"),
    number("energy_braking_kwh", "kW.h", "", "above 0", "at the wheels"),
    number("braking_beyond_axle_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_in_fade_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_beyond_level_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_beyond_torque_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_beyond_power_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_beyond_acceptance_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_converted_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_to_auxiliaries_kwh", "kW.h", "", "0 or more", "see segments"),
    number("energy_recoverable_kwh", "kW.h", "", "0 or more", "see segments"),
    number("energy_attainable_kwh", "kW.h", "", "0 or more", "see segments"),
    number(
        "energy_recovered_kwh",
        "kW.h",
        "battery power is not logged here",
        "0 or more",
        "into the battery terminals",
    ),
    text("evidence", "", "measured or modelled: what energy_recovered_kwh rests on"),
];
