use crate::column::{Column, Table, number, text, time};

/// Power between two samples, modelled beside measured. Made on request; no stage writes it.
pub static POWER_TRACE: Table = Table {
    name: "power_trace",
    version: 1,
    one_row_is: "one interval between two samples without a gap between them; means over the interval, \
                 made on request and written by no stage",
    sorted_by: "vehicle_id, time_start_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 13] = [
    text("vehicle_id", "", "the vehicle"),
    text("trip_id", "parked", "the trip"),
    text("kind", "", "driving; standing; parked"),
    time("time_start_ns", "the sample it starts with"),
    time("time_end_ns", "the sample it ends with; not part of it"),
    number("speed_m_s", "m/s", "", "0 or more", "mean speed"),
    number("power_wheel_w", "W", "", "positive pushes forward", "at the wheels, by the force balance"),
    number("power_braking_w", "W", "", "0 or more", "the part of power_wheel_w that brakes, as a magnitude"),
    number("power_auxiliary_w", "W", "", "0 or more", "auxiliaries and cab climate, as logged or by the sheet"),
    number(
        "power_returned_bus_w",
        "W",
        "",
        "0 or more",
        "returned at the dc link, auxiliaries' part included, modelled: energy_recoverable and braking_to_auxiliaries",
    ),
    number(
        "power_modelled_w",
        "W",
        "",
        "positive leaves the battery",
        "at the terminals: traction through the drive's efficiency, and auxiliaries, less power_returned_bus_w",
    ),
    number(
        "power_measured_w",
        "W",
        "battery power is not logged here",
        "positive leaves the battery",
        "at the terminals, as logged",
    ),
    text("evidence", "", "measured or modelled: whether power_measured_w is known"),
];
