use crate::column::{Column, Table, count, number, text};

const NOTHING: &str = "no trip";

/// What the interval, the resolution and the noise of each vehicle's log hide or invent of its braking energy.
pub static SAMPLING_AUDIT: Table = Table {
    name: "sampling_audit",
    version: 1,
    one_row_is: "one vehicle's log",
    sorted_by: "vehicle_id",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 16] = [
    text("vehicle_id", "", "the vehicle"),
    count("trips", "", "trips in it"),
    number(
        "sample_interval_s",
        "s",
        NOTHING,
        "0 or more",
        "median over trips of the median interval between speeds",
    ),
    number(
        "speed_error_m_s",
        "m/s",
        "the speed is taken as logged",
        "0 or more",
        "error of the speed sensor, its resolution included, median over trips",
    ),
    number(
        "soc_step_frac",
        "1",
        "no state of charge",
        "0 to 1",
        "coarsest step of state of charge that a trip shows",
    ),
    number(
        "energy_braking_as_logged_kwh",
        "kW.h",
        NOTHING,
        "0 or more",
        "braking energy at the wheels of the samples as they stand, lines between them",
    ),
    number(
        "energy_braking_kwh",
        "kW.h",
        NOTHING,
        "0 or more",
        "the same with noise smoothed away and slow gaps drawn from faster logs",
    ),
    number(
        "energy_braking_low_kwh",
        "kW.h",
        "no trip claims braking energy",
        "0 or more",
        "lower end of what is claimed",
    ),
    number(
        "energy_braking_high_kwh",
        "kW.h",
        "no trip claims braking energy",
        "0 or more",
        "upper end of what is claimed",
    ),
    number(
        "correction_frac",
        "1",
        "no braking energy",
        "signed",
        "corrected over as logged, less 1: positive where the log hides, negative where it invents",
    ),
    count("trips_full", "", "trips that claim braking energy as it stands"),
    count("trips_banded", "", "trips that claim it within a band for sampling or noise"),
    count("trips_imputed", "", "trips whose speed between samples was drawn"),
    count("trips_without_claim", "", "trips sampled too slowly or too noisily for a claim"),
    text("speed_library", "nothing was drawn", "where draws came from"),
    text("verdict", "", "in words"),
];
