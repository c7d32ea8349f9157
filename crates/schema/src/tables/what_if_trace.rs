use crate::column::{Column, Table, number, text, time};

const WHAT_IF: &str = "see what_if";

/// A what-if between the samples of chosen trips. Each trip's rows sum to its row of `what_if`. Made on request; no stage
/// writes it.
pub static WHAT_IF_TRACE: Table = Table {
    name: "what_if_trace",
    version: 1,
    one_row_is: "one interval between two samples of one trip, as driven and with the change asked for; made on request \
                 and written by no stage",
    sorted_by: "vehicle_id, time_start_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 17] = [
    text("vehicle_id", "", "the vehicle"),
    text("trip_id", "", "the trip"),
    time("time_start_ns", "the sample it starts with, as driven"),
    time("time_end_ns", "the sample it ends with, as driven; not part of it"),
    number("duration_driven_s", "s", "", "0 or more", WHAT_IF),
    number("duration_changed_s", "s", "", "0 or more", WHAT_IF),
    number("energy_tractive_driven_kwh", "kW.h", "", "0 or more", WHAT_IF),
    number("energy_tractive_changed_kwh", "kW.h", "", "0 or more", WHAT_IF),
    number("energy_braking_driven_kwh", "kW.h", "", "0 or more", WHAT_IF),
    number("energy_braking_changed_kwh", "kW.h", "", "0 or more", WHAT_IF),
    number("energy_recovered_driven_kwh", "kW.h", "", "0 or more", WHAT_IF),
    number("energy_recovered_changed_kwh", "kW.h", "", "0 or more", WHAT_IF),
    number("energy_auxiliary_driven_kwh", "kW.h", "", "0 or more", WHAT_IF),
    number("energy_auxiliary_changed_kwh", "kW.h", "", "0 or more", WHAT_IF),
    number("energy_net_driven_kwh", "kW.h", "", "signed: positive leaves the battery", WHAT_IF),
    number("energy_net_changed_kwh", "kW.h", "", "signed: positive leaves the battery", WHAT_IF),
    number(
        "soc_end_changed_frac",
        "1",
        "state of charge is not logged, or the sheet states no capacity",
        "0 to 1",
        "state of charge at the end with the change, carried on from trip to trip until a charge",
    ),
];
