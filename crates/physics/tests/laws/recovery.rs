//! What may be recovered at most, and what becomes of a measurement that says more.

use backwatt_physics::kernels::battery_flow;
use backwatt_physics::{ReplaySettings, Truck};
use backwatt_schema::tables::{self, POWER_TRACE};
use proptest::prelude::*;

use super::made::{Log, cases, drive, known, numbers, plain, sum, truck};

const SHARE: f64 = 1e-9;
const NOTHING_KWH: f64 = 1e-3 / 3.6e6;
const INFLOWS: [&str; 4] = [
    "energy_recovered_kwh",
    "energy_returned_unknown_store_kwh",
    "energy_unbraked_inflow_kwh",
    "energy_plugged_kwh",
];

/// Speeds that never stand still, at uneven steps: no inflow counts as a charge.
fn moving() -> impl Strategy<Value = (Vec<f64>, Vec<f64>)> {
    prop::collection::vec((1.0..32.0f64, 0.2..2.5f64), 3..60).prop_map(|rows| rows.into_iter().unzip())
}

/// Powers of both signs, charging far beyond what any braking here could give.
fn powers() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(-900e3..300e3f64, 60)
}

fn segments(log: &Log, truck: &Truck, name: &str) -> Vec<f64> {
    let replay = log.replay(truck, &ReplaySettings::default());
    numbers(&tables::SEGMENTS, &replay.segments, name).into_iter().map(|value| value.unwrap()).collect()
}

proptest! {
    #![proptest_config(cases(64))]

    /// Recoverable at most attainable at most braking, in every segment and every event, whatever is driven.
    #[test]
    fn recoverable_attainable_and_braking_stand_in_order(
        truck in truck(),
        (speeds, steps) in drive(),
        slopes in prop::collection::vec(-0.12..0.12f64, 60),
        level_known in any::<bool>(),
    ) {
        let truck = Truck { default_level: level_known.then_some(0), ..truck };
        let replay = Log::new(&speeds, &steps)
            .with("grade_frac", known(&slopes[..speeds.len()]))
            .replay(&truck, &ReplaySettings { segment_length_m: 50.0, ..ReplaySettings::default() });
        let modelled = ["energy_recoverable_kwh", "energy_attainable_kwh", "energy_braking_kwh"];
        let bounds = ["energy_recoverable_low_kwh", "energy_recoverable_kwh", "energy_recoverable_high_kwh"];
        let checks = [
            (&tables::SEGMENTS, &replay.segments, modelled),
            (&tables::SEGMENTS, &replay.segments, bounds),
            (&tables::BRAKING_EVENTS, &replay.braking_events, modelled),
        ];
        prop_assert!(replay.segments.num_rows() > 0);
        for (table, batch, columns) in checks {
            let braking = numbers(table, batch, "energy_braking_kwh");
            let [low, middle, high] = columns.map(|name| numbers(table, batch, name));
            for row in 0..batch.num_rows() {
                let rounding = SHARE * braking[row].unwrap() + NOTHING_KWH;
                let (low, middle, high) = (low[row].unwrap(), middle[row].unwrap(), high[row].unwrap());
                prop_assert!(low >= -rounding, "{columns:?} row {row}: {low}");
                prop_assert!(low <= middle + rounding && middle <= high + rounding,
                    "{} {columns:?} row {row}: {low} {middle} {high}", table.name);
            }
        }
    }

    /// What flowed in is booked whole, however far it lies above what braking could have given.
    #[test]
    fn measured_inflow_is_never_cut_to_what_was_recoverable(
        truck in truck(), (speeds, steps) in moving(), powers in powers(),
    ) {
        let powers = &powers[..speeds.len()];
        let log = Log::new(&speeds, &steps).with("pack_power_w", known(powers));
        let replay = log.replay(&truck, &ReplaySettings::default());
        let booked: f64 = INFLOWS.iter().map(|name| sum(&replay, name)).sum();
        let flowed: f64 = (1..powers.len())
            .map(|at| {
                let seconds = (log.time_ns[at] - log.time_ns[at - 1]) as f64 * 1e-9;
                battery_flow::split(powers[at - 1], powers[at], seconds).1 / 3.6e6
            })
            .sum();
        prop_assert!((booked - flowed).abs() <= SHARE * flowed + NOTHING_KWH, "{booked} {flowed}");
        // The whole of it sits in the first and third account: nothing was plugged in, and the store is known.
        prop_assert!(sum(&replay, INFLOWS[1]) == 0.0 && sum(&replay, INFLOWS[3]) == 0.0);
    }

    /// An engine that charges at steady speed on the flat: nothing brakes, so nothing was returned at the dc link.
    #[test]
    fn what_an_engine_puts_in_is_not_returned_by_braking(engine_w in 1e3..200e3f64, speed in 8.0..25.0f64) {
        let log = Log::new(&[speed; 20], &[1.0; 20])
            .with("engine_speed_rad_s", vec![Some(150.0); 20])
            .with("pack_power_w", vec![Some(-engine_w); 20]);
        let replay = log.replay(&plain(), &ReplaySettings::default());
        prop_assert!((sum(&replay, "energy_unbraked_inflow_kwh") - engine_w * 19.0 / 3.6e6).abs() < NOTHING_KWH);
        prop_assert_eq!(sum(&replay, "energy_returned_bus_kwh"), 0.0);
    }

    /// Identity (4) in every segment, unexplained with its sign: out - in = drive at the dc link + auxiliaries - what the model
    /// returns at the bus + unexplained. An inflow beyond the model's own is in it whole.
    #[test]
    fn the_balance_at_the_terminals_closes_with_a_signed_remainder(
        truck in truck(), (speeds, steps) in moving(), powers in powers(),
    ) {
        let log = Log::new(&speeds, &steps).with("pack_power_w", known(&powers[..speeds.len()]));
        let of = |name| segments(&log, &truck, name);
        let inflows = INFLOWS.map(of);
        let (out, drive, aux) = (of("energy_discharged_kwh"), of("energy_drive_dc_kwh"), of("energy_auxiliary_kwh"));
        let (bus, unexplained) = (of("energy_returned_bus_kwh"), of("energy_unexplained_kwh"));
        let (fed, recoverable) = (of("braking_to_auxiliaries_kwh"), of("energy_recoverable_kwh"));
        prop_assert!(!out.is_empty());
        for row in 0..out.len() {
            let inflow: f64 = inflows.iter().map(|account| account[row]).sum();
            let asked = drive[row] + aux[row] - fed[row] - recoverable[row] + unexplained[row];
            let size = out[row] + inflow + drive[row] + aux[row] + bus[row];
            prop_assert!((out[row] - inflow - asked).abs() <= SHARE * size + NOTHING_KWH,
                "row {row}: {} {asked}", out[row] - inflow);
            prop_assert!(bus[row] >= inflow - SHARE * size - NOTHING_KWH, "what came in passed the bus");
        }
    }

    /// Down a steady hill the model returns so much. A battery that takes more or less of it by any amount leaves just that
    /// amount, with its sign, between measured and modelled, and in the segments' unexplained energy.
    #[test]
    fn an_excess_stays_between_measured_and_modelled(more_w in -20e3..500e3f64, speed in 8.0..15.0f64) {
        let rows = 20;
        let settings = ReplaySettings::default();
        let hill = || Log::new(&vec![speed; rows], &vec![1.0; rows]).with("grade_frac", vec![Some(-0.05); rows]);
        let modelled = numbers(&POWER_TRACE, &hill().trace(&plain(), &settings), "power_modelled_w")[0].unwrap();
        prop_assert!(modelled < -5e3, "the hill gives back, {modelled} W");
        let trace = hill().with("pack_power_w", vec![Some(modelled - more_w); rows]).trace(&plain(), &settings);
        let [model, measured] = ["power_modelled_w", "power_measured_w"].map(|name| numbers(&POWER_TRACE, &trace, name));
        for (model, measured) in model.iter().zip(&measured) {
            let left = measured.unwrap() - model.unwrap();
            prop_assert!((left + more_w).abs() < 1e-6 * more_w.abs().max(1.0), "{left} {more_w}");
        }
        let log = hill().with("pack_power_w", vec![Some(modelled - more_w); rows]);
        let unexplained = sum(&log.replay(&plain(), &settings), "energy_unexplained_kwh");
        let expected = -more_w * (rows - 1) as f64 / 3.6e6;
        prop_assert!((unexplained - expected).abs() < 1e-6 * expected.abs().max(1e-6), "{unexplained} {expected}");
    }
}
