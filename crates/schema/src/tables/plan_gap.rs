use crate::column::{Column, Table, count, number, order, text};

const FEW: &str = "fewer than two vehicle-days";

/// Where the difference between the pilot and the plan's energy per distance comes from.
pub static PLAN_GAP: Table = Table {
    name: "plan_gap",
    version: 1,
    one_row_is: "one part of the gap of one assumption; the parts add up to observed less planned",
    sorted_by: "assumption in the order of the plan, part_order",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 13] = [
    text("vehicle_type", "every type", "the type the assumption was made for"),
    text("route", "every route", "the route"),
    text("season", "every season", "the season"),
    order("part_order", "order of the parts"),
    text(
        "part",
        "",
        "observed less the model of what was driven; a cause; the model of the plan's scenario less the plan; whole",
    ),
    number(
        "gap_p05_kwh_mi",
        "kW.h/[mi_i]",
        FEW,
        "signed",
        "lower end: 90 % over vehicle-days, and the sheet at its ends",
    ),
    number(
        "gap_p50_kwh_mi",
        "kW.h/[mi_i]",
        "the plan states no scenario for this cause",
        "signed: positive where the pilot uses more",
        "the part",
    ),
    number("gap_p95_kwh_mi", "kW.h/[mi_i]", FEW, "signed", "upper end of the same"),
    number(
        "energy_driven_kwh_mi",
        "kW.h/[mi_i]",
        "",
        "signed",
        "observed, or the model as driven, that the part starts from",
    ),
    number("distance_mi", "[mi_i]", "", "0 or more", "distance behind it"),
    count("vehicle_days", "", "vehicle-days behind it"),
    text("evidence", "", "modelled for every part that compares models; else the observation's"),
    text("why", "", "what was exchanged, or why it was not"),
];
