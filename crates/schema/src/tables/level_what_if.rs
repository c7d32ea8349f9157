use crate::column::{Column, Table, count, number, text};

/// What the same driving would have given back at each regen level, as the model has it.
pub static LEVEL_WHAT_IF: Table = Table {
    name: "level_what_if",
    version: 1,
    one_row_is: "one regen level for one vehicle, or one driver, on the trips that were driven: model, no association",
    sorted_by: "subject, name, vehicle_type, levels in the order of the sheet",
    columns: &COLUMNS,
};

const HIDDEN: &str = "not shown";
const NOT_TOLD: &str = "not shown, or the level as set or what came back is not known";

static COLUMNS: [Column; 19] = [
    text("subject", "", "vehicle; driver"),
    text("name", "", "the vehicle or the driver"),
    text("vehicle_type", "", "the vehicle type, whose sheet says what the level is"),
    text("regen_level", "", "the level all of the driving is replayed at"),
    text("why_not_shown", "shown", "why there is no figure"),
    count("trips", "", "trips with a claim on braking energy"),
    number("distance_mi", "[mi_i]", "", "0 or more", "their distance"),
    number("energy_braking_kwh", "kW.h", HIDDEN, "0 or more", "at the wheels, the same at every level"),
    number(
        "energy_recoverable_set_kwh",
        "kW.h",
        NOT_TOLD,
        "0 or more",
        "recoverable at the levels as set, modelled",
    ),
    number("energy_recoverable_p05_kwh", "kW.h", HIDDEN, "0 or more", "recoverable at this level: low end"),
    number(
        "energy_recoverable_p50_kwh",
        "kW.h",
        HIDDEN,
        "0 or more",
        "recoverable at this level: as it would have arrived at the battery terminals, modelled",
    ),
    number("energy_recoverable_p95_kwh", "kW.h", HIDDEN, "0 or more", "high end; ends are the sheet's"),
    number(
        "recoverable_share_frac",
        "1",
        "not shown, or no braking energy",
        "0 to 1",
        "R3 at this level: over braking",
    ),
    number(
        "energy_recovered_set_kwh",
        "kW.h",
        NOT_TOLD,
        "0 or more",
        "recovered as driven, measured or inferred",
    ),
    number("energy_recovered_p05_kwh", "kW.h", NOT_TOLD, "0 or more", "recovered at this level: low end"),
    number(
        "energy_recovered_p50_kwh",
        "kW.h",
        NOT_TOLD,
        "0 or more",
        "recovered as driven, times recoverable at this level over recoverable as set",
    ),
    number("energy_recovered_p95_kwh", "kW.h", NOT_TOLD, "0 or more", "high end"),
    text("evidence", "", "of the figures at this level: modelled; none where nothing is shown"),
    text("caution", "", "what the replay keeps as driven, and that levels were chosen"),
];
