use crate::column::{Column, Table, number, text};

const AT_LOW: &str =
    "what the step has more with the value at the end unfavourable to recovery, the braking energy standing";
const AT_HIGH: &str = "the same at the favourable end";

/// What an open value does to each step of the braking ledger. One value adds up over rows with its signs; values are independent.
pub static STEP_SWINGS: Table = Table {
    name: "step_swings",
    version: 1,
    one_row_is: "one open value over the driving of one trip with one driver, route and level; values that move nothing are left out",
    sorted_by: "trip, driver_id, route_id, regen_level, then the values in the order of the method page",
    columns: &COLUMNS,
};

/// Columns of each step in the order of the cascade: at the unfavourable end of the value, and at the favourable one.
pub static SWINGS: [[&str; 2]; 10] = [
    ["braking_beyond_axle_at_low_kwh", "braking_beyond_axle_at_high_kwh"],
    ["braking_beyond_blending_at_low_kwh", "braking_beyond_blending_at_high_kwh"],
    ["braking_in_fade_at_low_kwh", "braking_in_fade_at_high_kwh"],
    ["braking_beyond_level_at_low_kwh", "braking_beyond_level_at_high_kwh"],
    ["braking_beyond_torque_at_low_kwh", "braking_beyond_torque_at_high_kwh"],
    ["braking_beyond_power_at_low_kwh", "braking_beyond_power_at_high_kwh"],
    ["braking_beyond_acceptance_at_low_kwh", "braking_beyond_acceptance_at_high_kwh"],
    ["braking_converted_at_low_kwh", "braking_converted_at_high_kwh"],
    ["braking_to_auxiliaries_at_low_kwh", "braking_to_auxiliaries_at_high_kwh"],
    ["energy_recoverable_at_low_kwh", "energy_recoverable_at_high_kwh"],
];

static COLUMNS: [Column; 26] = [
    text("vehicle_id", "", "the vehicle"),
    text("trip_id", "", "the trip"),
    text("driver_id", "unknown", "driver"),
    text("route_id", "unknown", "route, as logged"),
    text("regen_level", "unknown", "regen level as set"),
    text(
        "value",
        "",
        "what is open: a value of the vehicle data, a level that nobody names, auxiliaries seen at stops",
    ),
    number("braking_beyond_axle_at_low_kwh", "kW.h", "", "signed", AT_LOW),
    number("braking_beyond_axle_at_high_kwh", "kW.h", "", "signed", AT_HIGH),
    number("braking_beyond_blending_at_low_kwh", "kW.h", "", "signed", AT_LOW),
    number("braking_beyond_blending_at_high_kwh", "kW.h", "", "signed", AT_HIGH),
    number("braking_in_fade_at_low_kwh", "kW.h", "", "signed", AT_LOW),
    number("braking_in_fade_at_high_kwh", "kW.h", "", "signed", AT_HIGH),
    number("braking_beyond_level_at_low_kwh", "kW.h", "", "signed", AT_LOW),
    number("braking_beyond_level_at_high_kwh", "kW.h", "", "signed", AT_HIGH),
    number("braking_beyond_torque_at_low_kwh", "kW.h", "", "signed", AT_LOW),
    number("braking_beyond_torque_at_high_kwh", "kW.h", "", "signed", AT_HIGH),
    number("braking_beyond_power_at_low_kwh", "kW.h", "", "signed", AT_LOW),
    number("braking_beyond_power_at_high_kwh", "kW.h", "", "signed", AT_HIGH),
    number("braking_beyond_acceptance_at_low_kwh", "kW.h", "", "signed", AT_LOW),
    number("braking_beyond_acceptance_at_high_kwh", "kW.h", "", "signed", AT_HIGH),
    number("braking_converted_at_low_kwh", "kW.h", "", "signed", AT_LOW),
    number("braking_converted_at_high_kwh", "kW.h", "", "signed", AT_HIGH),
    number("braking_to_auxiliaries_at_low_kwh", "kW.h", "", "signed", AT_LOW),
    number("braking_to_auxiliaries_at_high_kwh", "kW.h", "", "signed", AT_HIGH),
    number("energy_recoverable_at_low_kwh", "kW.h", "", "signed", AT_LOW),
    number("energy_recoverable_at_high_kwh", "kW.h", "", "signed", AT_HIGH),
];
