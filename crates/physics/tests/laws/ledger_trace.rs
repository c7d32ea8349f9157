//! The ledger between the samples sums to the ledger.

use std::collections::BTreeMap;

use backwatt_physics::{ReplaySettings, ledger_trace};
use backwatt_schema::tables::{LEDGER_TRACE, SEGMENTS};
use backwatt_schema::{BatchView, Kind, text_at};
use proptest::prelude::*;

use super::made::{Log, cases, drive, exactly, known, numbers, truck};

/// Energy and time of each segment of a trip, by its number.
fn by_segment(
    table: &'static backwatt_schema::Table,
    batch: &arrow::array::RecordBatch,
    name: &str,
) -> BTreeMap<u32, Option<f64>> {
    let view = BatchView::new(table, batch);
    let orders = view.orders("segment_order").unwrap();
    let trips = view.texts("trip_id").unwrap();
    let mut sums = BTreeMap::new();
    for (row, value) in numbers(table, batch, name).into_iter().enumerate() {
        if text_at(trips, row).is_some() {
            let sum: &mut Option<f64> = sums.entry(orders.value(row)).or_insert(value.map(|_| 0.0));
            *sum = sum.zip(value).map(|(sum, value)| sum + value);
        }
    }
    sums
}

proptest! {
    #![proptest_config(cases(48))]

    #[test]
    fn a_segments_intervals_sum_to_the_segment(
        truck in truck(),
        (speeds, steps) in drive(),
        powers in prop::collection::vec(prop::option::weighted(0.9, -80e3..120e3f64), 60),
        segment_length_m in 20.0..400.0f64,
    ) {
        let log = Log::new(&speeds, &steps)
            .with("pack_power_w", powers[..speeds.len()].to_vec())
            .with("soc_frac", known(&vec![0.7; speeds.len()]));
        let settings = ReplaySettings { segment_length_m, ..ReplaySettings::default() };
        let segments = log.replay(&truck, &settings).segments;
        let trace = ledger_trace("T1", &log.batch(), &exactly(&truck), &settings, &|_| true).unwrap();
        let mut compared = 0;
        for column in LEDGER_TRACE.columns.iter().filter(|c| c.kind == Kind::F64) {
            let name = column.name;
            if !(name.ends_with("_kwh") || name == "distance_m" || name.ends_with("ing_s") || name == "duration_s") {
                continue;
            }
            compared += 1;
            let (whole, parts) = (by_segment(&SEGMENTS, &segments, name), by_segment(&LEDGER_TRACE, &trace, name));
            prop_assert_eq!(whole.len(), parts.len());
            for (order, whole) in whole {
                match (whole, parts[&order]) {
                    (Some(whole), Some(part)) =>
                        prop_assert!((whole - part).abs() <= 1e-9 * whole.abs() + 1e-12, "{name} {order}: {part} {whole}"),
                    (whole, part) => prop_assert_eq!(whole, part, "{}", name),
                }
            }
        }
        prop_assert!(compared > 20, "{compared}");
    }

    #[test]
    fn only_the_trips_asked_for((speeds, steps) in drive()) {
        let settings = ReplaySettings { trip_ends_after_s: 3.0, ..ReplaySettings::default() };
        let log = Log::new(&speeds, &steps);
        let trace = ledger_trace("T1", &log.batch(), &exactly(&super::made::plain()), &settings, &|trip| trip == "T1-0001");
        let trace = trace.unwrap();
        let trips = BatchView::new(&LEDGER_TRACE, &trace).texts("trip_id").unwrap().clone();
        prop_assert!((0..trace.num_rows()).all(|row| trips.value(row) == "T1-0001"));
    }
}
