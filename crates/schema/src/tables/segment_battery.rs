use crate::column::{Column, Table, number, order, text};

/// What the battery did in each segment: measured where it was logged, else inferred or modelled, with its interval.
pub static SEGMENT_BATTERY: Table = Table {
    name: "segment_battery",
    version: 1,
    one_row_is: "one segment of `segments`, by vehicle_id and segment_order",
    sorted_by: "vehicle_id, segment_order",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 14] = [
    text("vehicle_id", "", "the vehicle"),
    order("segment_order", "as in segments"),
    text("evidence", "", "measured, inferred (state of charge narrowed the model) or modelled"),
    number(
        "energy_recovered_p05_kwh",
        "kW.h",
        "no claim: store unknown, or braking cannot explain it",
        "0 or more",
        "5th percentile; for measured the lower end of what the samples and the current sensor's offset leave open",
    ),
    number(
        "energy_recovered_p50_kwh",
        "kW.h",
        "no claim: store unknown, or braking cannot explain it",
        "0 or more",
        "energy into the battery terminals while moving, from braking; for measured less the current sensor's offset",
    ),
    number(
        "energy_recovered_p95_kwh",
        "kW.h",
        "no claim: store unknown, or braking cannot explain it",
        "0 or more",
        "95th percentile; for measured the upper end of what the samples and the current sensor's offset leave open",
    ),
    number("energy_discharged_p05_kwh", "kW.h", "", "0 or more", "5th percentile"),
    number("energy_discharged_p50_kwh", "kW.h", "", "0 or more", "gross discharge, not plugged in"),
    number("energy_discharged_p95_kwh", "kW.h", "", "0 or more", "95th percentile"),
    number("energy_net_p05_kwh", "kW.h", "", "signed", "5th percentile of gross discharge less recovered"),
    number("energy_net_p50_kwh", "kW.h", "", "signed", "gross discharge less recovered"),
    number("energy_net_p95_kwh", "kW.h", "", "signed", "95th percentile"),
    number(
        "energy_returned_bus_p50_kwh",
        "kW.h",
        "no claim",
        "0 or more",
        "returned at the dc link before auxiliaries; modelled wherever the bus is not logged",
    ),
    text("why", "", "what decided the evidence grade"),
];
