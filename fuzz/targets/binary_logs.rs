//! Binary logs: the first byte picks the format.
#![no_main]

use backwatt_fuzz::{let_caught_panics_pass, log, source};
use backwatt_ingest::formats::Format;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let_caught_panics_pass();
    let [format, rest @ ..] = bytes else { return };
    log(&source(if format % 2 == 0 { Format::Mdf } else { Format::Parquet }, 0), rest);
});
