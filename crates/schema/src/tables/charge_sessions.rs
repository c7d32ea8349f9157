use crate::column::{Column, Table, count, flag, number, text, time};

const NO_MATCH: &str = "neither stated nor logged near enough, or the vehicle has no logs";
const NO_CAPACITY: &str = "the session tells nothing: why says so";

/// Charges metered outside the vehicle, each with what the vehicle's state of charge did meanwhile. It is never recovered energy.
pub static CHARGE_SESSIONS: Table = Table {
    name: "charge_sessions",
    version: 1,
    one_row_is: "one line of the file of charge sessions, used or not",
    sorted_by: "vehicle_id, time_start_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 20] = [
    text("vehicle_id", "", "the vehicle, as the file names it"),
    time("time_start_ns", "the charger's clock at the start"),
    time("time_end_ns", "the charger's clock at the end"),
    number("energy_metered_kwh", "kW.h", "", "0 or more", "as the meter says"),
    text(
        "metered",
        "",
        "ac (at the wall, before the charger on board) or dc (at the output of the charger beside the road)",
    ),
    number("power_max_w", "W", "the file has no power", "above 0", "of the charger"),
    number("soc_start_frac", "1", NO_MATCH, "0 to 1", "state of charge before"),
    text("soc_start_basis", NO_MATCH, "stated (in the file) or logged"),
    number("soc_end_frac", "1", NO_MATCH, "0 to 1", "state of charge after"),
    text("soc_end_basis", NO_MATCH, "stated (in the file) or logged"),
    number("wait_start_s", "s", NO_MATCH, "0 or more", "from the reading before to the start; 0 where stated"),
    number("wait_end_s", "s", NO_MATCH, "0 or more", "from the end to the reading after; 0 where stated"),
    number("soc_rise_frac", "1", NO_MATCH, "signed", "state of charge after less before"),
    number(
        "soc_rise_sd_frac",
        "1",
        NO_MATCH,
        "above 0",
        "standard deviation of the rise: both readings stand on steps",
    ),
    number(
        "capacity_apparent_p05_kwh",
        "kW.h",
        NO_CAPACITY,
        "above 0",
        "energy between state of charge 0 and 1 by this session alone: 5th percentile",
    ),
    number("capacity_apparent_p50_kwh", "kW.h", NO_CAPACITY, "above 0", "the same in the middle"),
    number("capacity_apparent_p95_kwh", "kW.h", NO_CAPACITY, "above 0", "95th percentile"),
    flag("used", "", "true where the vehicle's capacity rests on it"),
    text("why", "", "why it is used, or why not"),
    count("source_line", "", "its line in the file, counted from 1, header included"),
];
