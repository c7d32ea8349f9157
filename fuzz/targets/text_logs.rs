//! Text logs: the first byte picks the format, the second the clock and the shape of the mapping.
#![no_main]

use backwatt_fuzz::{log, source};
use backwatt_ingest::formats::Format;
use libfuzzer_sys::fuzz_target;

const FORMATS: [Format; 5] =
    [Format::Delimited, Format::Ndjson, Format::Gpx, Format::Nmea, Format::Candump];

fuzz_target!(|bytes: &[u8]| {
    let [format, clock, rest @ ..] = bytes else { return };
    log(&source(FORMATS[usize::from(*format) % FORMATS.len()], *clock), rest);
});
