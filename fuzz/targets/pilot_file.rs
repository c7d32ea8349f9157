//! Pilot files: any text is a pilot or a list of faults that says what to do.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let nowhere = std::path::Path::new("/nonexistent");
    if let Err(problems) = backwatt_pilot::parse(text, "pilot.toml", nowhere) {
        assert!(!problems.is_empty(), "refused without a reason");
    }
});
