//! Time cells under every clock.
#![no_main]

use backwatt_fuzz::clock_of;
use backwatt_ingest::doors::read_time;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: (u8, bool, &str)| {
    let (choice, comma, text) = input;
    let kind = clock_of(choice);
    let once = read_time(text, None, &kind, comma);
    assert_eq!(once, read_time(text, None, &kind, comma));
});
