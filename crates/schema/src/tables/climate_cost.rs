use crate::column::{Column, Table, number, text};

const UNKNOWN: &str = "neither logged nor modelled";

/// What climate of cab, battery and load costs.
pub static CLIMATE_COST: Table = Table {
    name: "climate_cost",
    version: 1,
    one_row_is: "one load of one vehicle type in one band of outside temperature",
    sorted_by: "vehicle_type, load, temperature_band, all bands together first",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 16] = [
    text("vehicle_type", "", "the type"),
    text("load", "", "cab climate, battery climate or refrigeration"),
    text("temperature_band", "", "ten degrees of the outside air, or all"),
    text(
        "evidence",
        "",
        "measured where the power is logged for 95 % of the time, else modelled; none where nothing is known",
    ),
    text(
        "basis",
        "",
        "logged; sheet's law of the cab; battery power at stops beyond the sheet's auxiliaries; usual law of a cab; not known",
    ),
    number("duration_s", "s", "", "0 or more", "time logged in trips"),
    number("distance_mi", "[mi_i]", "", "0 or more", "distance driven"),
    number("energy_p05_kwh", "kW.h", UNKNOWN, "0 or more", "lower end"),
    number("energy_p50_kwh", "kW.h", UNKNOWN, "0 or more", "energy it took in trips: driving and standing"),
    number("energy_p95_kwh", "kW.h", UNKNOWN, "0 or more", "upper end"),
    number("power_mean_w", "W", UNKNOWN, "0 or more", "that energy over the time"),
    number("share_of_use_p05_frac", "1", "neither known, nor any use", "0 or more", "lower end"),
    number(
        "share_of_use_frac",
        "1",
        "neither known, nor any use",
        "0 or more",
        "over gross energy out of the battery in trips",
    ),
    number("share_of_use_p95_frac", "1", "neither known, nor any use", "0 or more", "upper end"),
    number(
        "consumption_kwh_mi",
        "kW.h/[mi_i]",
        "neither known, nor any distance",
        "0 or more",
        "over the distance",
    ),
    text("why", "", "what the figure rests on"),
];
