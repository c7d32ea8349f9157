use crate::column::{Column, Table, count, flag, number, text};

/// One line of account per log file: what went in is what came out plus what was refused.
pub static RECEIPTS: Table = Table {
    name: "receipts",
    version: 3,
    one_row_is: "one log file",
    sorted_by: "source_file",
    columns: &COLUMNS,
};

static COLUMNS: [Column; 30] = [
    text("source_file", "", "file, relative to the pilot file"),
    text("source", "", "the [[sources]] entry that read it"),
    text("digest_sha256", "the file could not be read", "SHA-256 of the bytes"),
    count("bytes", "", "size of the file"),
    text(
        "dialect",
        "the file could not be read",
        "encoding, delimiter, decimal mark and header line, as stated or found",
    ),
    count("rows_in", "", "rows after the header, blank lines left out"),
    count("rows_kept", "", "rows that reached samples, alone or merged"),
    count("rows_rejected", "", "rows refused whole; rows_in = rows_kept + rows_rejected"),
    count("cells_refused", "", "cells refused in rows that were kept"),
    count(
        "rows_merged",
        "",
        "kept rows that gave their values to another: to one of the same instant, or to the next of the speed",
    ),
    count(
        "rows_out_of_order",
        "",
        "kept rows that stood after a later instant of their vehicle; sorted into place",
    ),
    count(
        "rows_repeated_hour",
        "",
        "rows read in a local hour that happened twice because summer time ended: of its first time unless the row before tells",
    ),
    count("rows_repeated_hour_later", "", "of these, those that the row before told to be of the second time"),
    count("rows_skipped_hour", "", "rows refused in a local hour that was skipped because summer time began"),
    count("rows_frozen", "", "kept rows masked as frozen"),
    count("rows_marked", "", "kept rows that some other rule marked: they stand as logged, see rules"),
    count("cells_filled", "", "cells filled forward because the pilot file says so"),
    number("sample_interval_s", "s", "fewer than two rows", "above 0", "median time between rows"),
    number("gap_longest_s", "s", "fewer than two rows", "0 or more", "longest time between rows"),
    text("columns_missing", "", "signals of the mapping that this file lacks, separated by commas"),
    text(
        "current_sign",
        "no current or power column",
        "which way the battery signal counts, and how that is known",
    ),
    text(
        "unit_suspected",
        "nothing is suspected",
        "signals that seem to be in another unit than stated, with the figures; nothing was changed",
    ),
    flag("clock_relative", "", "true where the file has no wall clock"),
    number(
        "clock_offset_s",
        "s",
        "no GPS time in the file",
        "any",
        "median of GPS time less the logger's clock, as logged; of the vehicle that is furthest off",
    ),
    number(
        "clock_drift_s_day",
        "s/d",
        "no GPS time, or too short a stretch of it to tell",
        "any",
        "what GPS time gains on the logger's clock a day, as logged; of the same vehicle",
    ),
    count("rows_on_gps_time", "", "rows put onto GPS time because the pilot file says so"),
    text(
        "rules",
        "",
        "refusals and marks by rule, and what was passed over because it is no row of this log: code=count, separated by blanks",
    ),
    text(
        "rules_share",
        "",
        "the same as shares of rows_in: code=share, separated by blanks; a row may hold several cells",
    ),
    text(
        "rules_first",
        "",
        "the first lines each rule met, three at most: code=line,line, separated by blanks",
    ),
    text("problem", "the file was read", "why the file could not be read"),
];
