use crate::column::{Column, Table, count, number, text};

const NO_CHANGE: &str = "no change, or not shown";

/// What changed over time: each driver and vehicle against its own baseline, and the vehicle out of line.
pub static CHANGES: Table = Table {
    name: "changes",
    version: 3,
    one_row_is: "one finding about one driver or vehicle and one response",
    sorted_by: "subject, name, response, finding, service_day",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 24] = [
    text("subject", "", "driver or vehicle"),
    text("name", "", "the driver, as the pilot names people, or the vehicle"),
    text("response", "", "avoidable loss; consumption"),
    text(
        "finding",
        "",
        "change stated (before and after an event of the pilot file); change found (a shift of the mean that chance seldom makes); \
         change of another (the step of the truck or driver it went with explains it); cannot be told apart (either step does); \
         out of line, not shown to differ (a vehicle beside others of its type); not shown",
    ),
    text(
        "what",
        "nothing stated, nobody else",
        "the event, in the pilot file's words; or whose step explains the change as well or instead",
    ),
    text("why_not_shown", "shown", "why there is no figure"),
    text("service_day", NO_CHANGE, "first day after"),
    count("days_before", NO_CHANGE, "days with a figure before"),
    count("days_after", NO_CHANGE, "days with a figure after"),
    number(
        "difference_before_kwh_mi",
        "kW.h/[mi_i]",
        NO_CHANGE,
        "signed: positive costs energy",
        "mean before, from the mean of all, what else differs allowed for: the baseline",
    ),
    number(
        "difference_after_kwh_mi",
        "kW.h/[mi_i]",
        NO_CHANGE,
        "signed: positive costs energy",
        "the same after",
    ),
    number("raw_change_kwh_mi", "kW.h/[mi_i]", NO_CHANGE, "signed", "after less before"),
    number(
        "regression_kwh_mi",
        "kW.h/[mi_i]",
        NO_CHANGE,
        "signed",
        "what would have been found if nothing had changed: who stood out by chance falls back",
    ),
    number(
        "change_kwh_mi",
        "kW.h/[mi_i]",
        NO_CHANGE,
        "signed: negative saves energy",
        "raw_change less regression",
    ),
    number("change_p05_kwh_mi", "kW.h/[mi_i]", NO_CHANGE, "signed", "low end of its 90 % interval"),
    number("change_p95_kwh_mi", "kW.h/[mi_i]", NO_CHANGE, "signed", "high end"),
    number(
        "chance_probability_frac",
        "1",
        "no change found",
        "0 to 1",
        "how often the same days in another order show a shift as sharp",
    ),
    number(
        "standing_kwh_mi",
        "kW.h/[mi_i]",
        "a change, or not shown",
        "signed: positive costs energy",
        "the vehicle's difference from the mean of its type, adjusted and shrunken",
    ),
    number(
        "standing_p05_kwh_mi",
        "kW.h/[mi_i]",
        "a change, or not shown",
        "signed",
        "low end of its 90 % interval",
    ),
    number("standing_p95_kwh_mi", "kW.h/[mi_i]", "a change, or not shown", "signed", "high end"),
    number(
        "reference_kwh_mi",
        "kW.h/[mi_i]",
        "no vehicle beside its type, avoidable loss, or payload or weather mostly unknown",
        "above 0",
        "the vehicle's net use while driving over distance, normalised: with the pilot's mean payload, between 15 and 22 degC, on the mean route, by the mean driver; \
         the middle of days",
    ),
    number(
        "reference_p05_kwh_mi",
        "kW.h/[mi_i]",
        "no such figure, or vehicles do not differ beyond chance",
        "above 0",
        "low end of its 90 % interval",
    ),
    number(
        "reference_p95_kwh_mi",
        "kW.h/[mi_i]",
        "no such figure, or vehicles do not differ beyond chance",
        "above 0",
        "high end",
    ),
    text("caution", "", "what to bear in mind"),
];
