use crate::column::{Column, Table, number, order, text, time};

const SEGMENTS: &str = "see segments";

/// The ledger of braking along the way, at the grain of the map. Each segment's rows sum to the segment.
pub static CROSSINGS: Table = Table {
    name: "crossings",
    version: 2,
    one_row_is: "one stretch of one segment within one road cell, or without a position",
    sorted_by: "vehicle_id, segment_order, time_start_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 23] = [
    text("vehicle_id", "", "the vehicle"),
    order("segment_order", "the segment of segments it is part of"),
    text("trip_id", "outside trips", "the trip"),
    text(
        "cell",
        "no position near",
        "H3 cell of resolution 10 (some 130 m across) that it lies in, as the standard's hexadecimal string",
    ),
    time("time_start_ns", "entering the cell"),
    time("time_end_ns", "leaving it; not part of it"),
    number("duration_s", "s", "", "0 or more", "length in time"),
    number("moving_s", "s", "", "0 or more", "time above standstill"),
    number("distance_m", "m", "", "0 or more", "integral of speed, clamped at 0"),
    number("climb_m", "m", "height is unknown here", "0 or more", "height gained on the way up"),
    number(
        "descent_m",
        "m",
        "height is unknown here",
        "0 or more",
        "height lost on the way down, as a magnitude",
    ),
    number("energy_braking_kwh", "kW.h", "", "0 or more", "at the wheels"),
    number("braking_beyond_axle_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_blending_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_in_fade_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_level_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_torque_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_power_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_acceptance_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_converted_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_to_auxiliaries_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("energy_recoverable_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number(
        "energy_recovered_kwh",
        "kW.h",
        "battery power is not logged over the segment",
        "0 or more",
        "into the battery terminals, as logged: what segments says of the segment, split",
    ),
];
