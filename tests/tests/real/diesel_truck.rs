//! Heavy truck's 10 Hz speed: a ledger out of time and speed alone. Share-alike data, so there is no excerpt.

use std::sync::LazyLock;

use backwatt_testkit::within;

use crate::checks;
use crate::quadrature::{Vehicle, braking_kwh};
use crate::set::{Set, present};

const DATA: &str = "dt-cargo-sample";

/// The pilot file's sheet.
const SHEET: Vehicle = Vehicle {
    mass_kg: 18_000.0,
    payload_kg: 0.0,
    rotating_mass_kg: 567.0,
    drag_area_m2: 5.8,
    rolling_resistance: 0.006,
};

static WHOLE: LazyLock<Option<Set>> = LazyLock::new(|| Set::whole("shared-only/diesel-truck", DATA));

#[test]
fn whole_has_a_ledger_from_time_and_speed() {
    let Some(set) = present(&WHOLE, "diesel_truck", DATA) else { return };
    checks::hold("diesel-truck", set);
    // 7,390 rows, 12.6 min, 10.22 km (data README).
    assert_eq!(set.receipts.counts("rows_kept"), [7_390]);
    let distance_km = set.segments.sum("distance_m") / 1000.0;
    println!("diesel truck: {distance_km:.3} km, {} braking events", set.events.rows());
    within("distance km", distance_km, 10.22, 0.005);
    within("minutes", set.segments.sum("duration_s") / 60.0, 12.6, 0.005);
    assert!(set.segments.texts("grade_basis").iter().all(|basis| basis.as_deref() == Some("none")));
    assert!(set.segments.sum("energy_tractive_kwh") > set.segments.sum("energy_braking_kwh"));
}

#[test]
fn whole_finds_braking_events() {
    let Some(set) = present(&WHOLE, "diesel_truck", DATA) else { return };
    assert!(set.events.rows() > 0);
    // Events are braking of the segments; those under 0.005 kWh are not listed.
    let (listed, all) = (set.events.sum("energy_braking_kwh"), set.segments.sum("energy_braking_kwh"));
    assert!(listed <= all && listed > 0.9 * all, "{listed} of {all} kWh");
    assert!(set.recovery.texts("evidence").iter().all(|evidence| evidence.as_deref() == Some("modelled")));
    assert!(set.segments.numbers("energy_recovered_kwh").iter().all(Option::is_none));
}

/// A heavy truck's 10 Hz satellite speed: most of its "braking" is noise, and nothing is claimed of it. An independent
/// mean over 11 samples says how much the smoother should leave.
#[test]
fn noise_at_10_hz_is_seen_and_nothing_is_claimed() {
    let Some(set) = present(&WHOLE, "diesel_truck", DATA) else { return };
    let braking = set.trips.sum("energy_braking_raw_kwh");
    let smoothed = set.trips.sum("energy_braking_kwh");
    let samples = &set.samples["1"];
    let speed: Vec<f64> = samples.numbers("speed_m_s").into_iter().map(|v| v.expect("a speed")).collect();
    let mean: Vec<f64> = (0..speed.len())
        .map(|row| {
            let around = &speed[row.saturating_sub(5)..(row + 6).min(speed.len())];
            around.iter().sum::<f64>() / around.len() as f64
        })
        .collect();
    let of_mean = braking_kwh(&samples.times("time_ns"), &mean, &SHEET);
    let published = set.trips.numbers("braking_noise_ratio_frac")[0].expect("smoothed");
    println!(
        "diesel truck: braking {braking:.3} kWh as logged, {smoothed:.3} smoothed, {of_mean:.3} of the mean of a second"
    );
    within("noise ratio", published, braking / smoothed, 1e-9);
    assert!(published > 2.5, "{published}");
    // A mean over a second flattens stops too; the smoother lies above it, and far nearer to it than to the log.
    assert!((1.0..1.25).contains(&(smoothed / of_mean)), "{smoothed} kWh");
    assert_eq!(set.trips.texts("braking_claim"), [Some("noisy".to_owned())]);
    assert_eq!(set.answer("pilot", "all", "recapture_of_braking_frac"), None);
}

/// On a road taken as flat only slowing asks for a negative wheel force: no braking event ends faster than it began. Of
/// the speed as logged six of 18 events did, one after 223 s.
#[test]
fn braking_events_end_slower_than_they_began() {
    let Some(set) = present(&WHOLE, "diesel_truck", DATA) else { return };
    let (first, last) = (set.events.numbers("speed_start_m_s"), set.events.numbers("speed_end_m_s"));
    let faster = (0..set.events.rows()).filter(|&row| last[row] > first[row]).count();
    let longest = set.events.numbers("duration_s").into_iter().flatten().fold(0.0, f64::max);
    println!("diesel truck: {} braking events, the longest lasts {longest} s", set.events.rows());
    assert_eq!(faster, 0);
    assert!(set.events.rows() > 18 && longest < 60.0, "{longest} s");
}
