//! The slow truck of the made-up pilot, filled from the fast one.

use backwatt::tables;
use backwatt_testkit::within;

use crate::truth::SMALL;

/// Braking energy of a 5 s log whose payload is unknown, against the truth. [1] The target is 4 % with payload unknown, of
/// a pilot of ten days; this one has fewer.
const BRAKING: f64 = 0.08;

#[test]
fn the_slow_truck_is_filled_from_the_fast_one() {
    let trips = SMALL.per_vehicle(&tables::TRIPS);
    let vehicles = trips.texts("vehicle_id");
    let (claims, libraries) = (trips.texts("braking_claim"), trips.texts("speed_library"));
    let (days, braking) = (trips.texts("service_day"), trips.numbers("energy_braking_kwh"));
    let lines = trips.numbers("energy_braking_raw_kwh");
    let whole = SMALL.whole_days("U22");
    let (mut drawn_kwh, mut line_kwh) = (0.0, 0.0);
    for row in 0..trips.rows() {
        if vehicles[row].as_deref() != Some("U22") {
            assert_eq!(libraries[row], None, "a fast truck needs no library");
            continue;
        }
        assert_eq!(claims[row].as_deref(), Some("imputed"));
        let library = libraries[row].as_deref().expect("its library is named");
        assert!(library.starts_with("own fleet, 1 vehicle, "), "{library}");
        if days[row].as_ref().is_some_and(|day| whole.contains(day)) {
            drawn_kwh += braking[row].expect("a sum");
            line_kwh += lines[row].expect("a sum");
        }
    }
    let truth_kwh = SMALL.truth_sum("U22", &whole, "energy_braking_kwh");
    println!("U22: braking {truth_kwh:.2} kWh, drawn {drawn_kwh:.2} kWh, on lines {line_kwh:.2} kWh");
    within("braking of U22", drawn_kwh, truth_kwh, BRAKING);
    assert!(line_kwh < 0.97 * drawn_kwh, "drawing brings back what lines lose: {line_kwh} {drawn_kwh}");
}
