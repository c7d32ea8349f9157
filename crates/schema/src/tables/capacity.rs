use crate::column::{Column, Table, count, number, text};

const NOT_MEASURED: &str = "no charge session of this vehicle tells";
const NOT_STATED: &str = "no capacity is stated, or no charge session tells";

/// What metered charges say of each vehicle's battery.
pub static CAPACITY: Table = Table {
    name: "capacity",
    version: 1,
    one_row_is: "one vehicle",
    sorted_by: "vehicle_id",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 13] = [
    text("vehicle_id", "", "the vehicle"),
    text("vehicle_type", "", "its type"),
    number(
        "capacity_stated_kwh",
        "kW.h",
        "the sheet states none",
        "above 0",
        "energy between state of charge 0 and 1 by the sheet",
    ),
    number(
        "capacity_measured_p05_kwh",
        "kW.h",
        NOT_MEASURED,
        "above 0",
        "the same by the charge sessions: 5th percentile, doubt of the charger's efficiency included",
    ),
    number("capacity_measured_p50_kwh", "kW.h", NOT_MEASURED, "above 0", "in the middle"),
    number("capacity_measured_p95_kwh", "kW.h", NOT_MEASURED, "above 0", "95th percentile"),
    number(
        "capacity_ratio_p05_frac",
        "1",
        NOT_STATED,
        "above 0",
        "measured over stated: what is left after wear, and what the sheet was wrong by from the start; 5th percentile",
    ),
    number("capacity_ratio_p50_frac", "1", NOT_STATED, "above 0", "in the middle"),
    number("capacity_ratio_p95_frac", "1", NOT_STATED, "above 0", "95th percentile"),
    count("sessions", "", "charge sessions it rests on"),
    count("sessions_refused", "", "charge sessions that tell nothing; charge_sessions says why"),
    text("evidence", "", "counter: energy meters of the charger; modelled: the sheet alone"),
    text("why", "", "what it rests on, or why nothing is measured"),
];
