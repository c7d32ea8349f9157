//! A trial pilot: one truck whose truth is known, and a pilot file that is wrong about it by stated factors.
//! Many of them, seeded, show whether an analysis of the logs keeps what its intervals promise.

use std::path::Path;

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::drive::battery::PACK_ENERGY_KWH;
use crate::drive::truck::ROLLING_PER_K;
use crate::error::{DemoError, make_folder, write_file};
use crate::fleet::drivers::{DRIVERS, FIRST};
use crate::fleet::roster::Shift;
use crate::fleet::trucks::{BatterySignal, HARBOUR, Truck};
use crate::fleet::types::{LIGHT, MEDIUM};
use crate::out::truck_logs::{Setting, TruckLogs};
use crate::out::{pilot_file, sheets, truck_logs, truth};
use crate::place::routes;
use crate::{Made, place};

/// The truck that a trial is about.
pub const TRUCK: &str = "T1";
/// The fast truck beside it, where there is one.
pub const COMPANION: &str = "L1";

/// Weeks of weather to choose the days from.
const WEEKS: usize = 8;
/// Standard deviation of three sines of amplitude one.
const THREE_WAVES_SD: f64 = 1.224_745;

/// Which true truck.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Base {
    /// Its brake pedal works the friction brakes only.
    Light,
    /// Its brake pedal adds regen in parallel.
    Medium,
}

/// What is driven, what is logged, and what the pilot file says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trial {
    pub base: Base,
    /// Working days in a row.
    pub days: usize,
    pub period_s: u32,
    pub soc_step_pct: f64,
    /// Pack voltage and current are logged.
    pub has_pack_power: bool,
    pub has_payload_column: bool,
    pub has_level_column: bool,
    /// Standard deviation of the error of logged height: half of its variance in slow waves, half forgotten in a minute.
    pub height_drift_m: f64,
    /// A truck of the same type beside it: other drivers, a row a second, no pack current.
    pub has_fast_companion: bool,
    pub sheet: SheetSays,
}

/// What the sheet in the pilot file says. Factors are the true value over the sheet's, so that a range given about
/// the sheet's value holds the truth as long as the factor lies in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SheetSays {
    pub mass_factor: f64,
    /// Against the mean over the distance driven.
    pub payload_factor: f64,
    /// Ends of the payload about the sheet's value, and how sure the sheet is of the rest.
    pub payload_range_frac: f64,
    pub drag_area_range_frac: f64,
    pub rolling_range_frac: f64,
    pub capacity_range_frac: f64,
    pub drag_area_factor: f64,
    /// Against the coefficient at the mean temperature of the days driven.
    pub rolling_factor: f64,
    /// Against what is usable now, wear included.
    pub capacity_factor: f64,
    /// The one efficiency that stands on the sheet for losses that in truth depend on load.
    pub motor_efficiency: f64,
    pub is_blending_stated: bool,
}

impl SheetSays {
    /// A sheet that is right, but for its one efficiency and what it rounds.
    pub const RIGHT: SheetSays = SheetSays {
        mass_factor: 1.0,
        payload_factor: 1.0,
        payload_range_frac: 0.02,
        drag_area_range_frac: 0.02,
        rolling_range_frac: 0.02,
        capacity_range_frac: 0.02,
        drag_area_factor: 1.0,
        rolling_factor: 1.0,
        capacity_factor: 1.0,
        motor_efficiency: 0.90,
        is_blending_stated: true,
    };
}

/// Writes a trial pilot into `dir`: logs, pilot file and truth. The same trial and seed give the same bytes.
pub fn write(dir: &Path, trial: &Trial, seed: u64) -> Result<Made, DemoError> {
    make_folder(dir)?;
    let fleet = fleet(trial, seed);
    let routes = routes::all();
    let setting = Setting { root: dir, seed, fleet: &fleet, routes: &routes, planned: &[] };
    let logs: Vec<TruckLogs> = (0..fleet.len())
        .map(|truck| truck_logs::write(&setting, &shifts(trial.days, truck, seed), &|| {}))
        .collect::<Result<_, _>>()?;
    let truth_dir = dir.join("truth");
    truth::write(&truth_dir, &fleet, &routes, &logs)?;
    let pilot_file = dir.join("pilot.toml");
    let text = pilot_file::trial_text(&sheet(trial, &fleet[0], &logs[0]), &fleet);
    write_file(&pilot_file, text.as_bytes())?;
    Ok(Made {
        pilot_file,
        truth_dir,
        log_files: logs.iter().map(|own| own.files).sum(),
        rows: logs.iter().map(|own| own.rows).sum(),
        vehicle_days: logs.iter().map(|own| own.days.len()).sum(),
    })
}

fn stream(seed: u64, purpose: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(0x5472_6961_0000 + purpose);
    rng
}

/// The truck, and its companion. Wear, tyres and the current sensor's offset differ as much as in the made-up fleet.
fn fleet(trial: &Trial, seed: u64) -> Vec<Truck> {
    let mut rng = stream(seed, 0);
    let mut worn = |truck: Truck| Truck {
        state_of_health_frac: rng.random_range(0.94..0.99),
        wheel_scale: rng.random_range(0.989..1.011),
        current_offset_a: rng.random_range(-0.7..0.7),
        odometer_start_m: rng.random_range(5e6..50e6),
        ..truck
    };
    let each_part_m = trial.height_drift_m * std::f64::consts::FRAC_1_SQRT_2;
    let truck = worn(Truck {
        id: TRUCK,
        kind: match trial.base {
            Base::Light => &LIGHT,
            Base::Medium => &MEDIUM,
        },
        period_s: trial.period_s,
        battery: if trial.has_pack_power { BatterySignal::VoltageAndCurrent } else { BatterySignal::None },
        soc_step_pct: trial.soc_step_pct,
        has_level_column: trial.has_level_column,
        has_payload_column: trial.has_payload_column,
        height_wave_m: each_part_m / THREE_WAVES_SD,
        height_wander_m: each_part_m,
        ..HARBOUR
    });
    let companion = trial.has_fast_companion.then_some(Truck {
        id: COMPANION,
        period_s: 1,
        battery: BatterySignal::None,
        ..truck
    });
    let companion = companion.map(worn);
    std::iter::once(truck).chain(companion).collect()
}

/// Working days in a row from a Monday; who drives has another usual level than who drove the day before.
fn shifts(days: usize, truck: usize, seed: u64) -> Vec<Shift> {
    let weeks = days.div_ceil(5);
    let first_day = 7 * stream(seed, 1).random_range(0..=WEEKS.saturating_sub(weeks));
    let mut rng = stream(seed, 2 + truck as u64);
    let home_route = rng.random_range(0..place::routes::COUNT);
    let mut level = None;
    (0..days)
        .map(|index| {
            let driver = draw_driver(&mut rng, level);
            level = Some(DRIVERS[driver].usual_level);
            let elsewhere = rng.random_range(0..place::routes::COUNT);
            let route = if rng.random_bool(0.5) { home_route } else { elsewhere };
            Shift { day: first_day + index / 5 * 7 + index % 5, truck, driver, route }
        })
        .collect()
}

fn draw_driver(rng: &mut impl Rng, level_before: Option<usize>) -> usize {
    let fitting: Vec<usize> =
        (0..FIRST).filter(|&driver| Some(DRIVERS[driver].usual_level) != level_before).collect();
    fitting[rng.random_range(0..fitting.len())]
}

/// The sheet of the made-up pilot with the lines that a trial varies written anew.
fn sheet(trial: &Trial, truck: &Truck, logs: &TruckLogs) -> String {
    let (kind, says) = (truck.kind, &trial.sheet);
    let sum = |value: fn(&crate::drive::account::Account) -> f64| -> f64 {
        logs.days.iter().map(|truth| value(&truth.day)).sum()
    };
    let payload_kg =
        sum(|book| book.payload_distance_kg_m) / sum(|book| book.distance_m).max(1.0) / says.payload_factor;
    let temperature_deg_c = logs.days.iter().map(|truth| truth.temperature_mean_deg_c).sum::<f64>()
        / (logs.days.len().max(1) as f64);
    let rolling =
        kind.rolling_resistance * (1.0 + ROLLING_PER_K * (20.0 - temperature_deg_c)) / says.rolling_factor;
    let (low, high) = (1.0 - says.payload_range_frac, 1.0 + says.payload_range_frac);
    let lines = [
        ("mass", format!("\"{:.0} kg\"", kind.mass_kg / says.mass_factor)),
        ("payload", format!("\"{payload_kg:.0} kg\"")),
        ("payload_low", format!("\"{:.0} kg\"", (payload_kg * low).floor())),
        ("payload_high", format!("\"{:.0} kg\"", (payload_kg * high).ceil())),
        ("drag_area", format!("\"{:.3} m2\"", kind.drag_area_m2 / says.drag_area_factor)),
        ("drag_area_error", format!("{}", says.drag_area_range_frac)),
        ("rolling_resistance", format!("{rolling:.5}")),
        ("rolling_resistance_error", format!("{}", says.rolling_range_frac)),
        ("capacity_error", format!("{}", says.capacity_range_frac)),
        ("motor_efficiency", format!("{:.3}", says.motor_efficiency)),
        (
            "pack_energy",
            format!("\"{:.3} kW.h\"", PACK_ENERGY_KWH * truck.state_of_health_frac / says.capacity_factor),
        ),
    ];
    let text = if kind.id == LIGHT.id { sheets::LIGHT } else { sheets::MEDIUM };
    let text = lines.iter().fold(text.to_owned(), |text, (key, value)| with(&text, key, value));
    if says.is_blending_stated { text } else { with(&text, "blending", "\"unknown\"") }
}

/// A table's text with the line of a key written anew, or added below its head.
fn with(text: &str, key: &str, value: &str) -> String {
    let line_of = |line: &str| line.split_once(" = ").is_some_and(|(name, _)| name == key);
    let line = format!("{key} = {value}");
    let mut lines: Vec<&str> = text.lines().collect();
    match lines.iter().position(|line| line_of(line)) {
        Some(at) => lines[at] = &line,
        None => lines.insert(1, &line),
    }
    lines.join("\n") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_replaced_and_nothing_else() {
        assert_eq!(with("mass = 1\nmass_b = 2\n", "mass", "3"), "mass = 3\nmass_b = 2\n");
    }

    #[test]
    fn several_levels_are_usual_and_days_are_working_days() {
        for seed in 0..50 {
            let own = shifts(10, 0, seed);
            assert!(own.windows(2).all(|pair| pair[0].day < pair[1].day));
            assert!(own.iter().all(|shift| shift.day % 7 < 5 && shift.day < 7 * WEEKS));
            let level = |shift: &Shift| DRIVERS[shift.driver].usual_level;
            assert!(own.windows(2).all(|pair| level(&pair[0]) != level(&pair[1])));
        }
    }
}
