use crate::column::{Column, Table, count, number, text};

/// What to log next: the interval that the main answers would have with one signal more, from the design of the log.
pub static SIGNAL_VALUE: Table = Table {
    name: "signal_value",
    version: 1,
    one_row_is: "one signal that could be added to the logs of one vehicle type, or none",
    sorted_by: "vehicle_type, then the narrowest interval of what was recovered first",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 9] = [
    text("vehicle_type", "", "the type"),
    text("signal", "", "what would be added to every vehicle that lacks it; as it is: nothing"),
    count("vehicles_lacking", "", "vehicles of the type that lack it"),
    number(
        "energy_recovered_kwh",
        "kW.h",
        "",
        "0 or more",
        "what came back on this log, to which the widths belong",
    ),
    number(
        "half_width_recovered_frac",
        "1",
        "nothing recovered",
        "0 or more",
        "expected half-width of the 90 % interval of it, over it",
    ),
    number(
        "narrowing_recovered_frac",
        "1",
        "nothing recovered",
        "0 to 1",
        "by how much narrower than as it is",
    ),
    number("energy_net_kwh", "kW.h", "", "signed", "net use on this log"),
    number(
        "half_width_net_frac",
        "1",
        "no net use",
        "0 or more",
        "expected half-width of the 90 % interval of it, over it",
    ),
    text("how", "", "what the calculation changed"),
];
