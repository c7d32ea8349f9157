use crate::column::{Column, Table, count, number, text};

const NOT_SHOWN: &str = "not shown, and why_not_shown says why";

/// Drivers compared, what is not their doing allowed for. Energy only: no figure of safety, and no rank.
pub static DRIVERS: Table = Table {
    name: "drivers",
    version: 1,
    one_row_is: "one driver and one response",
    sorted_by: "driver_id, response",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 34] = [
    text("driver_id", "", "the driver, as the pilot names people"),
    text(
        "response",
        "",
        "avoidable loss (R12 over the distance); consumption (net energy out of the battery over the distance, compared by its \
         logarithm)",
    ),
    text(
        "comparison_group",
        NOT_SHOWN,
        "drivers that shared trucks and routes, one with another; only within it is compared",
    ),
    text("why_not_shown", "shown", "why there is no figure"),
    count("drivers_compared", NOT_SHOWN, "drivers of the group with enough driving, this one included"),
    count("driving_days", NOT_SHOWN, "service days with driving"),
    number("energy_braking_kwh", "kW.h", NOT_SHOWN, "0 or more", "braking energy at the wheels behind it"),
    number("distance_mi", "[mi_i]", NOT_SHOWN, "0 or more", "distance behind it"),
    number("distance_mi_day", "[mi_i]/d", NOT_SHOWN, "0 or more", "distance of a driving day"),
    count("vehicles", NOT_SHOWN, "vehicles driven"),
    count("vehicles_shared", NOT_SHOWN, "of which another driver of the group drove as well"),
    count("routes", NOT_SHOWN, "routes driven that the log names"),
    count("routes_shared", NOT_SHOWN, "of which another driver of the group drove as well"),
    number("raw_kwh_mi", "kW.h/[mi_i]", NOT_SHOWN, "signed", "ratio of sums, nothing allowed for"),
    number("group_kwh_mi", "kW.h/[mi_i]", NOT_SHOWN, "signed", "the same of all drivers compared"),
    number(
        "effect_unshrunken_kwh_mi",
        "kW.h/[mi_i]",
        NOT_SHOWN,
        "signed: positive costs energy",
        "difference from the mean of the drivers compared, adjusted, chance included",
    ),
    number(
        "contrast_error_kwh_mi",
        "kW.h/[mi_i]",
        NOT_SHOWN,
        "above 0",
        "standard error of effect_unshrunken: what trucks, routes and days shared with others leave open",
    ),
    number(
        "effect_kwh_mi",
        "kW.h/[mi_i]",
        NOT_SHOWN,
        "signed: positive costs energy",
        "the same drawn towards the mean by as much as chance may have made it: the figure to go by",
    ),
    number("effect_p05_kwh_mi", "kW.h/[mi_i]", NOT_SHOWN, "signed", "low end of its 90 % interval"),
    number("effect_p95_kwh_mi", "kW.h/[mi_i]", NOT_SHOWN, "signed", "high end"),
    number("effect_kwh_day", "kW.h/d", NOT_SHOWN, "signed", "effect times the distance of a driving day"),
    number("effect_p05_kwh_day", "kW.h/d", NOT_SHOWN, "signed", "low end of its 90 % interval"),
    number("effect_p95_kwh_day", "kW.h/d", NOT_SHOWN, "signed", "high end"),
    number(
        "effect_mi_day",
        "[mi_i]/d",
        "not shown, or no consumption known",
        "signed: positive would take miles away",
        "effect_kwh_day over the consumption of the drivers compared",
    ),
    number(
        "positive_probability_frac",
        "1",
        NOT_SHOWN,
        "0 to 1",
        "probability of costing more than the mean of the drivers compared",
    ),
    number(
        "best_quarter_probability_frac",
        "1",
        "not shown, or fewer than eight drivers compared",
        "0 to 1",
        "probability of being among the quarter that costs least",
    ),
    number(
        "worst_quarter_probability_frac",
        "1",
        "not shown, or fewer than eight drivers compared",
        "0 to 1",
        "probability of being among the quarter that costs most",
    ),
    count("rows", NOT_SHOWN, "days of a driver on a vehicle and a route behind the comparison, of all drivers"),
    number(
        "spread_drivers_kwh_mi",
        "kW.h/[mi_i]",
        NOT_SHOWN,
        "0 or more",
        "standard deviation between drivers",
    ),
    number(
        "spread_vehicles_kwh_mi",
        "kW.h/[mi_i]",
        NOT_SHOWN,
        "0 or more",
        "standard deviation between vehicles",
    ),
    number("spread_routes_kwh_mi", "kW.h/[mi_i]", NOT_SHOWN, "0 or more", "standard deviation between routes"),
    text(
        "evidence",
        "",
        "measured (battery power), inferred (state of charge) or modelled (no battery signal)",
    ),
    text("adjusted_for", NOT_SHOWN, "what was allowed for"),
    text("caution", "", "what to bear in mind; empty where there is nothing"),
];
