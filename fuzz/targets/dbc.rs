//! A DBC file and frames read by it: the text up to a NUL is the file, the rest the frames.
#![no_main]

use backwatt_fuzz::{let_caught_panics_pass, log, source};
use backwatt_ingest::doors::read_dbc;
use backwatt_ingest::formats::Format;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let_caught_panics_pass();
    let end = bytes.iter().position(|byte| *byte == 0).unwrap_or(bytes.len());
    let (text, frames) = (&bytes[..end], bytes.get(end + 1..).unwrap_or_default());
    let Ok(text) = std::str::from_utf8(text) else { return };
    if let Ok(dbc) = read_dbc(text) {
        let mut source = source(Format::Candump, 0);
        source.dbc = Some(dbc);
        log(&source, frames);
    }
});
