use crate::column::{Column, Table, number, text};

/// The driven trips under the weather, loads and driving that a plan speaks of, model against model.
pub static SCENARIOS: Table = Table {
    name: "scenarios",
    version: 3,
    one_row_is: "one trip under one scenario, as the model has it",
    sorted_by: "vehicle_id, trip, scenario in the order of the method page",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 16] = [
    text("vehicle_id", "", "the vehicle"),
    text("trip_id", "", "the trip"),
    text("scenario", "", "what is other than driven; as driven: nothing"),
    number("distance_m", "m", "", "0 or more", "driven; the same in every scenario"),
    number("duration_driving_s", "s", "", "0 or more", "in motion: driven, or as long as the scenario takes"),
    number(
        "energy_driving_kwh",
        "kW.h",
        "",
        "signed: positive leaves the battery",
        "while driving, modelled at the terminals: drive and auxiliaries less returned at the bus",
    ),
    number("energy_standing_kwh", "kW.h", "", "0 or more", "auxiliaries at the stops within the trip"),
    number("energy_recovered_kwh", "kW.h", "", "0 or more", "into the battery terminals while braking"),
    number(
        "energy_total_low_kwh",
        "kW.h",
        "",
        "signed",
        "driving and standing: least over the sheet as believed and at both its ends; a bound, no probability",
    ),
    number("energy_total_high_kwh", "kW.h", "", "signed", "the same: most"),
    number(
        "energy_change_low_kwh",
        "kW.h",
        "",
        "signed",
        "driving and standing, less the same as driven under the same sheet: least; a bound",
    ),
    number("energy_change_high_kwh", "kW.h", "", "signed", "the same: most"),
    number(
        "energy_recovered_low_kwh",
        "kW.h",
        "",
        "0 or more",
        "into the battery terminals while braking: least over the sheet as believed and at both its ends; a bound",
    ),
    number("energy_recovered_high_kwh", "kW.h", "", "0 or more", "the same: most"),
    number(
        "energy_recovered_change_low_kwh",
        "kW.h",
        "",
        "signed",
        "the same, less that as driven under the same sheet: least; a bound",
    ),
    number("energy_recovered_change_high_kwh", "kW.h", "", "signed", "the same: most"),
];
