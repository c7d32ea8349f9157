use crate::column::{Column, Table, count, number, text};

/// What the logs say of the values a sheet states, jointly.
pub static CALIBRATION: Table = Table {
    name: "calibration",
    version: 1,
    one_row_is: "one unknown of a vehicle type or of one of its vehicles",
    sorted_by: "vehicle_type, vehicle_id with the type first, then in the order of the method page",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 15] = [
    text("vehicle_type", "", "the type"),
    text("vehicle_id", "the unknown is the type's", "the vehicle"),
    text("unknown", "", "what it is; see the method page on estimation"),
    text("unit", "", "1: a factor on the sheet's value, or a share; kW; kW.h"),
    text(
        "evidence",
        "",
        "inferred: the logs narrowed it to half of what was believed before, and doubt twice as wide moves it by less than its \
         half-width; else modelled: these logs cannot tell",
    ),
    number("before_p50", "1", "", "signed", "believed before the logs, in the unit of the row"),
    number("before_half_width", "1", "", "0 or more", "half-width of its 90 % interval"),
    number("value_p05", "1", "", "signed", "after the logs: 5th percentile"),
    number("value_p50", "1", "", "signed", "after the logs"),
    number("value_p95", "1", "", "signed", "after the logs: 95th percentile"),
    number("moved_by_wide_doubt", "1", "", "0 or more", "by how much priors twice as wide move it"),
    text("tied_to", "no correlation above 0.5", "the unknown it is most strongly correlated with"),
    number("tied_to_correlation", "1", "no correlation above 0.5", "-1 to 1", "that correlation"),
    count("windows", "", "windows of state of charge behind it"),
    count("measured_rows", "", "trips and day-levels with measured battery power behind it"),
];
