//! What is not known stays unknown; nothing a log may hold makes the replay panic.

use backwatt_physics::replay::Node;
use backwatt_physics::{PhysicsError, Replay, ReplaySettings};
use backwatt_schema::{BatchView, tables, text_at};
use proptest::prelude::*;

use super::made::{Log, cases, drive, exactly, known, numbers, plain, truck};

/// Columns of segments that need a logged battery power.
const MEASURED: [&str; 8] = [
    "energy_discharged_kwh",
    "energy_discharged_driving_kwh",
    "energy_recovered_kwh",
    "energy_recovered_high_kwh",
    "energy_returned_unknown_store_kwh",
    "energy_unbraked_inflow_kwh",
    "energy_plugged_kwh",
    "energy_unexplained_kwh",
];

/// Columns of segments that are null while nothing but speed is logged.
const UNLOGGED: [&str; 11] = [
    "energy_grade_kwh",
    "lat_start_deg",
    "lon_start_deg",
    "temperature_ambient_k",
    "payload_kg",
    "headwind_m_s",
    "energy_battery_thermal_kwh",
    "energy_refrigeration_kwh",
    "energy_cab_climate_kwh",
    "soc_start_frac",
    "soc_end_frac",
];

/// Anything a column of numbers can hold but NaN, which the reader of logs lets through nowhere.
pub fn garbage() -> impl Strategy<Value = Option<f64>> {
    prop_oneof![
        4 => (0.0..40.0f64).prop_map(Some),
        2 => Just(Some(0.0)),
        2 => Just(None),
        1 => (-1e300..1e300f64).prop_map(Some),
        1 => prop_oneof![Just(f64::MAX), Just(f64::MIN), Just(f64::MIN_POSITIVE), Just(-0.0)].prop_map(Some),
    ]
}

/// A receiver that reports height 0 until it has a fix steps up by the height of the place. No road is that steep, and
/// no such log may end in an error.
#[test]
fn a_step_in_altitude_is_survived() {
    for step_m in [100.0, 130.0, 1600.0] {
        let altitudes = (0..200).map(|i| Some(if i < 100 { 0.0 } else { step_m })).collect();
        let log = Log::new(&[10.0; 200], &[1.0; 200]).with("altitude_m", altitudes);
        let replayed = log.try_replay(&exactly(&plain()), &ReplaySettings::default());
        assert_eq!(replayed.err(), None, "a step of {step_m} m");
    }
}

/// A count that the battery sets anew lies between two segments and in neither; a standstill that it happens in is no
/// charge.
#[test]
fn a_count_set_anew_is_no_energy() {
    let speed: Vec<f64> = (0..200).map(|at| if at < 120 { 10.0 } else { 0.0 }).collect();
    let jumps = [60, 160];
    let jump = |at: usize| 0.06 * jumps.iter().filter(|jump| at >= **jump).count() as f64;
    let soc = (0..200).map(|at| Some(0.6 - 0.0001 * at as f64 + jump(at))).collect();
    let log = Log::new(&speed, &[1.0; 200]).with("soc_frac", soc);
    let marked = log.clone().flagging("mask_soc_reanchored", (0..200).map(|at| jumps.contains(&at)).collect());
    let fallen = |log: &Log| -> f64 {
        let replayed = log.try_replay(&exactly(&plain()), &ReplaySettings::default()).expect("replayable");
        let of = |name| numbers(&tables::SEGMENTS, &replayed.segments, name);
        let pairs = of("soc_start_frac").into_iter().zip(of("soc_end_frac"));
        pairs.filter_map(|(start, end)| Some(start? - end?)).sum()
    };
    let charges = |log: &Log| {
        log.try_replay(&exactly(&plain()), &ReplaySettings::default()).expect("replayable").charges.num_rows()
    };
    assert!((fallen(&marked) - 0.0199).abs() < 0.0002, "{}", fallen(&marked));
    assert!(fallen(&log) < -0.09, "without the mark the jumps are taken for charges: {}", fallen(&log));
    assert_eq!((charges(&marked), charges(&log)), (0, 1));
}

/// A place and a height repeated until the next fix, and marked so, tell what blanks would; unmarked they make steps of a
/// slope.
#[test]
fn a_marked_repeat_is_a_blank() {
    type Along = fn(f64) -> f64;
    const MASS_KG: f64 = 6600.0;
    let rows = 600;
    let way = |i: usize| 15.0 * i as f64;
    let fix = |i: usize| i / 12 * 12;
    let repeated = |value: Along| (0..rows).map(|i| Some(value(way(fix(i))))).collect::<Vec<_>>();
    let blank = |value: Along| (0..rows).map(|i| (fix(i) == i).then(|| value(way(i)))).collect::<Vec<_>>();
    let lat: Along = |m| 12.0 + m / 111_195.0;
    let height: Along = |m| 100.0 + 20.0 * (m / 400.0).sin();
    let log = || {
        let air = Log::new(&vec![15.0; rows], &vec![1.0; rows]).with("wind_speed_m_s", vec![Some(4.0); rows]);
        air.with("wind_from_deg", vec![Some(20.0); rows]).with("lon_deg", vec![Some(-35.0); rows])
    };
    let marks: Vec<bool> = (0..rows).map(|i| fix(i) != i).collect();
    let unmarked = log().with("lat_deg", repeated(lat)).with("altitude_m", repeated(height));
    let marked =
        unmarked.clone().flagging("mask_position_held", marks.clone()).flagging("mask_altitude_held", marks);
    let blanks = log().with("lat_deg", blank(lat)).with("altitude_m", blank(height));
    let [unmarked, marked, blanks] =
        [unmarked, marked, blanks].map(|log| log.replay(&plain(), &ReplaySettings::default()).segments);
    assert_eq!(marked, blanks);
    // What a kilometre gains is known: height at its end less height at its beginning.
    let error = |segments| {
        let [way, gained] =
            ["distance_m", "energy_grade_kwh"].map(|name| numbers(&tables::SEGMENTS, segments, name));
        let mut end = 0.0;
        let mut worst: f64 = 0.0;
        for (way, gained) in way.iter().zip(&gained) {
            let (from, to) = (end, end + way.expect("a distance"));
            let wanted = MASS_KG * 9.806_65 * (height(to) - height(from)) / 3.6e6;
            worst = worst.max((gained.expect("a height") - wanted).abs());
            end = to;
        }
        worst
    };
    let (stepped, straight) = (error(&unmarked), error(&marked));
    assert!(straight < stepped, "{straight} {stepped} kWh a kilometre");
}

/// Numbers so large that their energies overflow leave no result, not one that is no number.
#[test]
fn an_overflow_is_no_result() {
    let log = Log::new(&[10.0, 1e160, 1e160, 10.0, 0.0], &[1.0; 4]);
    let replayed = log.try_replay(&exactly(&plain()), &ReplaySettings::default());
    let residual = |replay: Replay| numbers(&tables::TRIPS, &replay.trips, "ledger_residual_frac");
    assert!(matches!(replayed, Err(PhysicsError::Open { .. })), "{:?}", replayed.map(residual));
}

proptest! {
    #![proptest_config(cases(48))]

    #[test]
    fn null_in_stays_null(truck in truck(), (speeds, steps) in drive()) {
        let replay = Log::new(&speeds, &steps).replay(&truck, &ReplaySettings::default());
        for name in MEASURED.into_iter().chain(UNLOGGED) {
            let values = numbers(&tables::SEGMENTS, &replay.segments, name);
            prop_assert!(!values.is_empty());
            prop_assert!(values.iter().all(Option::is_none), "{name}: {values:?}");
        }
        let recovered = numbers(&tables::BRAKING_EVENTS, &replay.braking_events, "energy_recovered_kwh");
        prop_assert!(recovered.iter().all(Option::is_none));
        let mass = numbers(&tables::TRIPS, &replay.trips, "mass_estimated_kg");
        prop_assert!(mass.iter().all(Option::is_none));
    }

    /// Power on half of a drive makes that half measured and leaves the other as it was.
    #[test]
    fn power_known_for_a_part_is_claimed_for_no_other(truck in truck(), (speeds, steps) in drive()) {
        let half = speeds.len() / 2;
        let power = (0..speeds.len()).map(|i| (i < half).then_some(10e3)).collect();
        let log = Log::new(&speeds, &steps).with("pack_power_w", power);
        let replay = log.replay(&truck, &ReplaySettings::default());
        let known_s: f64 = numbers(&tables::SEGMENTS, &replay.segments, "battery_measured_s")
            .into_iter().flatten().sum();
        let expected = (log.time_ns[half.max(1) - 1] - log.time_ns[0]) as f64 * 1e-9;
        prop_assert!((known_s - expected).abs() < 1e-6, "{known_s} {expected}");
    }

    #[test]
    fn garbage_does_not_panic(
        truck in truck(),
        rows in prop::collection::vec((prop::array::uniform14(garbage()), 1i64..20_000_000_000), 0..50),
    ) {
        let mut log = Log::default();
        let mut now = 0;
        for (_, step_ns) in &rows {
            log.time_ns.push(now);
            now += step_ns;
        }
        let names = [
            "speed_m_s", "altitude_m", "pack_power_w", "grade_frac", "wheel_force_n", "wind_speed_m_s", "wind_from_deg",
            "heading_deg", "humidity_frac", "air_pressure_pa", "mass_gross_kg", "refrigeration_power_w",
            "accelerator_pedal_frac", "brake_pedal_frac",
        ];
        for (at, name) in names.into_iter().enumerate() {
            log = log.with(name, rows.iter().map(|(values, _)| values[at]).collect());
        }
        match log.try_replay(&exactly(&truck), &ReplaySettings::default()) {
            Ok(replay) => {
                let booked: f64 =
                    numbers(&tables::SEGMENTS, &replay.segments, "duration_s").into_iter().flatten().sum();
                prop_assert!(booked <= now as f64 * 1e-9 + 1e-6);
            }
            Err(error) => prop_assert!(matches!(error, PhysicsError::Open { .. }), "{error}"),
        }
    }

    #[test]
    fn time_that_stands_still_or_runs_back_is_refused(
        truck in truck(),
        (speeds, steps) in drive(),
        at in 0.0..1.0f64,
        back_ns in 0i64..5_000_000_000,
    ) {
        let mut log = Log::new(&speeds, &steps);
        let row = 1 + ((speeds.len() - 1) as f64 * at) as usize % (speeds.len() - 1);
        log.time_ns[row] = log.time_ns[row - 1] - back_ns;
        let refused = log.try_replay(&exactly(&truck), &ReplaySettings::default()).err();
        prop_assert_eq!(refused, Some(PhysicsError::NotSorted { vehicle: "T1".to_owned(), row }));
    }

    #[test]
    fn logs_of_no_row_and_of_one_row_are_replayed(truck in truck(), speed in 0.0..30.0f64) {
        for log in [Log::default(), Log::new(&[speed], &[]).with("pack_power_w", known(&[5e3]))] {
            let replay = log.replay(&truck, &ReplaySettings::default());
            prop_assert_eq!(replay.trips.num_rows(), 0);
            prop_assert_eq!(replay.segments.num_rows(), 0);
            prop_assert_eq!(replay.braking_events.num_rows(), 0);
            prop_assert_eq!(replay.stops.num_rows(), 0);
            prop_assert_eq!(replay.charges.num_rows(), 0);
        }
    }
}

/// Up a steady hill of 3 % with an altitude that says nothing: tiles are the height, and say so.
#[test]
fn terrain_from_tiles_replaces_the_altitude() {
    let rows = 400;
    let height = |row: usize| 100.0 + 0.03 * 10.0 * row as f64;
    let wild = |row: usize| 500.0 + 40.0 * ((row * row) as f64).sin();
    let column = |of: &dyn Fn(usize) -> f64| (0..rows).map(|row| Some(of(row))).collect::<Vec<_>>();
    let log = Log::new(&vec![10.0; rows], &vec![1.0; rows])
        .with("altitude_m", column(&wild))
        .with("terrain_height_m", column(&height));
    let replay = log.replay(&plain(), &ReplaySettings::default());
    let view = BatchView::new(&tables::SEGMENTS, &replay.segments);
    let basis = view.texts("grade_basis").unwrap();
    assert!((0..view.rows()).all(|row| basis.value(row) == "tiles"));
    let grade: f64 =
        numbers(&tables::SEGMENTS, &replay.segments, "energy_grade_kwh").into_iter().flatten().sum();
    let expected = plain().mass_empty_kg * 9.806_65 * (height(rows - 1) - height(0)) / 3.6e6;
    assert!((grade / expected - 1.0).abs() < 0.02, "{grade} {expected}");
}

/// Two nodes on a straight road: segments are cut where it passes them, and named; no sum moves.
#[test]
fn nodes_cut_segments_and_move_no_sum() {
    let rows = 300;
    let lat = |row: usize| Some(47.0 + 10.0 * row as f64 / 111_132.0);
    let log = Log::new(&vec![10.0; rows], &vec![1.0; rows])
        .with("lat_deg", (0..rows).map(lat).collect())
        .with("lon_deg", vec![Some(8.0); rows]);
    let node = |name: &str, row: usize| Node {
        name: name.to_owned(),
        lat_deg: lat(row).unwrap(),
        lon_deg: 8.0,
        radius_m: 55.0,
    };
    let with = ReplaySettings { nodes: vec![node("mill", 60), node("quay", 200)], ..ReplaySettings::default() };
    let (cut, whole) = (log.replay(&plain(), &with), log.replay(&plain(), &ReplaySettings::default()));
    let view = BatchView::new(&tables::SEGMENTS, &cut.segments);
    let names: Vec<Option<&str>> =
        (0..view.rows()).map(|row| text_at(view.texts("node").unwrap(), row)).collect();
    let known: Vec<&str> = names.iter().flatten().copied().collect();
    assert_eq!(known, ["mill", "quay"]);
    let lengths = numbers(&tables::SEGMENTS, &cut.segments, "distance_m");
    let mill = names.iter().position(|name| *name == Some("mill")).unwrap();
    assert!((lengths[mill].unwrap() - 110.0).abs() < 11.0, "{lengths:?}");
    for column in ["distance_m", "energy_tractive_kwh", "energy_aero_kwh"] {
        let of = |batch| numbers(&tables::SEGMENTS, batch, column).into_iter().flatten().sum::<f64>();
        let (a, b) = (of(&cut.segments), of(&whole.segments));
        assert!((a - b).abs() <= 1e-12 * b.abs(), "{column}: {a} {b}");
    }
}
