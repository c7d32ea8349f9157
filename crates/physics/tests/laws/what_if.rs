//! The same trips with something changed.

use backwatt_physics::replay::Vehicle;
use backwatt_physics::{
    Amount, Change, Level, LiftOff, ReplaySettings, SpeedReading, Truck, what_if, what_if_trace,
};
use backwatt_schema::tables::{WHAT_IF, WHAT_IF_TRACE};
use proptest::prelude::*;

use super::made::{Log, cases, drive, exactly, known, numbers, plain, truck};

fn settings() -> ReplaySettings {
    ReplaySettings { speed: SpeedReading::AsLogged, ..ReplaySettings::default() }
}

fn side(truck: &Truck, capacity_j: Option<f64>) -> Vehicle {
    Vehicle { sheet: exactly(truck), capacity_j }
}

/// One column of the comparison, trip by trip.
fn compared(log: &Log, before: &Vehicle, after: &Vehicle, change: &Change, name: &str) -> Vec<Option<f64>> {
    let found = what_if("T1", &log.batch(), before, after, change, &settings()).unwrap();
    numbers(&WHAT_IF, &found, name)
}

fn sum(log: &Log, before: &Vehicle, after: &Vehicle, change: &Change, name: &str) -> f64 {
    compared(log, before, after, change, name).into_iter().flatten().sum()
}

proptest! {
    #![proptest_config(cases(48))]

    #[test]
    fn nothing_changed_changes_nothing(truck in truck(), (speeds, steps) in drive()) {
        let log = Log::new(&speeds, &steps).with("soc_frac", known(&vec![0.8; speeds.len()]));
        let vehicle = side(&truck, Some(1e8));
        let top = speeds.iter().copied().fold(0.0, f64::max);
        for change in [Change::default(), Change { speed_cap_m_s: Some(top.max(1.0)), ..Change::default() }] {
            let of = |name: &str| sum(&log, &vehicle, &vehicle, &change, name);
            for quantity in ["tractive", "braking", "recovered", "auxiliary", "net"] {
                let driven = of(&format!("energy_{quantity}_driven_kwh"));
                let changed = of(&format!("energy_{quantity}_changed_kwh"));
                // State of charge is carried as what is missing to full: to rounding.
                prop_assert!((driven - changed).abs() <= 1e-9 * driven.abs() + 1e-12, "{quantity} {driven} {changed}");
            }
            prop_assert_eq!(of("infeasible_s"), 0.0);
        }
    }

    /// What is driven is what the replay books.
    #[test]
    fn the_driven_side_is_the_ledger(truck in truck(), (speeds, steps) in drive()) {
        let log = Log::new(&speeds, &steps);
        let vehicle = side(&truck, None);
        let replay = log.replay(&truck, &settings());
        for (driven, booked) in [("energy_tractive_driven_kwh", "energy_tractive_kwh"), ("energy_braking_driven_kwh", "energy_braking_kwh")] {
            let of_trips: f64 = numbers(&backwatt_schema::tables::TRIPS, &replay.trips, booked).into_iter().flatten().sum();
            let driven = sum(&log, &vehicle, &vehicle, &Change::default(), driven);
            prop_assert!((driven - of_trips).abs() <= 1e-9 * of_trips + 1e-12);
        }
    }

    #[test]
    fn the_intervals_sum_to_the_trip(truck in truck(), (speeds, steps) in drive(), cap in 5.0..30.0f64) {
        let log = Log::new(&speeds, &steps).with("soc_frac", known(&vec![0.8; speeds.len()]));
        let vehicle = side(&truck, Some(1e8));
        let change = Change {
            payload_kg: Some(Amount::Add(800.0)),
            speed_cap_m_s: (cap < 20.0).then_some(cap),
            ..Change::default()
        };
        let sides = (&vehicle, &vehicle);
        let trace = what_if_trace("T1", &log.batch(), sides, &change, &settings(), &|_| true).unwrap();
        for quantity in ["tractive", "braking", "recovered", "auxiliary", "net"] {
            for side in ["driven", "changed"] {
                let name = format!("energy_{quantity}_{side}_kwh");
                let whole = sum(&log, &vehicle, &vehicle, &change, &name);
                let parts: f64 = numbers(&WHAT_IF_TRACE, &trace, &name).into_iter().flatten().sum();
                prop_assert!((whole - parts).abs() <= 1e-9 * whole.abs() + 1e-12, "{name}: {parts} {whole}");
            }
        }
        let ends = numbers(&WHAT_IF_TRACE, &trace, "soc_end_changed_frac");
        let last = compared(&log, &vehicle, &vehicle, &change, "soc_end_changed_frac").last().copied().flatten();
        prop_assert_eq!(ends.last().copied().flatten(), last);
    }

    #[test]
    fn a_cap_takes_time_and_air_not_distance(truck in truck(), (speeds, steps) in drive(), cap in 2.0..15.0f64) {
        let log = Log::new(&speeds, &steps);
        let vehicle = side(&truck, None);
        let change = Change { speed_cap_m_s: Some(cap), ..Change::default() };
        let of = |name: &str| sum(&log, &vehicle, &vehicle, &change, name);
        prop_assert!(of("duration_changed_s") >= of("duration_driven_s") - 1e-6);
    }

    #[test]
    fn hostile_changes_do_not_panic(
        truck in truck(),
        (speeds, steps) in drive(),
        value in prop_oneof![Just(0.0), Just(-1e9), Just(1e9), -1e3..1e3f64],
        soc in prop::collection::vec(prop::option::of(0.0..1.0f64), 60),
    ) {
        let log = Log::new(&speeds, &steps).with("soc_frac", soc[..speeds.len()].to_vec());
        let vehicle = side(&truck, Some(1.0));
        let change = Change {
            level: Some("nobody's".to_owned()),
            payload_kg: Some(Amount::Add(value)),
            aux_w: Some(Amount::Times(value)),
            temperature: Some(Amount::Set(value)),
            headwind: Some(Amount::Set(value)),
            speed_cap_m_s: Some(value.abs().max(0.1)),
            ..Change::default()
        };
        let _ = what_if("T1", &log.batch(), &vehicle, &vehicle, &change, &settings());
    }
}

/// A stronger level brings more from the same stops, raises state of charge, and may cost coasting; and the acceptance of
/// a pack that fills earlier takes some of it back.
#[test]
fn a_stronger_level_fills_the_pack_earlier() {
    let level = |name: &str, m_s2| Level {
        name: name.to_owned(),
        lift_off: LiftOff::Deceleration { m_s2, includes_road_load: false },
        fade_start_m_s: 0.5,
        fade_end_m_s: 2.0,
    };
    let truck =
        Truck { levels: vec![level("low", 0.3), level("high", 1.5)], default_level: Some(0), ..plain() };
    // Thirty stops from 15 m/s at 1 m/s², after 20 s of cruising each.
    let once: Vec<f64> = (1..=15)
        .map(f64::from)
        .chain(std::iter::repeat_n(15.0, 20))
        .chain((0..15).map(|s| 14.0 - f64::from(s)))
        .chain(std::iter::repeat_n(0.0, 5))
        .collect();
    let speeds: Vec<f64> = once.iter().copied().cycle().take(30 * once.len()).collect();
    let rows = speeds.len();
    let soc: Vec<f64> = (0..rows).map(|row| 0.94 - 0.02 * row as f64 / rows as f64).collect();
    let log = Log::new(&speeds, &vec![1.0; rows]).with("soc_frac", known(&soc));
    let change = Change { level: Some("high".to_owned()), ..Change::default() };
    let gained = |capacity_j: Option<f64>| {
        let vehicle = side(&truck, capacity_j);
        let of = |name: &str| sum(&log, &vehicle, &vehicle, &change, name);
        of("energy_recovered_changed_kwh") - of("energy_recovered_driven_kwh")
    };
    let vehicle = side(&truck, Some(3.6e7));
    let end = |name| compared(&log, &vehicle, &vehicle, &change, name)[0].unwrap();
    assert!(gained(Some(3.6e7)) > 0.0);
    assert!(end("soc_end_changed_frac") > end("soc_end_driven_frac") + 0.01);
    // A pack of 10 kWh fills up where one of 1000 kWh does not.
    assert!(gained(Some(3.6e7)) < gained(Some(3.6e9)), "{} {}", gained(Some(3.6e7)), gained(Some(3.6e9)));
    let lost = sum(&log, &vehicle, &vehicle, &change, "energy_lost_coasting_kwh");
    assert!(lost > 0.0, "stops at 1 m/s² are gentler than a lift-off of 1.5 m/s²: {lost}");
    let back = Change { level: Some("low".to_owned()), ..Change::default() };
    assert_eq!(compared(&log, &vehicle, &vehicle, &back, "energy_lost_coasting_kwh"), [None]);
}

/// By hand: 800 kg more on the flat cost m g C_rr d more rolling and ½ m v² more kinetic energy a stop.
#[test]
fn a_payload_costs_what_it_weighs() {
    let truck = plain();
    let speeds: Vec<f64> = (0..=10)
        .map(f64::from)
        .chain(std::iter::repeat_n(10.0, 30))
        .chain((0..=10).map(|s| 10.0 - f64::from(s)))
        .collect();
    let log = Log::new(&speeds, &vec![1.0; speeds.len()]);
    let mut after = truck.clone();
    after.payload_kg += 800.0;
    let change = Change { payload_kg: Some(Amount::Add(800.0)), ..Change::default() };
    let (before, after) = (side(&truck, None), side(&after, None));
    let of = |name: &str| sum(&log, &before, &after, &change, name);
    let net_wheel =
        |which: &str| of(&format!("energy_tractive_{which}_kwh")) - of(&format!("energy_braking_{which}_kwh"));
    let distance = of("distance_m");
    let rolling = 800.0 * 9.806_65 * truck.rolling_resistance * distance / 3.6e6;
    assert!((net_wheel("changed") - net_wheel("driven") - rolling).abs() < 1e-9 * rolling.max(1.0));
}

/// Ideal gas at one pressure: density goes with one over the absolute temperature, and aerodynamic work with density.
#[test]
fn cold_air_is_denser() {
    let truck = Truck { rolling_resistance: 0.0, ..plain() };
    let speeds = vec![20.0; 60];
    let log = Log::new(&speeds, &vec![1.0; 60]).with("temperature_ambient_k", known(&[300.0; 60]));
    let change = Change { temperature: Some(Amount::Set(250.0)), ..Change::default() };
    let vehicle = side(&truck, None);
    let of = |name: &str| sum(&log, &vehicle, &vehicle, &change, name);
    let ratio = of("energy_tractive_changed_kwh") / of("energy_tractive_driven_kwh");
    assert!((ratio - 300.0 / 250.0).abs() < 1e-9, "{ratio}");
}
