//! Avoidable loss against what the forward model knows of its drivers: who brakes late and hard.

use std::collections::BTreeMap;

use backwatt::tables;

use crate::truth::{SMALL, rows};

/// Fewer stops say little of a person.
const STOPS: usize = 20;

/// On the full made pilot, ten drivers, the rank correlation is 0.95 before any adjustment; the small one has three with
/// enough stops.
#[test]
fn who_brakes_harder_leaves_more_on_the_road() {
    let losses = SMALL.per_vehicle(&tables::AVOIDABLE_LOSSES);
    let (drivers, avoidable) = (losses.texts("driver_id"), losses.numbers("energy_avoidable_kwh"));
    let mut stops: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for (driver, kwh) in drivers.into_iter().zip(avoidable) {
        if let (Some(driver), Some(kwh)) = (driver, kwh) {
            stops.entry(driver).or_default().push(kwh);
        }
    }
    let truth = rows(&SMALL.truth.join("drivers.csv"));
    let brakes_at = |driver: &str| -> f64 {
        let row = truth.iter().find(|row| row["driver"] == driver).expect("a driver of the truth");
        row["brake_at_m_s2"].parse().expect("a number")
    };
    let mut found: Vec<(f64, f64, String)> = stops
        .into_iter()
        .filter(|(_, kwh)| kwh.len() >= STOPS)
        .map(|(driver, kwh)| (brakes_at(&driver), kwh.iter().sum::<f64>() / kwh.len() as f64, driver))
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (brakes, mean, driver) in &found {
        println!("{driver} brakes at {brakes} m/s2 and leaves {mean:.4} kWh a stop");
    }
    assert!(found.len() >= 3, "{} drivers with enough stops", found.len());
    assert!(found.is_sorted_by(|a, b| a.1 < b.1), "harder braking, more left");
}
