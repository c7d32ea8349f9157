//! Heavy battery-electric tractor: time and speed only. Its terms are unclear, so there is no excerpt.

use std::sync::LazyLock;

use backwatt_testkit::within;

use crate::checks;
use crate::set::{Set, figure, present, sanity};

const DATA: &str = "semi-nacfe-drivecycles";

/// The publisher's distance adds a second for each row, also for the 1.4 to 2.0 % that repeat the second before them
/// and are refused; the rest is gaps of more than 3 s, over which no distance is built. [1]
const DISTANCE: f64 = 0.02;
/// With the repeated seconds set aside only the gaps differ. [1]
const DISTANCE_WITHOUT_REPEATS: f64 = 0.004;

static WHOLE: LazyLock<Option<Set>> = LazyLock::new(|| Set::whole("shared-only/heavy-tractor", DATA));

#[test]
fn whole_holds_what_holds_everywhere() {
    let Some(set) = present(&WHOLE, "heavy_tractor", DATA) else { return };
    checks::hold("heavy-tractor", set);
}

#[test]
fn whole_refuses_repeated_seconds() {
    let Some(set) = present(&WHOLE, "heavy_tractor", DATA) else { return };
    assert_eq!(set.receipts.rows(), 4);
    for file in sanity(DATA) {
        let (name, repeats) = (&file["file"], figure(&file, "duplicate_time_rows") as u64);
        assert_eq!(set.receipt(name, "rows_rejected"), repeats, "{name}");
        assert_eq!(set.receipt(name, "rows_in"), figure(&file, "rows") as u64, "{name}");
    }
    assert!(set.rejects.texts("reason").iter().all(|reason| reason.as_deref() == Some("duplicate-time")));
}

#[test]
fn whole_claims_neither_grade_nor_measurement() {
    let Some(set) = present(&WHOLE, "heavy_tractor", DATA) else { return };
    // "Road grade (%) (0 in every row - grade is not available)", data README: unknown, not flat.
    assert!(set.segments.texts("grade_basis").iter().all(|basis| basis.as_deref() == Some("none")));
    assert!(set.segments.numbers("energy_grade_kwh").iter().all(Option::is_none));
    assert!(set.recovery.texts("evidence").iter().all(|evidence| evidence.as_deref() == Some("modelled")));
    assert!(set.battery.texts("evidence").iter().all(|evidence| evidence.as_deref() == Some("modelled")));
    assert!(set.segments.numbers("energy_recovered_kwh").iter().all(Option::is_none));
    assert!(set.segments.sum("energy_braking_kwh") > 100.0, "1,400 km of a 30 t vehicle");
}

#[test]
fn whole_drives_the_distance_of_the_publisher() {
    let Some(set) = present(&WHOLE, "heavy_tractor", DATA) else { return };
    for file in sanity(DATA) {
        let name = file["file"].as_str();
        let vehicle = name.split('_').nth(1).expect("the truck's number");
        let got = set.file_sum(vehicle, name, "distance_m") / 1000.0;
        let expected = figure(&file, "distance_km");
        let repeats = repeated_metres(name) / 1000.0;
        println!("{name}: {got:.2} km of {expected}, of which {repeats:.2} km in repeated seconds");
        within(name, got, expected, DISTANCE);
        within(name, got, expected - repeats, DISTANCE_WITHOUT_REPEATS);
    }
}

/// Metres the publisher's distance grows by in rows whose time is that of the row before.
fn repeated_metres(name: &str) -> f64 {
    let rows = crate::set::csv_rows(&crate::set::shared_file(DATA, name));
    let of = |column| -> Vec<f64> { rows.iter().map(|row| figure(row, column)).collect() };
    let (time, distance) = (of("Time (s)"), of("Cumulative distance (m)"));
    (1..time.len()).filter(|&row| time[row] <= time[row - 1]).map(|row| distance[row] - distance[row - 1]).sum()
}
