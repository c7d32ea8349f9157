use crate::column::{Column, Table, count, flag, number, text};

const FEW: &str = "fewer than three days, or the sheet states no packs";

/// Which pack count finishes a route with its reserve, and how surely.
pub static PACK_SIZING: Table = Table {
    name: "pack_sizing",
    version: 1,
    one_row_is: "one pack count of a vehicle type on one route, in one season, under one scenario, with or without midday charging",
    sorted_by: "vehicle_type, route, season, midday_charging, scenario in the order of the method page, packs",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 25] = [
    text("vehicle_type", "", "the type"),
    text(
        "route",
        "",
        "the route; (unknown) where the log does not say, (several) where no route had nine tenths of the day",
    ),
    text("season", "", "winter, spring, summer or autumn, by month; (undated) on a relative clock"),
    text("scenario", "", "as driven; hot; cold; heavy; worn; cold, heavy and worn"),
    text("midday_charging", "", "as driven, or none: what was charged between trips left out"),
    count("packs", "", "packs in the truck"),
    number(
        "capacity_usable_kwh",
        "kW.h",
        "",
        "above 0",
        "usable energy of that many packs, as measured where the logs tell, under the scenario",
    ),
    number("reserve_frac", "1", "", "0 to 1", "share of it that must be left at the end of the day"),
    number(
        "energy_day_p50_kwh",
        "kW.h",
        "",
        "0 or more",
        "median over days: most that was gone from the battery at any time of the day, from full",
    ),
    number("energy_day_p90_kwh", "kW.h", FEW, "0 or more", "90th percentile of the same for one more such day"),
    number(
        "soc_end_p10_frac",
        "1",
        FEW,
        "below 0 where the day would not have ended",
        "10th percentile of the least state of charge of one more such day",
    ),
    number(
        "probability_finish_frac",
        "1",
        FEW,
        "0 to 1",
        "that one more such day ends with the reserve untouched",
    ),
    number(
        "probability_finish_p05_frac",
        "1",
        FEW,
        "0 to 1",
        "5th percentile over days resampled and what all days share",
    ),
    number("probability_finish_p95_frac", "1", FEW, "0 to 1", "95th percentile of the same"),
    number("target_frac", "1", "", "0 to 1", "probability asked for"),
    flag("meets_target", FEW, "the probability reaches the target"),
    flag("is_smallest", "", "no smaller count meets the target"),
    text(
        "breaks",
        "not the smallest count that meets the target as driven",
        "scenarios in which this count misses the target; empty: none of those looked at",
    ),
    number(
        "range_per_pack_mi",
        "[mi_i]",
        "no distance or no use",
        "above 0",
        "usable energy of one pack less reserve, over the use of such days for each mile, stops and parking included",
    ),
    number("distance_day_p50_mi", "[mi_i]", "", "0 or more", "median distance of the days"),
    count("vehicle_days", "", "service days resampled"),
    count("vehicles", "", "vehicles among them"),
    count("days_charged_midday", "", "days with a charge between trips"),
    text(
        "evidence",
        "",
        "of the days' energy: measured, inferred or modelled; modelled under any scenario or pack count that was not driven",
    ),
    text("why", "", "what the figure rests on, and what it leaves out"),
];
