//! Levels fitted from made drives whose law is known; what does not tell gives no fit.

use backwatt_physics::kernels::loss_map::LossMap;
use backwatt_physics::kernels::losses::Coefficients;
use backwatt_physics::{Blending, LiftOff, Losses, Replay, ReplaySettings, Sheet, SpeedReading, Truck};
use backwatt_schema::{BatchView, Kind, tables, text_at};
use proptest::prelude::*;

use super::edges::garbage;
use super::made::{Log, cases, exactly, known, numbers, plain, truck};

/// What a made truck truly does, other than its sheet says.
const LIFT_OFF_N: f64 = 5e3;
const FADE_START_M_S: f64 = 1.6;
const FADE_END_M_S: f64 = 5.9;
/// Road load of the made truck: rolling and air. [N], [N/(m/s)²]
const ROLLING_N: f64 = 500.0;
const AIR_KG_M: f64 = 3.0;
const AUX_W: f64 = 800.0;
const STEP_S: f64 = 0.1;
const TRUCKS: u64 = 30;

/// A stream of numbers between 0 and 1, the same every time. Multiplier of Knuth's MMIX, from memory.
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Sum of twelve, about normal, of standard deviation 1.
    fn noise(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() - 6.0
    }
}

/// A drive logged once a second.
#[derive(Default)]
struct Drive {
    time_s: f64,
    speed: f64,
    regen_n: f64,
    rows: Vec<[f64; 4]>,
}

impl Drive {
    /// One step with a force of the motor at the wheels asked for (negative brakes) and the pedals as given.
    fn step(&mut self, mass_kg: f64, force_n: f64, friction_n: f64, accelerator: f64, truth: &mut Numbers) {
        // Regen takes half a second to come.
        self.regen_n += (force_n.min(0.0) - self.regen_n).clamp(-1e3, 1e3);
        let motor_n = if force_n < 0.0 { self.regen_n } else { force_n };
        if ((self.time_s / STEP_S).round() as u64).is_multiple_of(10) {
            let wheel_w = motor_n * self.speed;
            let battery_w = if wheel_w > 0.0 { wheel_w / 0.86 } else { wheel_w * 0.86 };
            let noise = 50.0 + 0.03 * battery_w.abs();
            self.rows.push([
                (self.speed + 0.02 * truth.noise()).max(0.0) * f64::from(self.speed > 0.0),
                AUX_W + battery_w + noise * truth.noise(),
                accelerator,
                if friction_n > 0.0 { 0.2 } else { 0.0 },
            ]);
        }
        let road_n = ROLLING_N + AIR_KG_M * self.speed * self.speed;
        self.speed = (self.speed + (motor_n - friction_n - road_n) / (mass_kg + 330.0) * STEP_S).max(0.0);
        self.time_s += STEP_S;
    }

    fn log(&self) -> Log {
        let column = |at: usize| known(&self.rows.iter().map(|row| row[at]).collect::<Vec<_>>());
        let speeds: Vec<f64> = self.rows.iter().map(|row| row[0]).collect();
        Log::new(&speeds, &vec![1.0; speeds.len()])
            .with("pack_power_w", column(1))
            .with("accelerator_pedal_frac", column(2))
            .with("brake_pedal_frac", column(3))
    }
}

/// Stops by lifting off, a third of them helped by the pedal, under a lift-off force as given.
fn made(seed: u64, mass_kg: f64, lift_off_n: f64, stops: usize, braked_below: f64) -> Drive {
    let mut truth = Numbers(seed);
    let mut drive = Drive::default();
    for _ in 0..stops {
        let top = 7.0 + 6.0 * truth.next();
        while drive.speed < top {
            drive.step(mass_kg, 9e3, 0.0, 0.5, &mut truth);
        }
        for _ in 0..(50.0 + 100.0 * truth.next()) as usize {
            let road_n = ROLLING_N + AIR_KG_M * drive.speed * drive.speed;
            drive.step(mass_kg, road_n, 0.0, 0.2, &mut truth);
        }
        let brakes_at = if truth.next() < 0.3 { 10.0 * truth.next() } else { 0.0 }.max(braked_below);
        while drive.speed > 0.0 {
            let fade = ((drive.speed - FADE_START_M_S) / (FADE_END_M_S - FADE_START_M_S)).clamp(0.0, 1.0);
            let friction_n = if drive.speed < brakes_at { 6e3 } else { 0.0 };
            drive.step(mass_kg, -lift_off_n * fade.max(1e-9), friction_n, 0.0, &mut truth);
        }
        for _ in 0..100 {
            drive.step(mass_kg, 0.0, 1e4, 0.0, &mut truth);
        }
    }
    drive
}

fn fits(replay: &Replay, name: &str) -> Vec<Option<f64>> {
    numbers(&tables::LEVEL_FITS, &replay.level_fits, name)
}

fn texts(replay: &Replay, name: &str) -> Vec<Option<String>> {
    let array = BatchView::new(&tables::LEVEL_FITS, &replay.level_fits).texts(name).unwrap();
    (0..replay.level_fits.num_rows()).map(|row| text_at(array, row).map(str::to_owned)).collect()
}

fn basis(replay: &Replay) -> Vec<String> {
    texts(replay, "basis").into_iter().flatten().collect()
}

/// The truth lies in nine intervals of ten; thirty made trucks leave room for chance.
#[test]
fn the_truth_lies_in_the_interval() {
    let truths = [
        ("lift_off", "n", LIFT_OFF_N),
        ("fade_start", "m_s", FADE_START_M_S),
        ("fade_end", "m_s", FADE_END_M_S),
    ];
    let mut inside = [0; 3];
    let mut off = [0.0; 3];
    for seed in 0..TRUCKS {
        let log = made(seed, 6600.0, LIFT_OFF_N, 120, 0.5).log();
        let replay = log.replay(&plain(), &ReplaySettings::default());
        assert_eq!(basis(&replay), ["fitted"], "truck {seed}");
        for (at, (name, unit, truth)) in truths.into_iter().enumerate() {
            let of = |end: &str| fits(&replay, &format!("{name}{end}_{unit}"))[0].unwrap();
            inside[at] += u32::from(of("_low") <= truth && truth <= of("_high"));
            off[at] += (of("") - truth) / TRUCKS as f64;
        }
    }
    println!("inside {inside:?} of {TRUCKS}, mean error {off:?}");
    assert!(inside.iter().all(|count| *count >= 24), "{inside:?}, off by {off:?}");
    assert!(off[0].abs() < 0.02 * LIFT_OFF_N && off[1].abs() < 0.25 && off[2].abs() < 0.25, "{off:?}");
}

/// One truck whose level is known to be fitted, as a log.
fn telling() -> Log {
    made(3, 6600.0, LIFT_OFF_N, 60, 0.5).log()
}

fn without(mut log: Log, name: &str) -> Log {
    log.columns.retain(|(column, _)| *column != name);
    log
}

fn why(log: &Log, truck: &Truck) -> Vec<String> {
    let replay = log.replay(truck, &ReplaySettings::default());
    for name in ["lift_off_n", "lift_off_low_n", "lift_off_m_s2", "fade_start_m_s", "fade_end_high_m_s"] {
        assert!(fits(&replay, name).iter().all(Option::is_none), "{name} without a fit");
    }
    basis(&replay)
}

#[test]
fn without_the_signals_there_is_no_fit_and_the_table_says_why() {
    let log = telling();
    let parallel = Truck { blending: Blending::Parallel { pedal_share: 0.5 }, ..plain() };
    assert_eq!(basis(&log.replay(&parallel, &ReplaySettings::default())), ["fitted"]);
    assert_eq!(why(&without(log.clone(), "accelerator_pedal_frac"), &plain()), ["no accelerator logged"]);
    assert_eq!(why(&without(log.clone(), "pack_power_w"), &plain()), ["no battery power logged"]);
    let no_brake = without(log.clone(), "brake_pedal_frac");
    assert_eq!(why(&no_brake, &parallel), ["no brake pedal logged"]);
    // Where the pedal works friction brakes alone regen is the same with and without it.
    assert_eq!(basis(&no_brake.replay(&plain(), &ReplaySettings::default())), ["fitted"]);
    let open = Truck { default_level: None, levels: [plain().levels, plain().levels].concat(), ..plain() };
    assert_eq!(why(&log, &open), ["level unknown"]);
    assert_eq!(why(&log.part(0, 150), &plain()), ["too few samples"]);
    let rows = log.time_ns.len();
    let pressed =
        without(log.clone(), "accelerator_pedal_frac").with("accelerator_pedal_frac", vec![Some(0.4); rows]);
    assert_eq!(why(&pressed, &plain()), ["accelerator never released"]);
    let mut slow = log.clone();
    slow.time_ns = (0..rows as i64).map(|row| row * 3_000_000_000).collect();
    assert_eq!(why(&slow, &plain()), ["log too slow"]);
}

/// A battery that takes no more than the level gives holds the pull down: the level is not what is measured.
#[test]
fn a_limit_that_binds_is_no_level() {
    let log = telling();
    let weak = Truck { motor_force_max_n: 4.9e3, ..plain() };
    assert_eq!(why(&log, &weak), ["a limit binds"]);
    // 30 kW at the motor bind above 5.5 m/s: the ramp is seen, lift-off only from below.
    let replay = log.replay(&Truck { motor_power_max_w: 30e3, ..plain() }, &ReplaySettings::default());
    assert_eq!(basis(&replay), ["bounded"]);
    assert_eq!(fits(&replay, "lift_off_n"), [None]);
    assert!(fits(&replay, "lift_off_low_n")[0].unwrap() < LIFT_OFF_N);
    assert!(fits(&replay, "lift_off_high_n")[0].is_none_or(|high| high > LIFT_OFF_N));
}

/// Whatever the losses, their inverse gives the force back.
#[test]
fn every_law_of_losses_is_undone() {
    let coefficients = Losses::Coefficients(Coefficients {
        gear_efficiency: 0.95,
        idle_w: 300.0,
        per_speed_n: 60.0,
        per_speed_squared_kg_s: 3.0,
        load_squared_w_per_n2: 4e-5,
    });
    let forces = vec![-12e3, -6e3, 0.0, 12e3];
    let speeds = vec![0.0, 10.0, 20.0];
    let grid =
        forces.iter().flat_map(|f: &f64| speeds.iter().map(move |v| 200.0 + 50.0 * v + 5e-5 * f * f)).collect();
    let map = Losses::Map { gear_efficiency: 0.96, map: LossMap::new(forces, speeds, grid).unwrap() };
    for losses in [coefficients, map] {
        let truck = Truck { losses: losses.clone(), ..plain() };
        let (mut speeds, mut power, mut accelerator) = (vec![], vec![], vec![]);
        for stop in 0..40 {
            for second in 0..40 {
                let releasing = second >= 12;
                let speed = if releasing {
                    14.0 - 0.5 * f64::from(second - 12)
                } else {
                    f64::from(second) * 14.0 / 12.0
                };
                let speed = (speed + 0.01 * f64::from(stop)).max(0.0);
                let pull =
                    LIFT_OFF_N * ((speed - FADE_START_M_S) / (FADE_END_M_S - FADE_START_M_S)).clamp(0.0, 1.0);
                let back = if releasing { losses.returned(pull, speed) } else { -losses.drawn(6e3, speed) };
                speeds.push(speed);
                power.push(Some(AUX_W - back));
                accelerator.push(Some(if releasing { 0.0 } else { 0.5 }));
            }
        }
        let log = Log::new(&speeds, &vec![1.0; speeds.len()])
            .with("pack_power_w", power)
            .with("accelerator_pedal_frac", accelerator);
        let settings = ReplaySettings { speed: SpeedReading::AsLogged, ..ReplaySettings::default() };
        let replay = log.replay(&truck, &settings);
        let of = |name: &str| fits(&replay, name)[0].unwrap_or(f64::NAN);
        assert!((of("lift_off_n") - LIFT_OFF_N).abs() < 0.01 * LIFT_OFF_N, "{} {losses:?}", of("lift_off_n"));
        assert!((of("fade_start_m_s") - FADE_START_M_S).abs() <= 0.25, "{} {losses:?}", of("fade_start_m_s"));
        assert!((of("fade_end_m_s") - FADE_END_M_S).abs() <= 0.25, "{} {losses:?}", of("fade_end_m_s"));
    }
}

/// A truck that drives half of its days loaded: a level that holds a deceleration pulls the heavier truck harder, one
/// that holds a force does not, and either is one level.
#[test]
fn a_level_holds_what_the_sheet_says_it_holds() {
    for holds_force in [true, false] {
        let pull =
            |mass_kg: f64| if holds_force { LIFT_OFF_N } else { LIFT_OFF_N * (mass_kg + 330.0) / 6930.0 };
        let (mut light, heavy) =
            (made(5, 6600.0, pull(6600.0), 40, 0.5), made(6, 9000.0, pull(9000.0), 40, 0.5));
        let loads = [light.rows.len(), heavy.rows.len()];
        light.rows.extend(&heavy.rows);
        let payload = [vec![Some(0.0); loads[0]], vec![Some(2400.0); loads[1]]].concat();
        let log = light.log().with("payload_kg", payload);
        let mut truck = plain();
        if holds_force {
            truck.levels[0].lift_off = LiftOff::Force { n: 4e3 };
        }
        let replay = log.replay(&truck, &ReplaySettings::default());
        let of = |name: &str| fits(&replay, name)[0].unwrap_or(f64::NAN);
        let (found, truth) = if holds_force {
            (of("lift_off_n"), LIFT_OFF_N)
        } else {
            (of("lift_off_m_s2"), LIFT_OFF_N / 6930.0)
        };
        assert!((found / truth - 1.0).abs() < 0.02, "{found} {truth}");
        assert!(of("mass_kg") > 7000.0 && of("mass_kg") < 8600.0);
        let sheet = if holds_force { of("lift_off_sheet_n") - 4e3 } else { of("lift_off_sheet_m_s2") - 1.0 };
        assert!(sheet.abs() < 1e-9, "{sheet}");
    }
}

/// Two levels in one log are two rows; one that the sheet does not know has nothing of the sheet beside it.
#[test]
fn every_level_has_its_row() {
    let (mut strong, weak) = (made(7, 6600.0, LIFT_OFF_N, 50, 0.5), made(8, 6600.0, 2e3, 50, 0.5));
    let named = [vec![Some("LEVEL"); strong.rows.len()], vec![Some("soft"); weak.rows.len()]].concat();
    strong.rows.extend(&weak.rows);
    let log = strong.log().saying("regen_level", named);
    let replay = log.replay(&plain(), &ReplaySettings::default());
    let names: Vec<String> = texts(&replay, "regen_level").into_iter().flatten().collect();
    assert_eq!(names, ["level", "soft"]);
    assert_eq!(texts(&replay, "level_basis"), [Some("logged".to_owned()), Some("logged".to_owned())]);
    let lift_off: Vec<f64> = fits(&replay, "lift_off_n").into_iter().flatten().collect();
    assert!(
        (lift_off[0] / LIFT_OFF_N - 1.0).abs() < 0.02 && (lift_off[1] / 2e3 - 1.0).abs() < 0.03,
        "{lift_off:?}"
    );
    assert_eq!(fits(&replay, "fade_end_sheet_m_s"), [Some(3.0), None]);
}

/// A cruise control drives with the accelerator released; that is no lift-off.
#[test]
fn a_cruise_control_is_no_lift_off() {
    let mut log = telling();
    let driven = log.columns[1].1.clone();
    let accelerator = log.columns.iter_mut().find(|(name, _)| *name == "accelerator_pedal_frac").unwrap();
    for (pedal, power) in accelerator.1.iter_mut().zip(driven) {
        if power.is_some_and(|power| power > 4e3 && power < 20e3) {
            *pedal = Some(0.0);
        }
    }
    let replay = log.replay(&plain(), &ReplaySettings::default());
    let lift_off = fits(&replay, "lift_off_n")[0].unwrap();
    assert!((lift_off / LIFT_OFF_N - 1.0).abs() < 0.02, "{lift_off}");
}

/// What the sheet leaves open in its losses is in the interval.
#[test]
fn the_ends_of_the_sheet_widen_the_interval() {
    let log = telling();
    let mut sheet = exactly(&plain());
    let width = |sheet: &Sheet| {
        let replay = log.try_replay(sheet, &ReplaySettings::default()).unwrap();
        let [low, high] = ["lift_off_low_n", "lift_off_high_n"].map(|name| fits(&replay, name)[0].unwrap());
        (low, high)
    };
    let exact = width(&sheet);
    sheet.low.losses = Losses::Constant { efficiency: 0.80 };
    sheet.high.losses = Losses::Constant { efficiency: 0.92 };
    let open = width(&sheet);
    assert!(
        (open.0 / exact.0 - 0.86 / 0.92).abs() < 0.02 && (open.1 / exact.1 - 0.86 / 0.80).abs() < 0.02,
        "{open:?}"
    );
}

proptest! {
    #![proptest_config(cases(32))]

    /// Long logs of anything, pedals released: a row of numbers in order, or a reason, and no panic.
    #[test]
    fn garbage_gives_a_row_or_a_reason(
        truck in truck(),
        rows in prop::collection::vec(prop::array::uniform5(garbage()), 150..400),
        wild in any::<bool>(),
    ) {
        let column = |at: usize, from: f64, to: f64| -> Vec<Option<f64>> {
            rows.iter().map(|row| if wild { row[at] } else { row[at].map(|value| value.clamp(from, to)) }).collect()
        };
        let log = Log::new(&vec![0.0; rows.len()], &vec![1.0; rows.len()]);
        let log = Log { columns: vec![("speed_m_s", column(0, 0.0, 30.0))], ..log }
            .with("pack_power_w", column(1, -1e5, 0.0))
            .with("accelerator_pedal_frac", column(2, 0.0, 0.005))
            .with("brake_pedal_frac", column(3, 0.0, 0.005))
            .with("mass_gross_kg", column(4, 1e3, 3e4));
        // What overflows leaves no replay at all.
        let Ok(replay) = log.try_replay(&exactly(&truck), &ReplaySettings::default()) else { return Ok(()) };
        for column in tables::LEVEL_FITS.columns.iter().filter(|column| column.kind == Kind::F64) {
            let values = fits(&replay, column.name);
            prop_assert!(values.iter().flatten().all(|v| v.is_finite() && *v >= 0.0), "{}: {values:?}", column.name);
        }
        for (name, unit) in [("lift_off", "n"), ("fade_start", "m_s"), ("fade_end", "m_s")] {
            let of = |end: &str| fits(&replay, &format!("{name}{end}_{unit}"));
            for ((value, low), high) in of("").into_iter().zip(of("_low")).zip(of("_high")) {
                prop_assert!(low <= high || high.is_none(), "{name} {low:?} {high:?}");
                prop_assert!(value.is_none() || (low <= value && value <= high), "{name} {low:?} {value:?} {high:?}");
            }
        }
    }
}
