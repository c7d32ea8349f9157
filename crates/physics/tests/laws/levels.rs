//! Levels fitted from made drives whose law is known; what does not tell gives no fit.

use backwatt_physics::{Blending, LiftOff, Losses, Replay, ReplaySettings, Truck};
use backwatt_schema::{BatchView, tables, text_at};

use super::made::{Log, exactly, known, numbers, plain};

/// What a made truck truly does, other than its sheet says.
const LIFT_OFF_N: f64 = 5e3;
const FADE_START_M_S: f64 = 1.5;
const FADE_END_M_S: f64 = 6.0;
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
