use crate::column::{Column, Table, number, text};

/// Which value of the vehicle data leaves most open of what was recoverable: what to weigh, state or log next.
pub static OPEN_VALUES: Table = Table {
    name: "open_values",
    version: 1,
    one_row_is: "one open value of one vehicle type, over all trips that claim braking energy; values that move nothing are left out",
    sorted_by: "vehicle_type, then what moves recoverable energy most",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 7] = [
    text("vehicle_type", "", "the type"),
    text("value", "", "what is open, as in step_swings"),
    number("energy_braking_kwh", "kW.h", "", "above 0", "braking energy of the type at the wheels"),
    number(
        "energy_recoverable_at_low_kwh",
        "kW.h",
        "",
        "signed",
        "what would have been recoverable more with the value at its unfavourable end, the braking energy standing",
    ),
    number("energy_recoverable_at_high_kwh", "kW.h", "", "signed", "the same at the favourable end"),
    number("recoverable_at_low_frac", "1", "", "signed", "the first over the braking energy"),
    number("recoverable_at_high_frac", "1", "", "signed", "the second over the braking energy"),
];
