use crate::column::{Column, Table, count, flag, number, text, time};

/// Trips, with what decides how much may be claimed of them.
pub static TRIPS: Table = Table {
    name: "trips",
    version: 1,
    one_row_is: "one trip: from setting off to the last standstill before 5 min of standing or a gap of 5 min",
    sorted_by: "vehicle_id, time_start_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 31] = [
    text("vehicle_id", "", "the vehicle"),
    text("trip_id", "", "vehicle and number of the trip within its log"),
    time("time_start_ns", "setting off"),
    time("time_end_ns", "last standstill"),
    flag("clock_relative", "", "true where the log has no wall clock"),
    text("service_day", "on a relative clock", "date of the service day on which it began, cut at 03:00 local"),
    text("driver_id", "unknown, or several", "driver for at least nine tenths of the time"),
    text("route_id", "unknown, or several", "route for at least nine tenths of the time"),
    number("duration_s", "s", "", "0 or more", "from start to end, gaps within included"),
    number("logged_s", "s", "", "0 or more", "of which covered by continuous log"),
    number("moving_s", "s", "", "0 or more", "of which moving"),
    count("stops", "", "stops of 3 s and more"),
    number("distance_m", "m", "", "0 or more", "integral of speed over the logged time"),
    number("odometer_m", "m", "no odometer", "0 or more", "odometer, last less first"),
    number("speed_max_m_s", "m/s", "", "0 or more", "highest speed"),
    number("sample_interval_s", "s", "", "above 0", "median time between speed values"),
    number("gap_s", "s", "", "0 or more", "time lost to gaps within the trip"),
    number("frozen_s", "s", "", "0 or more", "of which a frozen bus"),
    number("energy_tractive_kwh", "kW.h", "", "0 or more", "at the wheels, from the samples as they stand"),
    number("energy_braking_kwh", "kW.h", "", "0 or more", "at the wheels, from the samples as they stand"),
    number("energy_braking_low_kwh", "kW.h", "withheld", "0 or more", "lower end of the sampling correction band"),
    number("energy_braking_high_kwh", "kW.h", "withheld", "0 or more", "upper end of the sampling correction band"),
    text("braking_claim", "", "full (1 s or faster); banded (up to 5 s); withheld (slower: braking hides between the samples)"),
    number("ledger_residual_frac", "1", "", "about 1e-12", "identity (3): kinetic, grade, aero and rolling against tractive less braking, over their sum"),
    text("evidence", "", "of the battery figures: measured from 95 % coverage of the moving time, else modelled"),
    number("battery_coverage_frac", "1", "", "0 to 1", "share of the moving time with battery power known"),
    text("recovery_check", "", "explained; more-than-braking (measured inflow exceeds braking energy at the wheels); engine; unknown-store; none"),
    number("soc_start_frac", "1", "not logged", "0 to 1", "state of charge at the start"),
    number("soc_end_frac", "1", "not logged", "0 to 1", "state of charge at the end"),
    number("speed_interpolated_share_frac", "1", "one sample", "0 or more", "share of the logged time whose speed was interpolated"),
    text("grade_basis", "", "logged; altitude; mixed; none (run flat)"),
];
