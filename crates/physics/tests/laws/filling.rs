//! Speed drawn between slow samples: what a draw must meet, and what the ledger keeps of it.

use std::sync::Arc;

use backwatt_physics::kernels::filling::{DRAWS, Gap, Travelled, draw, fit};
use backwatt_physics::{Library, Origin, Replay, ReplaySettings, Trace, scenarios};
use backwatt_schema::tables::{self, CASCADE, GAINS};
use proptest::prelude::*;

use super::made::{Log, cases, exactly, known, numbers, plain, sum, truck};

/// Rounding, over the size of what was added up.
const SHARE: f64 = 1e-9;

/// A made drive, second by second: rises, cruises, brakes and stands, by a recipe of its own for each seed. [m/s]
fn made_drive(seed: u64, seconds: usize) -> Vec<f64> {
    let mut state = seed.wrapping_mul(2).wrapping_add(1);
    let mut next = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let (mut speed, mut wanted, mut speeds) = (0.0_f64, 0.0_f64, Vec::with_capacity(seconds));
    for second in 0..seconds {
        if second % 17 == 0 {
            wanted = if next() < 0.35 { 0.0 } else { 22.0 * next() };
        }
        speeds.push(speed);
        speed = (speed + (wanted - speed).clamp(-1.8, 1.1)).max(0.0);
    }
    speeds
}

fn library(seed: u64) -> Library {
    let traces: Vec<Trace> = (0..4).map(|at| made_drive(seed + 100_000 * at, 900).into()).collect();
    Library::new("made drives".to_owned(), Origin::OwnFleet, &traces)
}

fn with_library() -> ReplaySettings {
    ReplaySettings { library: Some(Arc::new(library(7))), ..ReplaySettings::default() }
}

fn gap() -> impl Strategy<Value = Gap> {
    let speed = || prop_oneof![1 => Just(0.0), 4 => 0.0..32.0f64];
    let way = prop::option::of((0.0..2000.0f64, prop_oneof![Just(0.0), 0.1..40.0f64]));
    let neighbours = (prop::option::of(speed()), prop::option::of(speed()));
    let level = prop::option::of(0.0..2.0f64);
    (1.6..60.0f64, speed(), speed(), neighbours, way, level).prop_map(
        |(duration_s, start, end, (before, after), way, lift_off_m_s2)| Gap {
            duration_s,
            start_m_s: start,
            end_m_s: end,
            before_m_s: before,
            after_m_s: after,
            travelled: way.map(|(distance_m, sd_m)| Travelled { distance_m, sd_m }),
            lift_off_m_s2,
        },
    )
}

fn way_m(speeds: &[f64], duration_s: f64) -> f64 {
    let step_s = duration_s / (speeds.len() - 1) as f64;
    speeds.windows(2).map(|w| f64::midpoint(w[0], w[1]) * step_s).sum()
}

/// A slow log of a made drive, a sample every so many seconds, on a road that rises and falls.
fn slow_log(seed: u64, every_s: usize) -> Log {
    let speeds: Vec<f64> = made_drive(seed, 1200).into_iter().step_by(every_s).collect();
    let grades = (0..speeds.len()).map(|i| Some(0.03 * (i as f64 * 0.3).sin())).collect();
    Log::new(&speeds, &vec![every_s as f64; speeds.len() - 1]).with("grade_frac", grades)
}

fn of(replay: &Replay, name: &str) -> Vec<Option<f64>> {
    numbers(&tables::SEGMENTS, &replay.segments, name)
}

proptest! {
    #![proptest_config(cases(64))]

    #[test]
    fn a_draw_meets_ends_and_way_and_never_reverses(gap in gap(), time_ns in any::<i64>()) {
        let library = library(3);
        let Some(drawn) = draw(&library, &gap, "T1", time_ns) else {
            // 1.5 to 60 s are asked for, so only a library without such windows may refuse.
            prop_assert!(false, "nothing drawn for {gap:?}");
            return Ok(());
        };
        for at in 0..DRAWS {
            let wanted_m = drawn.ways_m.map(|ways_m| ways_m[2 * at / DRAWS]);
            let speeds = fit(&library, drawn.windows[at], &gap, wanted_m);
            prop_assert!(speeds.iter().all(|speed| *speed >= 0.0 && speed.is_finite()), "{speeds:?}");
            prop_assert_eq!((speeds[0], speeds[speeds.len() - 1]), (gap.start_m_s, gap.end_m_s));
            let Some(wanted_m) = wanted_m else { continue };
            // Below the way of standing between the ends nothing can be met; then nothing moves in between.
            let step_s = gap.duration_s / (speeds.len() - 1) as f64;
            let least_m = (gap.start_m_s + gap.end_m_s) / 2.0 * step_s;
            let met_m = way_m(&speeds, gap.duration_s);
            prop_assert!((met_m - wanted_m.max(least_m)).abs() < 1e-6 * (1.0 + met_m), "{met_m} m for {wanted_m} m");
        }
        if let (Some(ways_m), Some(way)) = (drawn.ways_m, gap.travelled) {
            prop_assert!(way.sd_m > 0.0 || ways_m == [way.distance_m; 2], "an exact distance stands: {ways_m:?}");
            // What the ends say narrows the distance, and never widens it.
            prop_assert!(ways_m[1] - ways_m[0] <= 2.0 * way.sd_m + 1e-9, "{ways_m:?}");
        }
    }

    #[test]
    fn a_draw_depends_on_vehicle_and_instant_alone(gaps in prop::collection::vec((gap(), any::<i64>()), 1..20)) {
        let (one, other) = (library(3), library(3));
        let forwards: Vec<_> = gaps.iter().map(|(gap, at)| draw(&one, gap, "T1", *at)).collect();
        let mut backwards: Vec<_> = gaps.iter().rev().map(|(gap, at)| draw(&other, gap, "T1", *at)).collect();
        backwards.reverse();
        prop_assert_eq!(forwards, backwards);
    }

    #[test]
    fn both_sides_of_every_imputed_segment_agree(truck in truck(), seed in 0..1000u64, every_s in 2..40usize) {
        let log = slow_log(seed, every_s);
        let drawn = log.replay(&truck, &with_library());
        let (tractive, braking) = (of(&drawn, "energy_tractive_kwh"), of(&drawn, "energy_braking_kwh"));
        let accounts = ["energy_kinetic_kwh", "energy_grade_kwh", "energy_rolling_kwh", "energy_aero_kwh"]
            .map(|name| of(&drawn, name));
        let (cascade, gains) = (CASCADE.map(|name| of(&drawn, name)), GAINS.map(|name| of(&drawn, name)));
        for row in 0..drawn.segments.num_rows() {
            let (out, back) = (tractive[row].unwrap(), braking[row].unwrap());
            let total: f64 = accounts.iter().map(|account| account[row].unwrap_or(0.0)).sum();
            let size = SHARE * (out + back) + 1e-9;
            prop_assert!((total - (out - back)).abs() < size, "row {row}: {total} {out} {back}");
            let split: f64 = cascade.iter().map(|part| part[row].unwrap()).sum();
            prop_assert!((split - back).abs() < size, "row {row}: cascade {split} of {back}");
            let recoverable = cascade[CASCADE.len() - 1][row].unwrap();
            let gained: f64 = gains.iter().map(|gain| gain[row].unwrap()).sum();
            prop_assert!((recoverable + gained - back).abs() < size, "row {row}: gains");
        }
        // Time, and what goes by time, is the samples'.
        let line = log.replay(&truck, &ReplaySettings::default());
        for name in ["duration_s", "moving_s", "energy_auxiliary_kwh"] {
            let (a, b) = (sum(&drawn, name), sum(&line, name));
            prop_assert!((a - b).abs() <= SHARE * (1.0 + b), "{name}: {a} {b}");
        }
        // The change of kinetic energy is that of the samples, however it was driven.
        let (a, b) = (sum(&drawn, "energy_kinetic_kwh"), sum(&line, "energy_kinetic_kwh"));
        prop_assert!((a - b).abs() < SHARE * (1.0 + b.abs()) + 1e-2, "kinetic {a} {b}");
    }

    #[test]
    fn hostile_logs_are_drawn_without_panic(
        rows in prop::collection::vec((prop_oneof![Just(0.0), 0.0..60.0f64], 0.1..90.0f64), 2..60),
        odometer in prop::collection::vec(prop::option::of(-1e6..1e6f64), 60),
        places in prop::collection::vec(prop::option::of((-90.0..90.0f64, -180.0..180.0f64)), 60),
    ) {
        let (speeds, steps): (Vec<f64>, Vec<f64>) = rows.into_iter().unzip();
        let count = speeds.len();
        let log = Log::new(&speeds, &steps)
            .with("odometer_m", odometer[..count].to_vec())
            .with("lat_deg", places[..count].iter().map(|p| p.map(|p| p.0)).collect())
            .with("lon_deg", places[..count].iter().map(|p| p.map(|p| p.1)).collect());
        let replay = log.try_replay(&exactly(&plain()), &with_library());
        prop_assert!(replay.is_ok(), "{replay:?}");
    }
}

#[test]
fn a_fast_log_is_not_filled() {
    let speeds = made_drive(5, 600);
    let log = Log::new(&speeds, &vec![1.0; 599]);
    let (with, without) =
        (log.replay(&plain(), &with_library()), log.replay(&plain(), &ReplaySettings::default()));
    assert_eq!(with.segments, without.segments);
    assert_eq!(with.trips, without.trips);
}

#[test]
fn draws_bring_back_what_lines_lose() {
    let (mut truth, mut line, mut drawn) = (0.0, 0.0, 0.0);
    let traces: Vec<Trace> = (0..40).map(|at| made_drive(at, 1200).into()).collect();
    let library = Arc::new(Library::new("made drives".to_owned(), Origin::OwnFleet, &traces));
    let settings = ReplaySettings { library: Some(library), ..ReplaySettings::default() };
    for seed in 1000..1010 {
        let speeds = made_drive(seed, 1201);
        truth +=
            sum(&Log::new(&speeds, &vec![1.0; 1200]).replay(&plain(), &ReplaySettings::default()), BRAKING);
        let slow: Vec<f64> = speeds.into_iter().step_by(10).collect();
        let log = Log::new(&slow, &[10.0; 120]);
        line += sum(&log.replay(&plain(), &ReplaySettings::default()), BRAKING);
        drawn += sum(&log.replay(&plain(), &settings), BRAKING);
    }
    println!("braking every second {truth:.3} kWh, lines over 10 s {line:.3} kWh, drawn {drawn:.3} kWh");
    assert!(line < 0.9 * truth, "{line} {truth}");
    assert!((drawn / truth - 1.0).abs() < 0.05, "{drawn} {truth}");
}

const BRAKING: &str = "energy_braking_kwh";

#[test]
fn an_imputed_trip_says_so() {
    let speeds: Vec<f64> = made_drive(1000, 1201).into_iter().step_by(10).collect();
    let replay = Log::new(&speeds, &[10.0; 120]).replay(&plain(), &with_library());
    let trip = |name: &str| numbers(&tables::TRIPS, &replay.trips, name)[0];
    let text = |name: &str| {
        let view = backwatt_schema::BatchView::new(&tables::TRIPS, &replay.trips);
        view.texts(name).unwrap().value(0).to_owned()
    };
    assert_eq!((text("braking_claim").as_str(), text("speed_library").as_str()), ("imputed", "made drives"));
    let [low, sum, high] =
        ["energy_braking_low_kwh", BRAKING, "energy_braking_high_kwh"].map(|name| trip(name).unwrap());
    assert!(low < sum && sum < high);
    // What scales sums by the middle of the band must leave them alone.
    assert!((f64::midpoint(low, high) / sum - 1.0).abs() < 1e-12);
    let sd = trip("energy_braking_imputation_sd_kwh").unwrap();
    let mismatch = Origin::OwnFleet.mismatch_frac(10.0) * sum;
    assert!(
        ((high - sum) - 1.644_853_626_951_472_6 * sd.hypot(mismatch)).abs() < 1e-9,
        "draws and the library's mismatch at 10 s"
    );
}

#[test]
fn a_steady_drive_stays_steady() {
    let library = Library::new(
        "steady".to_owned(),
        Origin::OwnFleet,
        &[[vec![0.0], vec![15.0; 300], vec![0.0]].concat().into()],
    );
    let settings = ReplaySettings { library: Some(Arc::new(library)), ..ReplaySettings::default() };
    let log = Log::new(&[15.0; 31], &[10.0; 30])
        .with("odometer_m", known(&Vec::from_iter((0..31).map(|k| f64::from(k) * 150.0))));
    let replay = log.replay(&plain(), &settings);
    assert!(sum(&replay, BRAKING).abs() < 1e-9);
    assert!((sum(&replay, "distance_m") - 4500.0).abs() < 1e-6);
}

/// The same trips as one long log and as two short ones: of the short ones all draws are driven, of the long one two for
/// each gap, and the energies of some 2,500 gaps come out alike.
#[test]
fn a_long_log_needs_fewer_draws() {
    let (trips, seconds, every_s) = (42, 600, 10);
    let (mut speeds, mut steps) = (Vec::new(), Vec::new());
    for trip in 0..trips {
        let own = made_drive(1000 + trip, seconds);
        speeds.extend(own.into_iter().step_by(every_s));
        steps.resize(speeds.len() - 1, every_s as f64);
        steps.push(900.0);
    }
    let log = Log::new(&speeds, &steps[..speeds.len() - 1]);
    let half = speeds.len() / 2;
    let sheet = exactly(&plain());
    let energies = |log: &Log| {
        let found = scenarios("T1", &log.batch(), &sheet, &[], &with_library()).unwrap();
        let sum = |name| numbers(&tables::SCENARIOS, &found, name).into_iter().flatten().sum::<f64>();
        (found.num_rows(), ["energy_driving_kwh", "energy_recovered_kwh"].map(sum))
    };
    let (whole, first, second) =
        (energies(&log), energies(&log.part(0, half - 1)), energies(&log.part(half, speeds.len() - 1)));
    assert_eq!((whole.0, first.0, second.0), (42, 21, 21));
    for at in 0..2 {
        let (long, short) = (whole.1[at], first.1[at] + second.1[at]);
        println!("{long:.3} kWh by two draws, {short:.3} kWh by eight");
        assert!(long != short && (long - short).abs() < 0.01 * short, "{long} {short}");
    }
}
