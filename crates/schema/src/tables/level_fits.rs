use crate::column::{Column, Table, count, number, text};

/// What a truck's own lift-offs say of its regen levels, beside what the sheet says. No other figure rests on it.
pub static LEVEL_FITS: Table = Table {
    name: "level_fits",
    version: 1,
    one_row_is: "one regen level a vehicle drove with",
    sorted_by: "vehicle_id, regen_level",
    columns: &COLUMNS,
};

const NO_VALUE: &str = "no fit, or bounds alone";
const NO_FIT: &str = "no fit";
const NO_BOUND: &str = "no fit, or nothing bounds it from above";
const NO_SHEET: &str = "the sheet names no such level";

static COLUMNS: [Column; 23] = [
    text("vehicle_id", "", "the vehicle"),
    text("regen_level", "neither log nor sheet names one", "the level, as the sheet spells it"),
    text(
        "level_basis",
        "",
        "logged; sheet (some or all of its time only the sheet's default names it); unknown",
    ),
    text(
        "basis",
        "",
        "fitted; bounded (one of the three figures has bounds alone); else why there is no fit: log too slow; \
         level unknown; no accelerator logged; accelerator never released; no brake pedal logged; brake always used; \
         released too shortly; no battery power logged; another store in the power; driven while released; \
         too few samples; a limit binds",
    ),
    count("samples", "", "samples used: accelerator and brake released, no limit of the sheet near"),
    number("duration_s", "s", "", "0 or more", "time they stand for"),
    number("mass_kg", "kg", "no samples", "above 0", "their mean mass as driven"),
    number("lift_off_n", "N", NO_VALUE, "above 0", "regen at the wheels beyond the fade, at the mean mass"),
    number(
        "lift_off_low_n",
        "N",
        NO_FIT,
        "0 or more",
        "low end: 90 % of noise, at the ends of the sheet's losses",
    ),
    number("lift_off_high_n", "N", NO_BOUND, "0 or more", "high end"),
    number("lift_off_sheet_n", "N", NO_SHEET, "0 or more", "the sheet's, at the mean mass, else at its own"),
    number("lift_off_m_s2", "m/s2", NO_VALUE, "above 0", "the same over effective mass, road load left out"),
    number("lift_off_low_m_s2", "m/s2", NO_FIT, "0 or more", "low end"),
    number("lift_off_high_m_s2", "m/s2", NO_BOUND, "0 or more", "high end"),
    number("lift_off_sheet_m_s2", "m/s2", NO_SHEET, "0 or more", "the sheet's, road load left out"),
    number("fade_start_m_s", "m/s", NO_VALUE, "0 or more", "no regen below"),
    number("fade_start_low_m_s", "m/s", NO_FIT, "0 or more", "low end"),
    number("fade_start_high_m_s", "m/s", NO_BOUND, "0 or more", "high end"),
    number("fade_start_sheet_m_s", "m/s", NO_SHEET, "0 or more", "the sheet's"),
    number("fade_end_m_s", "m/s", NO_VALUE, "0 or more", "full effect above"),
    number("fade_end_low_m_s", "m/s", NO_FIT, "0 or more", "low end"),
    number("fade_end_high_m_s", "m/s", NO_BOUND, "0 or more", "high end"),
    number("fade_end_sheet_m_s", "m/s", NO_SHEET, "0 or more", "the sheet's"),
];
