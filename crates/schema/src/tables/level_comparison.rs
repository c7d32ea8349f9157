use crate::column::{Column, Table, count, number, text};

const NO_CONTRAST: &str = "the reference, or no stratum was driven at this level and another";

/// Regen levels compared as they were driven: an association, beside what the ledger allows at each.
pub static LEVEL_COMPARISON: Table = Table {
    name: "level_comparison",
    version: 1,
    one_row_is: "one regen level of one vehicle type",
    sorted_by: "vehicle_type, regen_level",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 18] = [
    text("vehicle_type", "", "the vehicle type"),
    text("regen_level", "", "the level, as logged"),
    text("level_reference", "", "the level it is compared with: the one most braking energy was driven at"),
    count("vehicle_days", "", "vehicle-days with measured battery power at this level"),
    count(
        "strata",
        "",
        "combinations of driver, vehicle, route and ten-degree temperature band driven at this level and at another",
    ),
    number("energy_braking_kwh", "kW.h", "", "0 or more", "at the wheels, where recovered energy is measured"),
    number(
        "recapture_of_braking_frac",
        "1",
        "no braking energy",
        "0 or more",
        "R1 as driven, nothing allowed for",
    ),
    number(
        "recapture_difference_frac",
        "1",
        NO_CONTRAST,
        "signed: positive recaptures more",
        "R1 less that of the reference level within strata: an association",
    ),
    number("recapture_difference_p05_frac", "1", NO_CONTRAST, "signed", "low end of its 90 % interval"),
    number("recapture_difference_p95_frac", "1", NO_CONTRAST, "signed", "high end"),
    number("recapture_difference_error_frac", "1", NO_CONTRAST, "above 0", "its standard error"),
    number(
        "recoverable_share_frac",
        "1",
        "no braking energy",
        "0 to 1",
        "R3 of the same driving: what the ledger says was recoverable at the level as set",
    ),
    number(
        "recoverable_difference_frac",
        "1",
        NO_CONTRAST,
        "signed",
        "R3 less that of the reference level within strata: what the sheet's levels account for",
    ),
    number("recoverable_difference_p05_frac", "1", NO_CONTRAST, "signed", "low end of its 90 % interval"),
    number("recoverable_difference_p95_frac", "1", NO_CONTRAST, "signed", "high end"),
    count(
        "rows",
        "",
        "vehicle-days at one level, driver and route behind the comparison, of all levels of the type",
    ),
    text("evidence", "", "measured"),
    text("caution", "", "levels were chosen, not assigned"),
];
