//! The power trace holds the joules of the ledger, interval by interval.

use arrow::array::RecordBatch;
use backwatt_physics::ReplaySettings;
use backwatt_schema::tables::{self, POWER_TRACE};
use backwatt_schema::{BatchView, text_at};
use proptest::prelude::*;

use super::made::{Log, cases, drive, exactly, known, numbers, plain, sum, truck};

const SHARE: f64 = 1e-9;
const NOTHING_KWH: f64 = 1e-3 / 3.6e6;

/// A column of the trace, known in every row, summed over time. [unit s]
fn over_time(trace: &RecordBatch, name: &str) -> f64 {
    let view = BatchView::new(&POWER_TRACE, trace);
    let (starts, ends) = (view.times("time_start_ns").unwrap(), view.times("time_end_ns").unwrap());
    let seconds = starts.values().iter().zip(ends.values()).map(|(start, end)| (end - start) as f64 * 1e-9);
    numbers(&POWER_TRACE, trace, name).into_iter().zip(seconds).map(|(value, dt)| value.unwrap() * dt).sum()
}

fn kwh(trace: &RecordBatch, name: &str) -> f64 {
    over_time(trace, name) / 3.6e6
}

fn texts(table: &'static backwatt_schema::Table, batch: &RecordBatch, name: &str) -> Vec<Option<String>> {
    let column = BatchView::new(table, batch).texts(name).unwrap();
    (0..batch.num_rows()).map(|row| text_at(column, row).map(str::to_owned)).collect()
}

fn garbage() -> impl Strategy<Value = Option<f64>> {
    prop_oneof![
        4 => (0.0..40.0f64).prop_map(Some),
        2 => Just(None),
        1 => (-1e300..1e300f64).prop_map(Some),
        1 => prop_oneof![Just(f64::MAX), Just(f64::MIN), Just(-0.0)].prop_map(Some),
    ]
}

/// Standing costs the auxiliaries and nothing else; nothing logged is nothing measured.
#[test]
fn standing_draws_the_auxiliaries() {
    let trace = Log::new(&[0.0; 10], &[1.0; 9]).trace(&plain(), &ReplaySettings::default());
    assert_eq!(numbers(&POWER_TRACE, &trace, "power_modelled_w"), vec![Some(800.0); 9]);
    assert_eq!(numbers(&POWER_TRACE, &trace, "power_measured_w"), vec![None; 9]);
    assert_eq!(texts(&POWER_TRACE, &trace, "trip_id"), vec![None; 9]);
    assert_eq!(texts(&POWER_TRACE, &trace, "evidence"), vec![Some("modelled".to_owned()); 9]);
}

/// The road load at 45 mph of the closed-form cases, 1712.43 N at 1.2 kg/m3; at sea level the air weighs 1.225.
#[test]
fn cruising_draws_the_road_load_through_the_drive() {
    let speed = 20.1168;
    let newtons = 1712.43 + 0.5 * (1.225 - 1.2) * 5.0 * speed * speed;
    let trace = Log::new(&[speed; 10], &[1.0; 9]).trace(&plain(), &ReplaySettings::default());
    for row in numbers(&POWER_TRACE, &trace, "power_modelled_w") {
        let expected = newtons * speed / 0.86 + 800.0;
        assert!((row.unwrap() - expected).abs() < 1.0, "{row:?} {expected}");
    }
}

proptest! {
    #![proptest_config(cases(48))]

    #[test]
    fn the_trace_holds_what_the_segments_hold(
        truck in truck(),
        (speeds, steps) in drive(),
        powers in prop::collection::vec(-80e3..120e3f64, 60),
    ) {
        let log = Log::new(&speeds, &steps).with("pack_power_w", known(&powers[..speeds.len()]));
        let settings = ReplaySettings::default();
        let (replay, trace) = (log.replay(&truck, &settings), log.trace(&truck, &settings));
        let of = |name| sum(&replay, name);
        let size = of("energy_drive_dc_kwh") + of("energy_braking_kwh")
            + of("energy_auxiliary_kwh") + of("energy_discharged_kwh");
        let bus = of("energy_recoverable_kwh") + of("braking_to_auxiliaries_kwh");
        let inflow = of("energy_recovered_kwh") + of("energy_plugged_kwh");
        let pairs = [
            ("power_wheel_w", of("energy_tractive_kwh") - of("energy_braking_kwh")),
            ("power_braking_w", of("energy_braking_kwh")),
            ("power_auxiliary_w", of("energy_auxiliary_kwh")),
            ("power_returned_bus_w", bus),
            ("power_modelled_w", of("energy_drive_dc_kwh") + of("energy_auxiliary_kwh") - bus),
            ("power_measured_w", of("energy_discharged_kwh") - inflow),
        ];
        for (name, expected) in pairs {
            let got = kwh(&trace, name);
            prop_assert!((got - expected).abs() <= SHARE * size + NOTHING_KWH, "{name}: {got} {expected}");
        }
        let metres = over_time(&trace, "speed_m_s");
        prop_assert!((metres - of("distance_m")).abs() <= SHARE * metres + 1e-6);
    }

    /// Whatever a log holds, the trace is one row per interval of the segments, and does not panic.
    #[test]
    fn garbage_leaves_a_trace_of_as_many_seconds(
        truck in truck(),
        rows in prop::collection::vec((garbage(), garbage(), 1i64..20_000_000_000), 0..50),
    ) {
        let mut log = Log::default();
        let mut now = 0;
        for (_, _, step_ns) in &rows {
            log.time_ns.push(now);
            now += step_ns;
        }
        let log = log
            .with("speed_m_s", rows.iter().map(|row| row.0).collect())
            .with("pack_power_w", rows.iter().map(|row| row.1).collect());
        let settings = ReplaySettings::default();
        let trace = log.trace(&truck, &settings);
        let view = BatchView::new(&POWER_TRACE, &trace);
        let (starts, ends) = (view.times("time_start_ns").unwrap(), view.times("time_end_ns").unwrap());
        let seconds: f64 =
            starts.values().iter().zip(ends.values()).map(|(start, end)| (end - start) as f64 * 1e-9).sum();
        if let Ok(replay) = log.try_replay(&exactly(&truck), &settings) {
            prop_assert!((seconds - sum(&replay, "duration_s")).abs() < 1e-6, "{seconds}");
        }
    }

    /// Every trip of the table of trips is named in the trace, and no other.
    #[test]
    fn trips_have_the_same_names((speeds, steps) in drive()) {
        let log = Log::new(&speeds, &steps);
        let settings = ReplaySettings { trip_ends_after_s: 3.0, ..ReplaySettings::default() };
        let replay = log.replay(&plain(), &settings);
        let mut named: Vec<String> = texts(&POWER_TRACE, &log.trace(&plain(), &settings), "trip_id")
            .into_iter().flatten().collect();
        named.dedup();
        let trips: Vec<String> = texts(&tables::TRIPS, &replay.trips, "trip_id").into_iter().flatten().collect();
        prop_assert_eq!(named, trips);
    }
}
