use crate::column::{Column, Table, count, number, text};

const AS_DRIVEN: &str = "as driven";

/// What the trips of a type would have taken otherwise.
pub static SAME_TRIPS: Table = Table {
    name: "same_trips",
    version: 1,
    one_row_is: "one change on all trips of one vehicle type, model against model",
    sorted_by: "vehicle_type, then the changes in the order of the method page",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 25] = [
    text("vehicle_type", "", "the type"),
    text("scenario", "", "name of the change, as in scenarios"),
    text("regen_level", AS_DRIVEN, "level of all driving"),
    number("payload_kg", "kg", AS_DRIVEN, "0 or more", "payload of every trip"),
    number("temperature_ambient_k", "K", AS_DRIVEN, "", "outside air of every trip"),
    count("packs", AS_DRIVEN, "packs aboard, with their mass"),
    number("speed_cap_m_s", "m/s", AS_DRIVEN, "above 0", "greatest speed, over the same way"),
    count("vehicles", "", "vehicles of the type"),
    count("trips", "", "their trips"),
    number("distance_mi", "[mi_i]", "", "0 or more", "their distance, the same under every change"),
    number("duration_change_s", "s", "", "signed", "time in motion, less that driven"),
    number(
        "energy_driven_kwh",
        "kW.h",
        "",
        "signed: positive leaves the battery",
        "driving and stops within trips as driven, modelled at the terminals",
    ),
    number("energy_kwh", "kW.h", "", "signed", "the same under the change"),
    number("energy_change_kwh", "kW.h", "", "signed", "the second less the first"),
    number(
        "energy_change_low_kwh",
        "kW.h",
        "",
        "signed",
        "least over the sheet as believed and at both its ends; a bound, no probability",
    ),
    number("energy_change_high_kwh", "kW.h", "", "signed", "most"),
    number("consumption_driven_kwh_mi", "kW.h/[mi_i]", "no distance", "signed", "as driven, over the distance"),
    number("consumption_kwh_mi", "kW.h/[mi_i]", "no distance", "signed", "under the change"),
    number(
        "energy_recovered_driven_kwh",
        "kW.h",
        "",
        "0 or more",
        "into the battery terminals while braking, as driven, modelled",
    ),
    number("energy_recovered_kwh", "kW.h", "", "0 or more", "the same under the change"),
    number("energy_recovered_change_kwh", "kW.h", "", "signed", "the second less the first"),
    number("energy_recovered_change_low_kwh", "kW.h", "", "signed", "least; a bound, no probability"),
    number("energy_recovered_change_high_kwh", "kW.h", "", "signed", "most"),
    text("evidence", "", "modelled"),
    text("caution", "", "what the model keeps as driven"),
];
