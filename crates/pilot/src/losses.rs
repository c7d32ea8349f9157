//! The loss law of a vehicle type: one factor, coefficients, or a map.

use std::path::{Path, PathBuf};

use backwatt_physics::Losses;
use backwatt_physics::kernels::losses::Coefficients;
use backwatt_schema::unit::Dimension;

use crate::document::Section;
use crate::loss_map;
use crate::spread::{Pick, Reader, Spread};

/// Keys that belong to one law only.
const LAWS: [(&str, &[&str]); 3] = [
    ("constant", &["motor_efficiency"]),
    ("coefficients", &["loss_idle", "loss_per_speed", "loss_per_speed_squared", "loss_per_force_squared"]),
    ("map", &["loss_map"]),
];

/// What losses a sheet states may turn out to be, up and down. Common practice, no source.
const LOSS_REACH: Spread = Spread { nominal: 1.0, low: 1.2, high: 0.8 };

/// How far one factor may lie from what a law of speed and load gives on the mean, stated or not: half of 0.85 to 0.95, which is
/// where motors with their inverters lie. From memory.
const FACTOR_REACH: f64 = 0.05;

/// A law with its ends, and the file its map stands in.
pub struct LossParts {
    law: Law,
    pub map_file: Option<PathBuf>,
}

enum Law {
    Constant(Spread),
    Coefficients(Coefficients),
    Map(Losses),
}

impl LossParts {
    pub fn pick(&self, pick: Pick) -> Losses {
        let factor = LOSS_REACH.pick(pick);
        match &self.law {
            Law::Constant(efficiency) => Losses::Constant { efficiency: efficiency.pick(pick) },
            Law::Coefficients(law) => Losses::Coefficients(Coefficients {
                gear_efficiency: law.gear_efficiency,
                idle_w: law.idle_w * factor,
                per_speed_n: law.per_speed_n * factor,
                per_speed_squared_kg_s: law.per_speed_squared_kg_s * factor,
                load_squared_w_per_n2: law.load_squared_w_per_n2 * factor,
            }),
            Law::Map(Losses::Map { gear_efficiency, map }) => {
                Losses::Map { gear_efficiency: *gear_efficiency, map: map.times(factor) }
            }
            Law::Map(other) => other.clone(),
        }
    }
}

pub fn losses(section: &Section<'_, '_>, folder: &Path) -> LossParts {
    let r = Reader { section };
    let gears = r.share_or("axle_efficiency", 0.955, "40 CFR 1036.545(f)(3)").0;
    let named = section.text("losses").map(|at| at.value);
    if named.is_none() && !section.has("losses") {
        section.default("losses", "constant", "one factor each way; a map or coefficients say more");
    }
    let law = named.as_deref().unwrap_or("constant");
    if LAWS.iter().all(|(name, _)| *name != law) {
        let hint = "one of constant, coefficients, map".to_owned();
        section.fault("pilot-unknown-losses", "losses", format!("\"{law}\" is no law of losses"), hint);
    }
    refuse_keys_of_others(section, law);
    match law {
        "coefficients" => LossParts { law: Law::Coefficients(coefficients(&r, gears)), map_file: None },
        "map" => map(section, gears, folder),
        _ => LossParts { law: Law::Constant(constant(&r, gears)), map_file: None },
    }
}

fn refuse_keys_of_others(section: &Section<'_, '_>, law: &str) {
    for (other, keys) in LAWS.iter().filter(|(name, _)| *name != law) {
        for key in keys.iter().filter(|key| section.has(key)) {
            let message = format!("\"{}\" says nothing under losses = \"{law}\"", section.key_path(key));
            section.fault("pilot-losses-key", key, message, format!("losses = \"{other}\", or leave it out"));
        }
    }
}

fn constant(r: &Reader<'_, '_, '_>, gears: f64) -> Spread {
    let motor = r.share_or("motor_efficiency", 0.90, "motor and inverter 0.85 to 0.95, from memory").0;
    let low = gears * (motor - FACTOR_REACH).max(0.1 * motor);
    Spread { nominal: gears * motor, low, high: (gears * (motor + FACTOR_REACH)).min(1.0) }
}

fn coefficients(r: &Reader<'_, '_, '_>, gear_efficiency: f64) -> Coefficients {
    let nil = "not stated: this part of the loss is nil";
    let law = Coefficients {
        gear_efficiency,
        idle_w: r.or("loss_idle", Dimension::Power, 0.0, "0 W", nil).0,
        per_speed_n: r.or("loss_per_speed", Dimension::Force, 0.0, "0 N", nil).0,
        per_speed_squared_kg_s: plain(r.section, "loss_per_speed_squared", nil),
        load_squared_w_per_n2: plain(r.section, "loss_per_force_squared", nil),
    };
    let keys = LAWS[1].1;
    if keys.iter().all(|key| !r.section.has(key)) {
        let message = format!("[{}] states no coefficient of its losses", r.section.path);
        let hint = format!("state one at least of {}; or losses = \"constant\"", keys.join(", "));
        r.section.fault("pilot-losses-missing", "losses", message, hint);
    }
    law
}

fn plain(section: &Section<'_, '_>, key: &str, nil: &str) -> f64 {
    let Some(at) = section.number(key) else {
        if !section.has(key) {
            section.default(key, "0", nil);
        }
        return 0.0;
    };
    // The largest either could be: a megawatt lost at walking pace, or at the weight of a car.
    if (0.0..=1e6).contains(&at.value) {
        return at.value;
    }
    let message = format!("\"{}\" must lie between 0 and 1e6", section.key_path(key));
    section.fault("pilot-out-of-range", key, message, "in W per (m/s)2 or W per N2 at the wheels".into());
    0.0
}

fn map(section: &Section<'_, '_>, gear_efficiency: f64, folder: &Path) -> LossParts {
    let fallback =
        || LossParts { law: Law::Map(Losses::Constant { efficiency: gear_efficiency }), map_file: None };
    let Some(file) = section.text("loss_map") else {
        if !section.has("loss_map") {
            let message = format!("[{}] names no loss map", section.path);
            let hint = "loss_map = \"motor.csv\": torque, speed and loss or efficiency".to_owned();
            section.fault("pilot-losses-missing", "loss_map", message, hint);
        }
        return fallback();
    };
    let (ratio, radius) = (section.number("gear_ratio"), section.quantity("tyre_radius", Dimension::Length));
    let known = |value: f64| value > 0.0 && value.is_finite();
    let (Some(ratio), Some(radius)) = (ratio.filter(|at| known(at.value)), radius.filter(|at| known(at.value)))
    else {
        let message =
            "a loss map is of the motor: gear_ratio and tyre_radius bring it to the wheels".to_owned();
        section.fault("pilot-losses-missing", "loss_map", message, "state both, above 0".into());
        return fallback();
    };
    let path = folder.join(&file.value);
    match loss_map::read(&path, &file.value, ratio.value / radius.value) {
        Ok(map) => LossParts { law: Law::Map(Losses::Map { gear_efficiency, map }), map_file: Some(path) },
        Err(problem) => {
            section.keep(*problem);
            fallback()
        }
    }
}

#[cfg(test)]
mod tests {
    use backwatt_schema::Problem;

    use super::*;
    use crate::VehicleType;

    const MAP: &str = "torque [N.m],speed [rpm],loss [W]\n0,0,100\n0,6000,500\n300,0,900\n300,6000,4000\n";

    fn read(keys: &str, map: &str) -> Result<VehicleType, Vec<Problem>> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("motor.csv"), map).unwrap();
        let text = format!(
            "[pilot]\nname = \"p\"\n[vehicle_types.van]\nmass = \"5 t\"\n{keys}\n\
             [[sources]]\nname = \"logs\"\nfiles = \"motor.csv\"\nvehicle = \"T1\"\n\
             time = {{ column = \"Time\", kind = \"iso\" }}\n\
             [sources.columns]\nspeed = {{ column = \"Speed\", unit = \"km/h\" }}\n"
        );
        crate::parse(&text, "pilot.toml", folder.path()).map(|pilot| pilot.vehicle_types["van"].clone())
    }

    fn problem(keys: &str, map: &str) -> Problem {
        let problems = read(keys, map).unwrap_err();
        assert_eq!(problems.len(), 1, "{problems:#?}");
        problems[0].clone()
    }

    #[test]
    fn one_factor_where_nothing_is_said() {
        let sheet = read("", MAP).unwrap().sheet;
        assert_eq!(sheet.nominal.losses, Losses::Constant { efficiency: 0.955 * 0.90 });
        assert!((sheet.nominal.drive_efficiency() - 0.955 * 0.90).abs() < 1e-12);
    }

    #[test]
    fn coefficients_with_their_ends() {
        let keys = "losses = \"coefficients\"\nloss_idle = \"0.3 kW\"\nloss_per_force_squared = 2e-5";
        let sheet = read(keys, MAP).unwrap().sheet;
        let of = |losses: &Losses| losses.returned(4e3, 10.0);
        let force = 0.955 * 4e3;
        let lost = 300.0 + 2e-5 * force * force;
        for (truck, factor) in [(&sheet.nominal, 1.0), (&sheet.low, 1.2), (&sheet.high, 0.8)] {
            assert!((of(&truck.losses) - (force * 10.0 - factor * lost)).abs() < 1e-9);
        }
        assert!(problem("losses = \"coefficients\"", MAP).message.contains("no coefficient"));
        let negative = "losses = \"coefficients\"\nloss_per_force_squared = -1.0";
        assert_eq!(problem(negative, MAP).code, "pilot-out-of-range");
    }

    #[test]
    fn a_map_is_brought_to_the_wheels() {
        let keys = "losses = \"map\"\nloss_map = \"motor.csv\"\ngear_ratio = 8\ntyre_radius = \"0.4 m\"";
        let found = read(keys, MAP).unwrap();
        assert!(found.loss_map.is_some());
        // 300 N m at the motor are 6 kN at the wheels, before the gears took their part.
        let speed = 6000.0 / 60.0 * std::f64::consts::TAU / 20.0;
        let drawn = found.sheet.nominal.losses.drawn(0.955 * 6e3, speed);
        assert!((drawn - (6e3 * speed + 4e3)).abs() < 1e-6, "{drawn}");
        let torn = problem(keys, "torque [N.m],speed [rpm],loss [W]\n0,0,?\n");
        assert_eq!((torn.place.file.as_deref(), torn.place.line), (Some("motor.csv"), Some(2)), "{torn:?}");
        let absent = problem(&keys.replace("motor.csv", "other.csv"), MAP);
        assert_eq!(
            (absent.code, absent.place.file.as_deref()),
            ("pilot-loss-map-unreadable", Some("other.csv"))
        );
        assert_eq!(problem("losses = \"map\"\nloss_map = \"motor.csv\"", MAP).code, "pilot-losses-missing");
    }

    #[test]
    fn keys_of_another_law_are_refused() {
        let stray = problem("motor_efficiency = 0.9\nlosses = \"coefficients\"\nloss_idle = \"300 W\"", MAP);
        assert_eq!((stray.code, stray.place.line), ("pilot-losses-key", Some(5)), "{stray:?}");
        assert_eq!(problem("loss_idle = \"300 W\"", MAP).code, "pilot-losses-key");
        assert_eq!(problem("losses = \"magic\"", MAP).code, "pilot-unknown-losses");
    }
}
