use crate::column::{Column, Table, count, flag, number, text};

const SEGMENTS: &str = "see segments";
const NO_PASS: &str = "the row without a position";

/// Where on the map braking energy is won and lost. Its rows sum to the braking ledger of segments.
pub static ROAD_CELLS: Table = Table {
    name: "road_cells",
    version: 2,
    one_row_is: "one H3 cell of resolution 10 that was driven through, and one row for what has no position",
    sorted_by: "cell, the row without a position last",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 33] = [
    text("cell", "energy without a position", "H3 cell of resolution 10, as the standard's hexadecimal string"),
    number("lat_deg", "deg", NO_PASS, "north positive", "latitude of the cell's centre"),
    number("lon_deg", "deg", NO_PASS, "east positive", "longitude of the cell's centre"),
    count("passes", NO_PASS, "times a vehicle drove through; back within 60 s is the same pass"),
    count("vehicles", "", "vehicles that did"),
    count("stops", "", "stops of 3 s and more within trips"),
    number("distance_m", "m", "", "0 or more", "driven in it"),
    number("moving_s", "s", "", "0 or more", "time driven in it"),
    number("climb_m", "m", "height is unknown in all passes", "0 or more", "height gained, all passes"),
    number(
        "descent_m",
        "m",
        "height is unknown in all passes",
        "0 or more",
        "height lost, all passes, as a magnitude",
    ),
    number("distance_height_known_m", "m", "", "0 or more", "of the distance, where the height is known"),
    number("energy_braking_kwh", "kW.h", "", "0 or more", "at the wheels, as in segments"),
    number(
        "braking_claimed_share_frac",
        "1",
        "no braking",
        "0 to 1",
        "share of the braking energy on trips whose sampling allows a claim of it",
    ),
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
        "energy_recovered_p05_kwh",
        "kW.h",
        "no claim",
        "0 or more",
        "as p50, of the 5th percentiles: errors taken as one, so wider than nine tenths",
    ),
    number(
        "energy_recovered_p50_kwh",
        "kW.h",
        "no claim",
        "0 or more",
        "what segment_battery says of each segment: measured by where it flowed in, else by where it was recoverable",
    ),
    number("energy_recovered_p95_kwh", "kW.h", "no claim", "0 or more", "as p50, of the 95th percentiles"),
    number(
        "braking_of_recovered_kwh",
        "kW.h",
        "",
        "0 or more",
        "braking energy of the segments with a claim of recovered energy: the denominator beside it",
    ),
    text(
        "evidence",
        "",
        "of recovered energy: the weakest that carries a twentieth of the braking energy; none where nothing is claimed",
    ),
    number(
        "measured_share_frac",
        "1",
        "no braking",
        "0 to 1",
        "share of the braking energy on segments whose battery power is measured",
    ),
    flag(
        "near_overnight_place",
        NO_PASS,
        "true within 300 m of where any vehicle stood overnight: a depot, or somebody's home",
    ),
    flag("few_passes", NO_PASS, "true under 10 passes or 2 vehicles: too few to hide who drove"),
    flag(
        "is_shareable",
        "",
        "false where either holds, and without a position: leave out of whatever leaves the pilot",
    ),
    number(
        "grade_mean_abs_frac",
        "1",
        "height is unknown in all passes",
        "0 or more",
        "climb and descent over distance",
    ),
];
