use crate::column::{Column, Table, number, order, text, time};

const SEGMENTS: &str = "see segments";
const MEASURED: &str = "battery power is not logged over the segment";

/// The ledger of chosen trips between the samples. Each segment's rows sum to the segment. Made on request; no stage
/// writes it.
pub static LEDGER_TRACE: Table = Table {
    name: "ledger_trace",
    version: 2,
    one_row_is: "one interval between two samples of one trip, booked as its segment is; made on request and written \
                 by no stage",
    sorted_by: "vehicle_id, time_start_ns",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 45] = [
    text("vehicle_id", "", "the vehicle"),
    text("trip_id", "", "the trip"),
    order("segment_order", "the segment of segments it is part of"),
    text("kind", "", "driving; standing"),
    time("time_start_ns", "the sample it starts with"),
    time("time_end_ns", "the sample it ends with; not part of it"),
    text("regen_level", "unknown", "regen level as set"),
    number("lat_start_deg", "deg", "no position near", "north positive", "latitude at the start"),
    number("lon_start_deg", "deg", "no position near", "east positive", "longitude at the start"),
    number(
        "altitude_start_m",
        "m",
        "not logged",
        "as logged",
        "height above the logger's own zero, at the start",
    ),
    number("rise_m", "m", "height is unknown here", "uphill positive", "height gained, as the ledger has it"),
    number("soc_start_frac", "1", "not logged", "0 to 1", "state of charge at the start, last value seen"),
    number("soc_end_frac", "1", "not logged", "0 to 1", "state of charge at the end, last value seen"),
    number("speed_start_m_s", "m/s", "", "0 or more", "speed at the start, as the ledger has it"),
    number("speed_end_m_s", "m/s", "", "0 or more", "speed at the end, as the ledger has it"),
    number("duration_s", "s", "", "0 or more", "length in time"),
    number("moving_s", "s", "", "0 or more", "time above standstill"),
    number("distance_m", "m", "", "0 or more", SEGMENTS),
    number("energy_kinetic_kwh", "kW.h", "", "signed: see segments", SEGMENTS),
    number("energy_grade_kwh", "kW.h", "height is unknown here", "signed: see segments", SEGMENTS),
    number("energy_rolling_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("energy_aero_kwh", "kW.h", "", "signed: see segments", SEGMENTS),
    number("energy_tractive_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("energy_drive_dc_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("energy_auxiliary_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("energy_braking_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_axle_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_blending_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_in_fade_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_level_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_torque_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_power_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_beyond_acceptance_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_converted_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("braking_to_auxiliaries_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("energy_recoverable_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("energy_attainable_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("energy_returned_bus_kwh", "kW.h", "", "0 or more", SEGMENTS),
    number("energy_discharged_kwh", "kW.h", MEASURED, "0 or more", SEGMENTS),
    number("energy_recovered_kwh", "kW.h", MEASURED, "0 or more", SEGMENTS),
    number("energy_returned_unknown_store_kwh", "kW.h", MEASURED, "0 or more", SEGMENTS),
    number("energy_unbraked_inflow_kwh", "kW.h", MEASURED, "0 or more", SEGMENTS),
    number("energy_plugged_kwh", "kW.h", MEASURED, "0 or more", SEGMENTS),
    number("energy_unexplained_kwh", "kW.h", MEASURED, "signed: see segments", SEGMENTS),
    text("evidence", "", "of the segment: measured where battery power is known for 95 % of it, else modelled"),
];
