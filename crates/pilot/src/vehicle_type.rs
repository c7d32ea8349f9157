//! A vehicle type: the sheet physics and inference work with, each value with its origin and its ends.

use std::path::{Path, PathBuf};

use backwatt_estimate::BatterySheet;
use backwatt_physics::{Blending, PowerBoundary, Sheet};
use backwatt_schema::JOULES_PER_KWH;
use backwatt_schema::unit::Dimension;

use crate::document::Section;
use crate::levels::levels;
use crate::loads;
use crate::losses::losses;
use crate::parts::Parts;
use crate::spread::{MEMORY, PRACTICE, Pick, Reader, Spread};

#[derive(Debug, Clone, PartialEq)]
pub struct VehicleType {
    pub sheet: Sheet,
    /// `None` where the sheet says no capacity: nothing can be inferred from state of charge then.
    pub battery: Option<BatterySheet>,
    /// How far the usable energy may lie from the sheet's.
    pub capacity_error_frac: f64,
    pub packs: Option<f64>,
    pub pack_energy_kwh: Option<f64>,
    /// What a pack weighs for its energy.
    pub pack_mass_kg_per_kwh: f64,
    /// The file of the loss map, where there is one: what is replayed depends on it.
    pub loss_map: Option<PathBuf>,
}

pub fn read(section: &Section<'_, '_>, folder: &Path) -> Option<VehicleType> {
    let r = Reader { section };
    let mass = section.quantity("mass", Dimension::Mass);
    if mass.is_none() && !section.has("mass") {
        section.fault(
            "pilot-mass-missing",
            "mass",
            format!("[{}] has no mass, and no energy can be rebuilt without one", section.path),
            "weigh an empty truck with its driver, or take it from the type plate: mass = \"5400 kg\"".into(),
        );
    }
    let mass = mass.map_or(1.0, |at| r.possible("mass", Dimension::Mass, r.above_zero("mass", at.value)));
    let payload = r.or("payload", Dimension::Mass, 0.0, "0 kg", "nothing stated: an empty vehicle").0;
    let loads = Spread {
        nominal: payload,
        low: r.or("payload_low", Dimension::Mass, 0.5 * payload, "half of payload", PRACTICE).0,
        high: r.or("payload_high", Dimension::Mass, 1.5 * payload, "payload and a half", PRACTICE).0,
    };
    if loads.low > loads.nominal || loads.high < loads.nominal {
        let message = "payload_low, payload and payload_high must rise in this order".to_owned();
        section.fault("pilot-out-of-range", "payload_low", message, "or leave the ends out".into());
    }
    let (packs, pack_energy) = packs(section);
    let pack_mass_kg_per_kwh = pack_mass(&r, pack_energy);
    let capacity_kwh = packs.zip(pack_energy).map(|(n, each)| n * each);
    let usable = r.share_or("usable_fraction", 0.9, MEMORY).0;
    let capacity_error_frac =
        r.share_or("capacity_error", 0.05, "wear and sheet, from memory, not confirmed").0;
    let battery_efficiency = r.share_or("battery_efficiency", 0.98, "0.96 to 0.99 at 1C, from memory").0;
    let gross_kg = mass + payload;
    let climate = loads::cab_climate(section);
    let parts = Parts {
        mass: within(&r, "mass_error", mass, 0.03),
        loads,
        rotating: r.or("rotating_mass", Dimension::Mass, 340.0, "340 kg", "40 CFR 1036.545(f)(3), six tyres").0,
        drag: drag(&r, gross_kg),
        rolling: rolling(section),
        losses: losses(section, folder),
        rolling_temperature: loads::rolling_temperature(section),
        axle: axle(&r),
        force: force(&r, gross_kg),
        power: power(&r, gross_kg),
        charge: charge(&r, capacity_kwh),
        taper: taper(&r),
        cold_full_k: r.or("charge_cold_full", Dimension::Temperature, 283.15, "10 degC", MEMORY).0,
        cold_none_k: r.or("charge_cold_none", Dimension::Temperature, 253.15, "-20 degC", MEMORY).0,
        aux: aux(&r),
        cab: Spread { nominal: 0.0, low: 0.0, high: if climate.is_some() { 0.0 } else { CAB_W } },
        climate,
        blending: blending(section),
        levels: levels(section),
    };
    section.default(
        "battery_temperature",
        "as logged; else half-way between outside air and 20 degC",
        "a bound at either end; common practice, no source",
    );
    if parts.cold_full_k <= parts.cold_none_k {
        let message = "charge_cold_full must lie above charge_cold_none".to_owned();
        section.fault(
            "pilot-out-of-range",
            "charge_cold_full",
            message,
            "\"10 degC\" and \"-20 degC\", say".into(),
        );
    }
    let default_level = section.text("default_level").map(|at| at.value).filter(|name| name != "unknown");
    if default_level.is_none() && !section.has("default_level") {
        section.default("default_level", "unknown", "bounds over the levels where the log names none");
    }
    let sheet = Sheet {
        nominal: parts.truck(Pick::Nominal, default_level.as_deref()),
        low: parts.truck(Pick::Low, default_level.as_deref()),
        high: parts.truck(Pick::High, default_level.as_deref()),
        open: parts.open(default_level.as_deref()),
        power_boundary: boundary(section),
    };
    if let Some(name) = default_level.filter(|name| sheet.nominal.level_named(name).is_none()) {
        let names: Vec<&str> = sheet.nominal.levels.iter().map(|level| level.name.as_str()).collect();
        let hint = format!("levels of this type: {}", names.join(", "));
        section.fault("pilot-unknown-level", "default_level", format!("there is no level \"{name}\""), hint);
    }
    let battery = capacity_kwh.map(|kwh| BatterySheet { capacity_kwh: kwh * usable, battery_efficiency });
    section.finish();
    Some(VehicleType {
        sheet,
        battery,
        capacity_error_frac,
        packs,
        pack_energy_kwh: pack_energy,
        pack_mass_kg_per_kwh,
        loss_map: parts.losses.map_file,
    })
}

fn packs(section: &Section<'_, '_>) -> (Option<f64>, Option<f64>) {
    let packs = section.number("packs").map(|at| at.value);
    let energy = section.quantity("pack_energy", Dimension::Energy).map(|at| at.value / JOULES_PER_KWH);
    for (key, value, most) in [("packs", packs, 100.0), ("pack_energy", energy, 2000.0)] {
        if value.is_some_and(|value| !(value > 0.0 && value <= most)) {
            let message = format!("\"{}\" must be above 0 and at most {most}", section.key_path(key));
            section.fault(
                "pilot-out-of-range",
                key,
                message,
                "packs = 3 and pack_energy = \"20 kW.h\", say".into(),
            );
        }
    }
    for (key, found) in [("packs", packs.is_some()), ("pack_energy", energy.is_some())] {
        if !found && !section.has(key) {
            section.default(key, "unknown", "nothing is inferred from state of charge without it");
        }
    }
    (packs, energy)
}

/// Mass of a pack for each kilowatt hour in it; asked of a change of packs only.
fn pack_mass(r: &Reader<'_, '_, '_>, pack_energy_kwh: Option<f64>) -> f64 {
    const USUAL_KG_PER_KWH: f64 = 8.0;
    let shown = "8 kg for each kW.h";
    let source = "125 W.h/kg for a whole pack, from memory, not confirmed; used when packs are changed";
    let energy_kwh = pack_energy_kwh.unwrap_or(1.0);
    r.or("pack_mass", Dimension::Mass, USUAL_KG_PER_KWH * energy_kwh, shown, source).0 / energy_kwh
}

fn drag(r: &Reader<'_, '_, '_>, gross_kg: f64) -> Spread {
    // 19,500 lb is the upper end of class 5; the figure above it is the regulation's medium vehicle.
    let class_5_kg = 19_500.0 * 0.453_592_37;
    let (default, shown, source) = if gross_kg > class_5_kg {
        (5.4, "5.4 m2", "40 CFR 1036.545(f)(4), vocational medium heavy-duty")
    } else {
        (3.4, "3.4 m2", "class 4 to 5, from memory, not confirmed")
    };
    let (value, _) = r.or("drag_area", Dimension::Area, default, shown, source);
    within(r, "drag_area_error", r.above_zero("drag_area", value), 0.15)
}

fn rolling(section: &Section<'_, '_>) -> Spread {
    let value = section.number("rolling_resistance").map_or_else(
        || {
            if !section.has("rolling_resistance") {
                section.default("rolling_resistance", "0.0077", "40 CFR 1036.545(f)(4), test configuration");
            }
            0.0077
        },
        |at| at.value,
    );
    if !(0.0..0.1).contains(&value) {
        let hint = "a truck tyre has 0.006 to 0.010".to_owned();
        section.fault(
            "pilot-out-of-range",
            "rolling_resistance",
            format!("{value} is no rolling resistance"),
            hint,
        );
    }
    within(&Reader { section }, "rolling_resistance_error", value, 0.2)
}

/// A value with its ends at a share either way.
fn within(r: &Reader<'_, '_, '_>, key: &str, value: f64, default: f64) -> Spread {
    let error = r.share_or(key, default, PRACTICE).0;
    Spread::times(value, 1.0 - error, 1.0 + error)
}

fn axle(r: &Reader<'_, '_, '_>) -> Spread {
    let source = "half of the dry adhesion of a rear axle, moments about the tyres (notebooks-docs/method)";
    let (value, stated) = r.or("axle_deceleration_limit", Dimension::Acceleration, 1.9, "1.9 m/s2", source);
    if stated { Spread::times(value, 1.0, 1.0) } else { Spread { nominal: value, low: 1.2, high: 3.8 } }
}

fn force(r: &Reader<'_, '_, '_>, gross_kg: f64) -> Spread {
    let torque = r.section.quantity("motor_torque_max", Dimension::Torque);
    let ratio = r.section.number("gear_ratio");
    let radius = r.section.quantity("tyre_radius", Dimension::Length);
    if let (Some(torque), Some(ratio), Some(radius)) = (&torque, &ratio, &radius) {
        let force = torque.value * ratio.value / r.above_zero("tyre_radius", radius.value);
        let force = r.possible("motor_torque_max", Dimension::Force, force);
        return Spread::times(r.above_zero("motor_torque_max", force), 1.0, 1.0);
    }
    let source = "3 m/s2 at the mass stated; common practice, no source (state motor_torque_max, gear_ratio, tyre_radius)";
    let key = ["motor_torque_max", "gear_ratio", "tyre_radius"].into_iter().find(|key| !r.section.has(key));
    if let Some(key) = key {
        r.section.default(key, &format!("{:.1} kN at the wheels", 3.0 * gross_kg / 1000.0), source);
    }
    Spread { nominal: 3.0 * gross_kg, low: 2.0 * gross_kg, high: 4.0 * gross_kg }
}

fn power(r: &Reader<'_, '_, '_>, gross_kg: f64) -> Spread {
    let shown = format!("{:.0} kW", 15.0 * gross_kg / 1000.0);
    let (value, stated) = r.or(
        "regen_power_max",
        Dimension::Power,
        15.0 * gross_kg,
        &shown,
        "15 W/kg, from memory, not confirmed",
    );
    if stated { Spread::times(value, 1.0, 1.0) } else { Spread::times(value, 0.66, 1.66) }
}

fn charge(r: &Reader<'_, '_, '_>, capacity_kwh: Option<f64>) -> Spread {
    let watts = capacity_kwh.unwrap_or(100.0) * 1000.0;
    let shown = format!("{:.0} kW", watts / 1000.0);
    let source = "1C of the nominal capacity (100 kW where it is not stated), from memory, not confirmed";
    let (value, stated) = r.or("charge_power_max", Dimension::Power, watts, &shown, source);
    if stated { Spread::times(value, 1.0, 1.0) } else { Spread::times(value, 0.5, 2.0) }
}

/// A battery that tapers earlier accepts less.
fn taper(r: &Reader<'_, '_, '_>) -> Spread {
    let start = r.share_or("charge_taper_start", 0.9, "85 to 95 %, from memory").0;
    Spread { nominal: start, low: (start - 0.05).max(0.0), high: (start + 0.05).min(1.0) }
}

/// What the climate of a cab takes on the mean of a drive, where nothing says so: nothing to this. From memory; a cab takes 1 to
/// 6 kW to heat or cool. [W]
const CAB_W: f64 = 2000.0;

fn aux(r: &Reader<'_, '_, '_>) -> Spread {
    let source = "500 to 1000 W plus cab climate, from memory, not confirmed";
    let (value, stated) = r.or("aux_power", Dimension::Power, 800.0, "800 W", source);
    if stated { Spread::times(value, 0.7, 1.5) } else { Spread::times(value, 0.5, 2.5) }
}

/// The motor's share of what the pedal asks, where the file does not say.
const PEDAL_SHARE: f64 = 0.5;
/// How far a stated share may be off. Common practice, no source.
const PEDAL_REACH: f64 = 0.1;

/// Nominal, unfavourable, favourable. An unknown kind lies between the two extremes.
fn blending(section: &Section<'_, '_>) -> [Blending; 3] {
    let share = section.share("pedal_regen_share").map_or(PEDAL_SHARE, |at| at.value);
    if !(0.0..=1.0).contains(&share) {
        let message = "the pedal's share must lie between 0 and 1".to_owned();
        section.fault("pilot-out-of-range", "pedal_regen_share", message, "0.5 or \"50 %\"".into());
    }
    let parallel = || {
        if !section.has("pedal_regen_share") {
            section.default(
                "pedal_regen_share",
                &PEDAL_SHARE.to_string(),
                "half-way; common practice, no source",
            );
        }
        Blending::Parallel { pedal_share: share }
    };
    // One share stands for what goes with pressure and speed.
    let ends = |reach: f64| {
        [0.0, -reach, reach].map(|off| Blending::Parallel { pedal_share: (share + off).clamp(0.0, 1.0) })
    };
    match section.text("blending").map(|at| at.value).as_deref() {
        Some("friction-only") => [Blending::FrictionOnly; 3],
        Some("parallel") => {
            parallel();
            ends(if section.has("pedal_regen_share") { PEDAL_REACH } else { PEDAL_SHARE })
        }
        Some("series") => [Blending::Series; 3],
        Some("unknown") => [parallel(), Blending::FrictionOnly, Blending::Series],
        None => {
            if !section.has("blending") {
                section.default(
                    "blending",
                    "unknown",
                    "bounds from friction-only to series; half-way as nominal",
                );
            }
            [parallel(), Blending::FrictionOnly, Blending::Series]
        }
        Some(other) => {
            let hint = "one of friction-only, parallel, series, unknown".to_owned();
            section.fault(
                "pilot-unknown-blending",
                "blending",
                format!("\"{other}\" is no kind of blending"),
                hint,
            );
            [parallel(); 3]
        }
    }
}

fn boundary(section: &Section<'_, '_>) -> PowerBoundary {
    match section.text("power_boundary").map(|at| at.value).as_deref() {
        Some("pack") => PowerBoundary::Pack,
        Some("vehicle") => PowerBoundary::Vehicle,
        None => {
            if !section.has("power_boundary") {
                section.default("power_boundary", "pack", "a logged power is taken at the battery terminals");
            }
            PowerBoundary::Pack
        }
        Some(other) => {
            let hint =
                "pack (battery terminals) or vehicle (overhead line or several stores included)".to_owned();
            section.fault(
                "pilot-unknown-boundary",
                "power_boundary",
                format!("\"{other}\" is no boundary"),
                hint,
            );
            PowerBoundary::Pack
        }
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use crate::{Origin, parse};

    /// The pedal's share as listed, and whether it is a default. The source needs a file to exist, and reads none.
    fn listed(blending: &str) -> Option<(String, bool)> {
        let text = format!(
            "[pilot]\nname = \"p\"\n[vehicle_types.van]\nmass = \"3000 kg\"\n{blending}\n\
             [[sources]]\nfiles = \"Cargo.toml\"\nvehicle = \"T1\"\n\
             time = {{ column = \"t\", kind = \"iso\" }}\n\
             [sources.columns]\nspeed = {{ column = \"v\", unit = \"km/h\" }}\n"
        );
        let pilot = parse(&text, "pilot.toml", Path::new(env!("CARGO_MANIFEST_DIR")))
            .unwrap_or_else(|problems| panic!("{problems:#?}"));
        let share = pilot.settings.iter().find(|row| row.key == "vehicle_types.van.pedal_regen_share")?;
        Some((share.value.clone(), matches!(share.origin, Origin::Default { .. })))
    }

    #[test]
    fn the_share_of_the_pedal_is_listed_where_it_counts() {
        let default = Some(("0.5".to_owned(), true));
        assert_eq!(listed(""), default);
        assert_eq!(listed("blending = \"parallel\""), default);
        let stated = "blending = \"parallel\"\npedal_regen_share = 0.4";
        assert_eq!(listed(stated), Some(("0.4".to_owned(), false)));
        assert_eq!(listed("blending = \"series\""), None);
    }
}
