//! Unit spellings and quantities.
#![no_main]

use backwatt_schema::unit::{Unit, parse_quantity};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    if let Some(unit) = Unit::parse(text) {
        for value in [-40.0, 0.0, 1.0, 1e6] {
            let back = unit.from_si(unit.to_si(value));
            let room = 1e-9 * (1.0 + f64::abs(value) + unit.to_si(0.0).abs() / unit.from_si(1.0).abs().max(1e-300));
            assert!(!back.is_finite() || (back - value).abs() <= room.max(1e-6), "{text}: {value} became {back}");
        }
    }
    if let Ok((value, _)) = parse_quantity(text) {
        assert!(value.is_finite(), "{text}");
    }
});
