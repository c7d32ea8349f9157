//! Drivers and regen levels of the made-up pilot against what its forward model knows of them.

use std::collections::BTreeMap;

use backwatt::tables;
use backwatt_testkit::Table;

use crate::truth::{SMALL, rows};

fn table(table: &'static backwatt_schema::Table) -> Table {
    Table::read(&[backwatt_store::Layout::new(&SMALL.out).table(table)], table)
}

/// Three days are no basis for a word about a person: every row says why, and none holds a number.
#[test]
fn the_small_pilot_says_nothing_of_people() {
    for (table, value) in
        [(table(&tables::DRIVERS), "effect_kwh_mi"), (table(&tables::HABITS), "energy_kwh_day")]
    {
        let (whys, values) = (table.texts("why_not_shown"), table.numbers(value));
        assert!(whys.len() >= 6, "a row for every driver");
        assert!(whys.iter().all(|why| why.as_deref().is_some_and(|why| !why.is_empty())), "{whys:?}");
        assert!(values.iter().all(Option::is_none), "{values:?}");
    }
}

/// Only the truck with battery current is compared; more comes back at a higher level, and R1 as driven is the truth's.
#[test]
fn levels_recapture_what_the_truth_says() {
    let levels = table(&tables::LEVEL_COMPARISON);
    let mut truth: BTreeMap<String, (f64, f64)> = BTreeMap::new();
    for row in rows(&SMALL.truth.join("levels.csv")).iter().filter(|row| row["vehicle"] == SMALL.vehicles[0]) {
        let number = |name: &str| row[name].parse::<f64>().expect("a number");
        let sums = truth.entry(row["regen_level"].clone()).or_default();
        *sums = (sums.0 + number("energy_recovered_kwh"), sums.1 + number("energy_braking_kwh"));
    }
    let (names, found) = (levels.texts("regen_level"), levels.numbers("recapture_of_braking_frac"));
    let braking = levels.numbers("energy_braking_kwh");
    let mut compared = 0;
    for ((name, found), braking) in names.into_iter().zip(found).zip(braking) {
        let (name, found) = (name.expect("a level"), found.expect("a ratio"));
        let (recovered, braked) = truth[&name];
        println!("{name}: {found:.3} of {:.1} kWh, truth {:.3}", braking.unwrap_or(0.0), recovered / braked);
        if braking.is_some_and(|kwh| kwh > 5.0) {
            compared += 1;
            assert!((found - recovered / braked).abs() < 0.06, "{name}: {found} {}", recovered / braked);
        }
    }
    assert!(compared >= 2, "{compared} levels with enough braking");
}
