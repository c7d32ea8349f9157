use crate::column::{Column, Table, number, text};

/// The ends of the 90 % interval of each step, at the braking energy as it stands.
pub static CASCADE_RANGES: [[&str; 2]; 10] = [
    ["braking_beyond_axle_p05_kwh", "braking_beyond_axle_p95_kwh"],
    ["braking_beyond_blending_p05_kwh", "braking_beyond_blending_p95_kwh"],
    ["braking_in_fade_p05_kwh", "braking_in_fade_p95_kwh"],
    ["braking_beyond_level_p05_kwh", "braking_beyond_level_p95_kwh"],
    ["braking_beyond_torque_p05_kwh", "braking_beyond_torque_p95_kwh"],
    ["braking_beyond_power_p05_kwh", "braking_beyond_power_p95_kwh"],
    ["braking_beyond_acceptance_p05_kwh", "braking_beyond_acceptance_p95_kwh"],
    ["braking_converted_p05_kwh", "braking_converted_p95_kwh"],
    ["braking_to_auxiliaries_p05_kwh", "braking_to_auxiliaries_p95_kwh"],
    ["energy_recoverable_p05_kwh", "energy_recoverable_p95_kwh"],
];

/// Where the braking energy went, by whatever the pilot can be cut by.
pub static BRAKING_BALANCE: Table = Table {
    name: "braking_balance",
    version: 3,
    one_row_is: "one group of one grouping: sums over segments of trips that claim braking energy, brought to the middle of the correction band for sampling and noise",
    sorted_by: "grouping, group",
    columns: &COLUMNS,
};

const P05: &str =
    "lower end of its 90 % interval, the braking energy standing: from step_swings, values independent";
const P95: &str = "upper end of the same";

static COLUMNS: [Column; 39] = [
    text("grouping", "", "pilot, vehicle, vehicle_type, trip, route, driver or regen_level"),
    text("group", "", "the group's name; (unknown) where the log does not say"),
    number("energy_braking_kwh", "kW.h", "", "0 or more", "at the wheels; the next ten columns sum to it"),
    number("braking_beyond_axle_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_beyond_blending_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_in_fade_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_beyond_level_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_beyond_torque_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_beyond_power_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_beyond_acceptance_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_converted_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_to_auxiliaries_kwh", "kW.h", "", "0 or more", "see segments"),
    number("energy_recoverable_kwh", "kW.h", "", "0 or more", "see segments"),
    number("braking_beyond_axle_p05_kwh", "kW.h", "", "0 or more", P05),
    number("braking_beyond_axle_p95_kwh", "kW.h", "", "0 or more", P95),
    number("braking_beyond_blending_p05_kwh", "kW.h", "", "0 or more", P05),
    number("braking_beyond_blending_p95_kwh", "kW.h", "", "0 or more", P95),
    number("braking_in_fade_p05_kwh", "kW.h", "", "0 or more", P05),
    number("braking_in_fade_p95_kwh", "kW.h", "", "0 or more", P95),
    number("braking_beyond_level_p05_kwh", "kW.h", "", "0 or more", P05),
    number("braking_beyond_level_p95_kwh", "kW.h", "", "0 or more", P95),
    number("braking_beyond_torque_p05_kwh", "kW.h", "", "0 or more", P05),
    number("braking_beyond_torque_p95_kwh", "kW.h", "", "0 or more", P95),
    number("braking_beyond_power_p05_kwh", "kW.h", "", "0 or more", P05),
    number("braking_beyond_power_p95_kwh", "kW.h", "", "0 or more", P95),
    number("braking_beyond_acceptance_p05_kwh", "kW.h", "", "0 or more", P05),
    number("braking_beyond_acceptance_p95_kwh", "kW.h", "", "0 or more", P95),
    number("braking_converted_p05_kwh", "kW.h", "", "0 or more", P05),
    number("braking_converted_p95_kwh", "kW.h", "", "0 or more", P95),
    number("braking_to_auxiliaries_p05_kwh", "kW.h", "", "0 or more", P05),
    number("braking_to_auxiliaries_p95_kwh", "kW.h", "", "0 or more", P95),
    number("energy_recoverable_p05_kwh", "kW.h", "", "0 or more", P05),
    number("energy_recoverable_p95_kwh", "kW.h", "", "0 or more", P95),
    number(
        "braking_refused_full_kwh",
        "kW.h",
        "",
        "0 or more",
        "see segments: part of braking_beyond_acceptance",
    ),
    number(
        "braking_refused_cold_kwh",
        "kW.h",
        "",
        "0 or more",
        "see segments: part of braking_beyond_acceptance",
    ),
    number("energy_recoverable_low_kwh", "kW.h", "", "0 or more", "see segments: bounds, no interval"),
    number("energy_recoverable_high_kwh", "kW.h", "", "0 or more", "see segments: bounds, no interval"),
    number("energy_attainable_kwh", "kW.h", "", "0 or more", "see segments"),
    number(
        "energy_recovered_p50_kwh",
        "kW.h",
        "no claim",
        "0 or more",
        "into the battery terminals, over the segments with a claim",
    ),
];
