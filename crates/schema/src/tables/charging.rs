use crate::column::{Column, Table, count, flag, number, text};

const NONE: &str = "no night between two logged service days";

/// Does the time at the depot refill the truck?
pub static CHARGING: Table = Table {
    name: "charging",
    version: 1,
    one_row_is: "one charger for one vehicle type on one route",
    sorted_by: "vehicle_type, route, kind, power_w",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 28] = [
    text("vehicle_type", "", "the type"),
    text("route", "", "route of the day before the night; all: every night of the type"),
    text("charger", "", "its name in the plan, or its kind and power"),
    text("kind", "", "ac or dc"),
    text("basis", "", "plan (the pilot file names it) or common size"),
    number("power_w", "W", "", "above 0", "at the plug for ac, into the vehicle for dc"),
    number("efficiency_frac", "1", "", "0 to 1", "battery terminals over the grid"),
    count("nights", "", "nights between two logged service days"),
    number(
        "dwell_p10_s",
        "s",
        NONE,
        "0 or more",
        "10th percentile of the standing time, within the plan's window where it names one",
    ),
    number("dwell_p50_s", "s", NONE, "0 or more", "median of the same"),
    number(
        "energy_refill_p50_kwh",
        "kW.h",
        NONE,
        "0 or more",
        "into the battery to fill it: median of the nights",
    ),
    number("energy_refill_p90_kwh", "kW.h", NONE, "0 or more", "90th percentile of the same"),
    number("energy_wall_p50_kwh", "kW.h", NONE, "0 or more", "from the grid for the median night"),
    number(
        "time_refill_p50_s",
        "s",
        NONE,
        "0 or more",
        "time the median night's refill takes, taper near full included",
    ),
    number("time_refill_p90_s", "s", NONE, "0 or more", "the same of the 90th percentile of the nights' times"),
    number("refilled_frac", "1", NONE, "0 to 1", "share of nights long enough to refill"),
    number(
        "refilled_p05_frac",
        "1",
        NONE,
        "0 to 1",
        "5th percentile of the share in the long run, from the number of nights",
    ),
    number("refilled_p95_frac", "1", NONE, "0 to 1", "95th percentile of the same"),
    number("target_frac", "1", "", "0 to 1", "share of nights asked for"),
    flag("meets_target", NONE, "the share reaches the target"),
    flag("is_smallest", "", "no weaker charger of its kind and of this table does"),
    number(
        "power_least_w",
        "W",
        "no power up to 1 MW does, or no night",
        "above 0",
        "least power of this kind that refills the target share of nights",
    ),
    number(
        "standing_midday_p50_s",
        "s",
        "no day with two trips",
        "0 or more",
        "longest standing between trips of a day: median of the days",
    ),
    number(
        "topup_midday_kwh",
        "kW.h",
        "no day with two trips",
        "0 or more",
        "what this charger would put into the battery in that time: mean of the days",
    ),
    number(
        "topup_midday_mi",
        "[mi_i]",
        "no day with two trips, or no use",
        "0 or more",
        "miles that is worth, at the days' use for each mile",
    ),
    text(
        "cost_night",
        "the pilot file names no price",
        "energy from the grid of the median night times the price the pilot file names",
    ),
    text("evidence", "", "of the energy to refill: measured, inferred or modelled"),
    text("why", "", "what the figure rests on"),
];
