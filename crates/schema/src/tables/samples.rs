use crate::column::{Column, Table, count, flag, number, text, time};

const UNLOGGED: &str = "not logged at this instant, or the cell was refused";

/// Cleaned logs: what the logger said, in SI, sorted by time within a vehicle and month.
pub static SAMPLES: Table = Table {
    name: "samples",
    version: 1,
    one_row_is: "one instant of one vehicle",
    sorted_by: "time_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 35] = [
    text("vehicle_id", "", "the vehicle, as the pilot file or the log names it"),
    time("time_ns", "the instant, UTC; on a relative clock, counted from an invented day of 1970 per file"),
    flag("clock_relative", "", "true where the log has no wall clock: no claim that needs a date is made"),
    number("speed_m_s", "m/s", UNLOGGED, "0 or more forward; small negatives as logged", "vehicle speed"),
    number("odometer_m", "m", UNLOGGED, "0 or more", "distance counter"),
    number("lat_deg", "deg", UNLOGGED, "-90 to 90, north positive", "WGS84 latitude"),
    number("lon_deg", "deg", UNLOGGED, "-180 to 180, east positive", "WGS84 longitude"),
    number("altitude_m", "m", UNLOGGED, "as logged", "height above the logger's own zero"),
    number("grade_frac", "1", UNLOGGED, "uphill positive", "road grade, rise over run"),
    number("soc_frac", "1", UNLOGGED, "0 to 1", "state of charge, as reported"),
    number("pack_voltage_v", "V", UNLOGGED, "0 or more", "voltage at the pack terminals"),
    number(
        "pack_current_a",
        "A",
        UNLOGGED,
        "positive leaves the battery",
        "pack current, sign proved or stated",
    ),
    number(
        "pack_power_w",
        "W",
        UNLOGGED,
        "positive leaves the battery",
        "logged power, or voltage times current",
    ),
    number("aux_power_w", "W", UNLOGGED, "0 or more", "auxiliary power, cab climate left out"),
    number("cab_climate_power_w", "W", UNLOGGED, "0 or more", "heating and cooling of the cab"),
    number("temperature_ambient_k", "K", UNLOGGED, "above 0", "outside air"),
    number("temperature_battery_k", "K", UNLOGGED, "above 0", "battery"),
    number("wheel_force_n", "N", UNLOGGED, "positive pushes forward", "motor force at the wheels, as logged"),
    number("brake_pressure_pa", "Pa", UNLOGGED, "0 or more", "friction brake line pressure"),
    number("brake_pedal_frac", "1", UNLOGGED, "0 to 1", "brake pedal"),
    number("accelerator_pedal_frac", "1", UNLOGGED, "0 to 1", "accelerator pedal"),
    number("engine_speed_rad_s", "rad/s", UNLOGGED, "0 or more", "combustion engine, where there is one"),
    number("payload_kg", "kg", UNLOGGED, "0 or more", "load carried"),
    flag("plugged_in", UNLOGGED, "a charging cable is connected"),
    flag("overhead_line", UNLOGGED, "a current collector is on the wire"),
    text("regen_level", UNLOGGED, "regen level as the log names it"),
    text("driver_id", UNLOGGED, "driver as the log names them"),
    text("route_id", UNLOGGED, "route as the log names it"),
    flag(
        "mask_frozen",
        "",
        "every signal repeated unchanged while the vehicle claims to move: no energy is built on it",
    ),
    flag("mask_speed_range", "", "a speed cell was refused as impossible"),
    flag("mask_cell_refused", "", "some cell of this row was refused; the rest of the row stands"),
    flag("mask_filled", "", "some cell was filled forward because the pilot file says so"),
    flag("mask_merged", "", "made of several rows at the same instant"),
    text("source_file", "", "file the row came from, relative to the pilot file"),
    count("source_line", "", "its line, counted from 1, preamble and header included"),
];
