use crate::column::{Column, Table, count, number, text};

const NOT_SHOWN: &str = "too little driving, too small a group, or nothing to go by: why_not_shown says which";
const NOT_COMPARED: &str = "not compared, and why_not_shown says why";

/// What a driver's difference is made of. Habits are the driver's doing, so none of them is allowed for in `drivers`.
pub static HABITS: Table = Table {
    name: "habits",
    version: 2,
    one_row_is: "one driver and one habit",
    sorted_by: "driver_id, habit",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 16] = [
    text("driver_id", "", "the driver, as the pilot names people"),
    text(
        "habit",
        "",
        "stops that took friction; stops begun late (these two add up to the avoidable loss); slowing beyond the motor; regen level \
         set low; speed; standing with auxiliaries on. Only the first two can be added",
    ),
    text("why_not_shown", "compared", "why there is no figure, or no comparison with the others"),
    text("comparison_group", NOT_COMPARED, "as in drivers"),
    count("driving_days", NOT_SHOWN, "service days with driving"),
    number(
        "energy_kwh_day",
        "kW.h/d",
        "not shown, or the habit has no reference but the others",
        "signed: positive costs energy",
        "at the battery terminals, against the habit's own reference, a driving day",
    ),
    number(
        "energy_mi_day",
        "[mi_i]/d",
        "as energy_kwh_day, or no consumption known",
        "signed",
        "the same over the consumption of the drivers compared",
    ),
    number(
        "above_group_kwh_day",
        "kW.h/d",
        NOT_COMPARED,
        "signed: positive costs energy",
        "beyond the mean of the drivers compared at like work, adjusted and shrunken as in drivers",
    ),
    number("above_group_p05_kwh_day", "kW.h/d", NOT_COMPARED, "signed", "low end of its 90 % interval"),
    number("above_group_p95_kwh_day", "kW.h/d", NOT_COMPARED, "signed", "high end"),
    number(
        "above_group_mi_day",
        "[mi_i]/d",
        "not compared, or no consumption known",
        "signed",
        "the same in miles",
    ),
    count("occasions", NOT_SHOWN, "stops, braking events or stretches of log behind it"),
    text(
        "examples",
        "not shown, or none that cost anything",
        "up to five braking events, trip_id and event_order with a # between, dearest first, separated by a blank",
    ),
    text("reference", "", "what energy_kwh_day is against"),
    text("evidence", "", "modelled: the energy of a habit is the ledger's"),
    text("caution", "", "what to bear in mind"),
];
