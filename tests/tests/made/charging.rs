//! What the depot's plugs metered, against the batteries as they truly are.

use backwatt::tables;
use backwatt_store::Layout;
use backwatt_testkit::Table;

use crate::truth::SMALL;

fn whole(table: &'static backwatt_schema::Table) -> Table {
    Table::read(&[Layout::new(&SMALL.out).table(table)], table)
}

#[test]
fn metered_nights_find_the_usable_energy_of_each_truck() {
    let capacity = whole(&tables::CAPACITY);
    let ends = ["p05", "p50", "p95"].map(|end| capacity.numbers(&format!("capacity_measured_{end}_kwh")));
    let (vehicles, evidence) = (capacity.texts("vehicle_id"), capacity.texts("evidence"));
    assert_eq!(vehicles.len(), SMALL.vehicles.len());
    for row in 0..capacity.rows() {
        let vehicle = vehicles[row].as_deref().expect("a name");
        let truth_kwh = SMALL.truth_of(vehicle, "energy_usable_kwh");
        let [low, middle, high] = [0, 1, 2].map(|end: usize| ends[end][row].expect("a night was metered"));
        println!("{vehicle}: {low:.1} {middle:.1} {high:.1} kWh, in truth {truth_kwh:.1}");
        assert!(low < truth_kwh && truth_kwh < high, "{vehicle}");
        assert!((high - low) / truth_kwh < 0.2, "{vehicle}: an interval of some tenths says nothing");
        assert_eq!(evidence[row].as_deref(), Some("counter"));
    }
}

/// Every line of the file is in the table: used, or refused with its reason.
#[test]
fn no_night_is_lost() {
    let text = std::fs::read_to_string(SMALL.folder.path().join("charge_sessions.csv")).expect("a file");
    let sessions = whole(&tables::CHARGE_SESSIONS);
    assert_eq!(sessions.rows(), text.lines().count() - 1);
    let (why, rise) = (sessions.texts("why"), sessions.numbers("soc_rise_frac"));
    let apparent = sessions.numbers("capacity_apparent_p50_kwh");
    // Nobody saw the trucks after their last night.
    let unseen = why.iter().flatten().filter(|why| why.contains("after it")).count();
    assert!(unseen >= SMALL.vehicles.len(), "{why:?}");
    assert!(apparent.iter().zip(&rise).all(|(apparent, rise)| apparent.is_none() || rise.is_some()));
    assert!(apparent.iter().any(Option::is_some));
}
