//! Accounts add up, wherever a drive is cut.

use backwatt_physics::{Blending, ReplaySettings, SpeedReading, Truck};
use backwatt_schema::tables::{self, CASCADE, GAINS};
use proptest::prelude::*;

use super::made::{Log, cases, drive, known, numbers, sum, truck};

/// Rounding, over the size of what was added up.
const SHARE: f64 = 1e-9;
/// A thousandth of a joule, where there is nothing to add up. [kWh]
const NOTHING_KWH: f64 = 1e-3 / 3.6e6;

/// Sums that no cut may change. [kWh, s, m]
const ADDITIVE: [&str; 22] = [
    "duration_s",
    "distance_m",
    "energy_kinetic_kwh",
    "energy_grade_kwh",
    "energy_rolling_kwh",
    "energy_aero_kwh",
    "energy_tractive_kwh",
    "energy_braking_kwh",
    "braking_beyond_axle_kwh",
    "braking_beyond_blending_kwh",
    "braking_in_fade_kwh",
    "braking_beyond_level_kwh",
    "braking_beyond_torque_kwh",
    "braking_beyond_power_kwh",
    "braking_beyond_acceptance_kwh",
    "braking_converted_kwh",
    "braking_to_auxiliaries_kwh",
    "energy_recoverable_kwh",
    "energy_attainable_kwh",
    "energy_auxiliary_kwh",
    "energy_drive_dc_kwh",
    "losses_beyond_map_s",
];

fn additive() -> impl Iterator<Item = &'static str> {
    ADDITIVE.into_iter().chain(GAINS)
}

fn grades(rows: usize) -> Vec<Option<f64>> {
    (0..rows).map(|i| Some(0.04 * (i as f64 * 0.7).sin() + 0.001)).collect()
}

proptest! {
    #![proptest_config(cases(64))]

    #[test]
    fn both_sides_of_every_segment_agree(truck in truck(), (speeds, steps) in drive()) {
        let replay = Log::new(&speeds, &steps)
            .with("grade_frac", grades(speeds.len()))
            .replay(&truck, &ReplaySettings { segment_length_m: 30.0, ..ReplaySettings::default() });
        let of = |name| numbers(&tables::SEGMENTS, &replay.segments, name);
        let accounts = ["energy_kinetic_kwh", "energy_grade_kwh", "energy_rolling_kwh", "energy_aero_kwh"].map(of);
        let (tractive, braking) = (of("energy_tractive_kwh"), of("energy_braking_kwh"));
        let (cascade, gains) = (CASCADE.map(of), GAINS.map(of));
        for row in 0..replay.segments.num_rows() {
            let (out, back) = (tractive[row].unwrap(), braking[row].unwrap());
            let spent: f64 = accounts.iter().map(|column| column[row].unwrap()).sum();
            let size = out + back + accounts.iter().map(|column| column[row].unwrap().abs()).sum::<f64>();
            prop_assert!((spent - (out - back)).abs() <= SHARE * size + NOTHING_KWH, "{spent} {out} {back}");
            let split: f64 = cascade.iter().map(|column| column[row].unwrap()).sum();
            prop_assert!((split - back).abs() <= SHARE * back + NOTHING_KWH, "{split} {back}");
            let recoverable = cascade[CASCADE.len() - 1][row].unwrap();
            let gained: f64 = gains.iter().map(|column| column[row].unwrap()).sum();
            prop_assert!((recoverable + gained - back).abs() <= SHARE * back + NOTHING_KWH, "{gained} {back}");
        }
    }

    #[test]
    fn trips_are_the_sums_of_their_segments(truck in truck(), (speeds, steps) in drive()) {
        let replay = Log::new(&speeds, &steps).replay(&truck, &ReplaySettings::default());
        let in_trips = |name| -> f64 {
            let view = backwatt_schema::BatchView::new(&tables::SEGMENTS, &replay.segments);
            let trips = view.texts("trip_id").unwrap();
            let values = numbers(&tables::SEGMENTS, &replay.segments, name);
            (0..values.len()).filter(|row| backwatt_schema::text_at(trips, *row).is_some())
                .filter_map(|row| values[row]).sum()
        };
        let pairs = [
            ("distance_m", "distance_m"), ("duration_s", "logged_s"), ("moving_s", "moving_s"),
            ("energy_tractive_kwh", "energy_tractive_kwh"), ("energy_braking_kwh", "energy_braking_kwh"),
        ];
        for (segment, trip) in pairs {
            let total: f64 = numbers(&tables::TRIPS, &replay.trips, trip).into_iter().flatten().sum();
            prop_assert!((in_trips(segment) - total).abs() <= SHARE * total + NOTHING_KWH, "{segment}");
        }
    }

    #[test]
    fn segment_length_moves_no_sum(truck in truck(), (speeds, steps) in drive(), length in 1.0..500.0f64) {
        let log = Log::new(&speeds, &steps).with("grade_frac", grades(speeds.len()));
        let with = |segment_length_m| {
            log.replay(&truck, &ReplaySettings { segment_length_m, ..ReplaySettings::default() })
        };
        let (short, whole) = (with(length), with(1e9));
        for name in additive() {
            let (a, b) = (sum(&short, name), sum(&whole, name));
            let size = sum(&whole, "energy_tractive_kwh") + sum(&whole, "energy_braking_kwh") + b.abs();
            prop_assert!((a - b).abs() <= SHARE * size + NOTHING_KWH, "{name}: {a} {b}");
        }
    }

    /// Two logs that share the sample at the cut hold what one log holds; a smoother would look across the cut.
    #[test]
    fn a_log_cut_in_two_holds_the_same(truck in truck(), (speeds, steps) in drive(), at in 0.0..1.0f64) {
        let log = Log::new(&speeds, &steps).with("grade_frac", grades(speeds.len()));
        let last = speeds.len() - 1;
        let cut = ((last as f64 * at) as usize).clamp(1, last - 1);
        let settings = ReplaySettings { speed: SpeedReading::AsLogged, ..ReplaySettings::default() };
        let whole = log.replay(&truck, &settings);
        let parts = [log.part(0, cut), log.part(cut, last)].map(|part| part.replay(&truck, &settings));
        for name in additive() {
            let (a, b) = (sum(&parts[0], name) + sum(&parts[1], name), sum(&whole, name));
            let size = sum(&whole, "energy_tractive_kwh") + sum(&whole, "energy_braking_kwh") + b.abs();
            prop_assert!((a - b).abs() <= SHARE * size + NOTHING_KWH, "{name}: {a} {b}");
        }
    }

    /// Logged battery power is all there, whichever account it is booked to.
    #[test]
    fn battery_power_is_booked_once(
        truck in truck(),
        (speeds, steps) in drive(),
        powers in prop::collection::vec(-80e3..120e3f64, 60),
    ) {
        let powers = &powers[..speeds.len()];
        let log = Log::new(&speeds, &steps).with("pack_power_w", known(powers));
        let replay = log.replay(&truck, &ReplaySettings::default());
        let inflow = ["energy_recovered_kwh", "energy_returned_unknown_store_kwh",
            "energy_unbraked_inflow_kwh", "energy_plugged_kwh"].map(|name| sum(&replay, name));
        let net = sum(&replay, "energy_discharged_kwh") - inflow.iter().sum::<f64>();
        let trapezoid: f64 = (1..speeds.len())
            .map(|i| f64::midpoint(powers[i - 1], powers[i]) * (log.time_ns[i] - log.time_ns[i - 1]) as f64)
            .sum::<f64>() / 1e9 / 3.6e6;
        let size = sum(&replay, "energy_discharged_kwh") + inflow.iter().sum::<f64>();
        prop_assert!((net - trapezoid).abs() <= SHARE * size + NOTHING_KWH, "{net} {trapezoid}");
    }

    /// The battery side closes on what was drawn at the dc link, whatever the loss law.
    #[test]
    fn the_battery_side_closes(
        truck in truck(),
        (speeds, steps) in drive(),
        powers in prop::collection::vec(0.0..120e3f64, 60),
    ) {
        let log = Log::new(&speeds, &steps).with("pack_power_w", known(&powers[..speeds.len()]));
        let replay = log.replay(&truck, &ReplaySettings::default());
        let asked = sum(&replay, "energy_drive_dc_kwh") + sum(&replay, "energy_auxiliary_kwh")
            - sum(&replay, "braking_to_auxiliaries_kwh") - sum(&replay, "energy_recoverable_kwh");
        let given = sum(&replay, "energy_discharged_kwh");
        let unexplained = sum(&replay, "energy_unexplained_kwh");
        let size = given + sum(&replay, "energy_drive_dc_kwh") + sum(&replay, "energy_auxiliary_kwh");
        prop_assert!((given - asked - unexplained).abs() <= SHARE * size + NOTHING_KWH, "{given} {asked}");
        prop_assert!(sum(&replay, "energy_drive_dc_kwh") >= sum(&replay, "energy_tractive_kwh") * (1.0 - SHARE));
        prop_assert!(sum(&replay, "energy_attainable_kwh") >= sum(&replay, "energy_recoverable_kwh"));
    }

    /// A pedal logged as released makes series blending lift-off alone; without a pedal the bounds hold both ends.
    #[test]
    fn the_pedal_decides_what_series_blending_brings(truck in truck(), (speeds, steps) in drive()) {
        let series = Truck { blending: Blending::Series, ..truck.clone() };
        let lift_off = Truck { blending: Blending::FrictionOnly, ..truck };
        let log = Log::new(&speeds, &steps);
        let with = |pedal: f64| log.clone().with("brake_pedal_frac", known(&vec![pedal; speeds.len()]));
        let of = |log: &Log, truck: &Truck, name| sum(&log.replay(truck, &ReplaySettings::default()), name);
        let (low, middle, high) =
            ("energy_recoverable_low_kwh", "energy_recoverable_kwh", "energy_recoverable_high_kwh");
        let released = of(&log, &lift_off, middle);
        prop_assert_eq!(of(&with(0.0), &series, middle), released);
        let used = of(&with(0.5), &series, middle);
        prop_assert_eq!(of(&log, &series, middle), used);
        // Moment by moment the worse and the better of the two.
        let rounding = SHARE * (released + used) + NOTHING_KWH;
        prop_assert!(of(&log, &series, low) <= released.min(used) + rounding);
        prop_assert!(of(&log, &series, high) >= released.max(used) - rounding);
    }
}
