//! `[plan]`: what was assumed before the pilot, and what the tool takes where the plan is silent.

mod assumptions;
mod chargers;
mod scenarios;

use std::collections::BTreeMap;

use backwatt_estimate::plan::{PlanSettings, PlannedShare, Price, Season, TypePlan};
use backwatt_schema::unit::Dimension;

use crate::VehicleType;
use crate::document::Section;
use crate::spread::{MEMORY, PRACTICE, Reader};
pub use scenarios::{HardDays, PlanScenario, USUAL_CAB};

/// The plan, resolved.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    pub settings: PlanSettings,
    pub scenario: PlanScenario,
    pub hard_days: HardDays,
    /// Local time of day between which charging is allowed. [s] `None`: whenever the truck stands.
    pub window_s: Option<(f64, f64)>,
}

pub fn read(root: &Section<'_, '_>, types: &BTreeMap<String, VehicleType>) -> Plan {
    let table = root.section("plan");
    if table.is_none() && !root.has("plan") {
        root.default(
            "plan",
            "none",
            "nothing to check; packs and chargers are looked at under the defaults below",
        );
    }
    // A plan that is not there is an empty one: its defaults are listed under the same names.
    let empty = root.nothing("plan");
    let section = table.as_ref().unwrap_or(&empty);
    let r = Reader { section };
    let tolerance = tolerance(section, "tolerance").unwrap_or_else(|| {
        section.default("tolerance", "10 %", "a margin has to be fixed beforehand; common practice, no source");
        0.1
    });
    let reserve_frac = below_one(section, "reserve").unwrap_or_else(|| {
        section.default("reserve", "10 %", PRACTICE);
        0.1
    });
    let (scenario, causes) = scenarios::scenario(section, types);
    let hard_days = scenarios::hard_days(section);
    let settings = PlanSettings {
        assumptions: assumptions::read(section, tolerance, types),
        reserve_frac,
        target_frac: target(section),
        pack_counts: pack_counts(section),
        chargers: chargers::read(section),
        price: price(section),
        planned: planned(section),
        is_southern: is_southern(section),
        cold_usable_frac: hard_days.cold_usable_frac,
        worn_usable_frac: hard_days.worn_usable_frac,
        causes,
    };
    let window_s = window(&r);
    if let Some(table) = &table {
        table.finish();
    }
    Plan { settings, scenario, hard_days, window_s }
}

impl VehicleType {
    /// What the plan's questions ask of the type called `name`.
    pub fn planning(&self, name: &str) -> TypePlan {
        let (nominal, low, high) = (&self.sheet.nominal, &self.sheet.low, &self.sheet.high);
        TypePlan {
            name: name.to_owned(),
            packs: self.packs,
            payload_full_kg: high.payload_kg,
            // The favourable end of the sheet has the smaller load.
            aux_w: [nominal.aux_power_w, high.aux_power_w, low.aux_power_w],
            charge_power_max_w: nominal.acceptance.power_max_w,
            charge_taper_start_frac: nominal.acceptance.taper_start_soc,
        }
    }
}

/// A share either way: above 0 and below 1.
fn tolerance(section: &Section<'_, '_>, key: &str) -> Option<f64> {
    below_one(section, key)
        .map(|share| if share > 0.0 { share } else { out_of_range(section, key, "\"10 %\"") })
}

fn below_one(section: &Section<'_, '_>, key: &str) -> Option<f64> {
    let share = section.share(key)?.value;
    Some(if (0.0..1.0).contains(&share) { share } else { out_of_range(section, key, "\"10 %\"") })
}

fn out_of_range(section: &Section<'_, '_>, key: &str, example: &str) -> f64 {
    let message = format!("\"{}\" is out of range", section.key_path(key));
    section.fault("pilot-out-of-range", key, message, format!("{example}, say"));
    0.1
}

fn target(section: &Section<'_, '_>) -> f64 {
    match section.share("target_probability").map(|at| at.value) {
        Some(share) if share > 0.0 && share < 1.0 => share,
        Some(_) => out_of_range(section, "target_probability", "0.95"),
        None => {
            if !section.has("target_probability") {
                section.default("target_probability", "0.95", PRACTICE);
            }
            0.95
        }
    }
}

fn pack_counts(section: &Section<'_, '_>) -> Vec<u64> {
    let Some(found) = section.numbers("pack_counts") else {
        if !section.has("pack_counts") {
            section.default("pack_counts", "3, 5, 7, 9", "beside each type's own; common practice, no source");
        }
        return vec![3, 5, 7, 9];
    };
    let whole = |count: &f64| *count >= 1.0 && *count <= 100.0 && count.fract() == 0.0;
    if !found.value.iter().all(whole) {
        out_of_range(section, "pack_counts", "[3, 5, 7, 9]");
        return Vec::new();
    }
    found.value.iter().map(|count| *count as u64).collect()
}

fn price(section: &Section<'_, '_>) -> Option<Price> {
    let per_kwh = section.number("price_per_kwh").map(|at| at.value);
    let currency = section.text("currency").map(|at| at.value);
    match (per_kwh, currency) {
        (Some(per_kwh), Some(currency)) if per_kwh >= 0.0 => Some(Price { per_kwh, currency }),
        (None, None) => {
            if !section.has("price_per_kwh") {
                section.default("price_per_kwh", "none", "no money is made up");
            }
            None
        }
        _ => {
            let message = "a price needs a number of 0 or more and its currency".to_owned();
            let key = if section.has("price_per_kwh") { "price_per_kwh" } else { "currency" };
            section.fault(
                "pilot-price-incomplete",
                key,
                message,
                "price_per_kwh = 0.21 and currency = \"EUR\"".into(),
            );
            None
        }
    }
}

fn is_southern(section: &Section<'_, '_>) -> bool {
    match section.text("hemisphere").map(|at| at.value).as_deref() {
        Some("south") => true,
        Some("north") => false,
        None => {
            if !section.has("hemisphere") {
                section.default("hemisphere", "north", "winter is December to February");
            }
            false
        }
        Some(other) => {
            let message = format!("\"{other}\" is no hemisphere");
            section.fault("pilot-hemisphere", "hemisphere", message, "north or south".into());
            false
        }
    }
}

pub(super) fn season(section: &Section<'_, '_>) -> Option<Season> {
    let named = section.text("season")?.value;
    let season = Season::parse(&named);
    if season.is_none() {
        let message = format!("\"{named}\" is no season");
        section.fault("pilot-season", "season", message, "winter, spring, summer or autumn".into());
    }
    season
}

fn planned(section: &Section<'_, '_>) -> Vec<PlannedShare> {
    let one = |table: &Section<'_, '_>| {
        let route = table.text("route").map(|at| at.value);
        let season = season(table);
        let temperature_band = band(table);
        let share = table.share("share").map(|at| at.value);
        if !share.is_some_and(|share| (0.0..=1.0).contains(&share)) {
            let message = format!("[{}] needs the share of the planned distance", table.path);
            table.fault("pilot-plan-driving", "share", message, "share = \"25 %\"".into());
        }
        table.finish();
        Some(PlannedShare { route, season, temperature_band, share_frac: share? })
    };
    section.sections("driving").iter().filter_map(one).collect()
}

/// Ten degrees from a temperature on, named as the tables name them.
fn band(table: &Section<'_, '_>) -> Option<String> {
    let from_k = table.quantity("temperature_from", Dimension::Temperature)?.value;
    let from = (from_k - 273.15).round();
    if from.rem_euclid(10.0) != 0.0 || (from_k - 273.15 - from).abs() > 0.01 {
        let message = "bands of temperature are ten degrees Celsius wide and begin at whole tens".to_owned();
        table.fault("pilot-plan-driving", "temperature_from", message, "\"0 degC\" or \"-10 degC\"".into());
    }
    Some(format!("{from} to {} degC", from + 10.0))
}

/// `[plan.charging]`: the daily window.
fn window(r: &Reader<'_, '_, '_>) -> Option<(f64, f64)> {
    let Some(table) = r.section.section("charging") else {
        if !r.section.has("charging") {
            r.section.default("charging", "any time", "whenever the truck stands");
        }
        return None;
    };
    let time = |key: &str| {
        let text = table.text(key).map(|at| at.value);
        let found = text.as_deref().and_then(time_of_day);
        if found.is_none() {
            let message = format!("\"{}\" wants a local time of day", table.key_path(key));
            table.fault("pilot-charging-window", key, message, "from = \"19:00\" and until = \"06:00\"".into());
        }
        found
    };
    let (from, until) = (time("from"), time("until"));
    table.finish();
    from.zip(until)
}

fn time_of_day(text: &str) -> Option<f64> {
    let (hours, minutes) = text.split_once(':')?;
    let (hours, minutes): (u32, u32) = (hours.parse().ok()?, minutes.parse().ok()?);
    (hours < 24 && minutes < 60).then(|| f64::from(hours * 3600 + minutes * 60))
}

/// Where a default is from memory.
pub(super) fn memory(what: &str) -> String {
    format!("{what}, {MEMORY}")
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use backwatt_estimate::plan::{ChargerKind, Covers, Kind, Measure, Season};
    use backwatt_schema::Problem;

    use super::*;
    use crate::{Pilot, parse};

    #[test]
    fn times_of_day() {
        assert_eq!(
            (time_of_day("19:30"), time_of_day("24:00"), time_of_day("7")),
            (Some(70_200.0), None, None)
        );
    }

    /// A pilot with this plan. Its source needs a file to exist, and reads none.
    fn pilot(plan: &str) -> Result<Pilot, Vec<Problem>> {
        let text = format!(
            "[pilot]\nname = \"p\"\n[vehicle_types.van]\nmass = \"5400 kg\"\npacks = 3\npack_energy = \"20 kW.h\"\n\
             payload = \"600 kg\"\n[vehicle_types.van.levels.high]\nlift_off = \"1.2 m/s2\"\n{plan}\n\
             [[sources]]\nfiles = \"Cargo.toml\"\nvehicle = \"T1\"\ntime = {{ column = \"Time\", kind = \"iso\" }}\n\
             [sources.columns]\nspeed = {{ column = \"Speed\", unit = \"km/h\" }}\n"
        );
        parse(&text, "pilot.toml", Path::new(env!("CARGO_MANIFEST_DIR")))
    }

    #[test]
    fn a_plan_is_read_with_its_units() {
        let plan = pilot(
            "[plan]\nreserve = \"15 %\"\ntolerance = 0.2\npack_counts = [3, 5]\nprice_per_kwh = 0.2\ncurrency = \"EUR\"\n\
             [[plan.energy]]\nuse = \"1.0 kW.h/mi\"\nroute = \"north\"\nseason = \"winter\"\ntolerance = \"5 %\"\n\
             [[plan.energy]]\nuse = \"60 kW.h/100km\"\ncovers = \"trips\"\n\
             [[plan.regen]]\nshare = \"30 %\"\n[[plan.regen]]\nshare = 0.2\nof = \"use\"\n\
             [[plan.range]]\npacks = 3\nrange = \"60 mi\"\n\
             [plan.scenario]\npayload = \"800 kg\"\ncruise_speed = \"30 mph\"\nstops_per_mile = 2\nregen_level = \"high\"\n\
             [plan.charging]\nfrom = \"19:00\"\nuntil = \"06:00\"\n\
             [[plan.chargers]]\nname = \"post\"\nkind = \"ac\"\npower = \"19.2 kW\"\n\
             [[plan.driving]]\nseason = \"winter\"\ntemperature_from = \"-10 degC\"\nshare = \"25 %\"\n",
        )
        .unwrap();
        let plan = plan.plan;
        let of = |at: usize| &plan.settings.assumptions[at];
        assert_eq!((of(0).kind, of(0).tolerance_frac), (Kind::Energy(Covers::Driving), 0.05));
        assert!((of(0).value - 1.0).abs() < 1e-12 && of(0).scope.season == Some(Season::Winter));
        // 60 kWh/100 km is 0.9656 kWh/mile.
        assert!((of(1).value - 0.965_606_4).abs() < 1e-6 && of(1).tolerance_frac == 0.2);
        assert_eq!((of(2).kind, of(3).kind), (Kind::Regen(None), Kind::Regen(Some(Measure::Use))));
        assert_eq!(of(4).kind, Kind::Range { packs: 3.0 });
        assert_eq!(plan.settings.causes, [0, 1, 4]);
        assert_eq!(plan.window_s, Some((68_400.0, 21_600.0)));
        let post = &plan.settings.chargers[0];
        assert!(post.is_planned && post.kind == ChargerKind::Ac && post.power_w == 19.2e3);
        assert_eq!(plan.settings.planned[0].temperature_band.as_deref(), Some("-10 to 0 degC"));
    }

    #[test]
    fn every_fault_of_a_plan_is_named() {
        let faults = pilot(
            "[plan]\nreserve = 1.5\nprice_per_kwh = 0.2\nhemisphere = \"up\"\npack_counts = [2.5]\n\
             [[plan.energy]]\nuse = \"1.0 kW\"\n[[plan.energy]]\nroute = \"north\"\n\
             [[plan.regen]]\nshare = \"30 %\"\nof = \"everything\"\n\
             [[plan.range]]\npacks = 3\n\
             [plan.scenario]\nregen_level = \"turbo\"\ncruise_speed = \"30 mph\"\n\
             [plan.hard_days]\nspeed_cap = \"0.1 mph\"\n\
             [plan.charging]\nfrom = \"late\"\nuntil = \"06:00\"\n\
             [[plan.chargers]]\nkind = \"steam\"\npower = \"1 kW\"\n\
             [[plan.driving]]\nshare = 3\nseasn = \"winter\"\n",
        )
        .unwrap_err();
        let codes: Vec<&str> = faults.iter().map(|fault| fault.code).collect();
        for code in [
            "pilot-out-of-range",
            "pilot-price-incomplete",
            "pilot-hemisphere",
            "pilot-wrong-value",
            "pilot-plan-incomplete",
            "pilot-plan-regen",
            "pilot-unknown-level",
            "pilot-plan-driving",
            "pilot-plan-speed-cap",
            "pilot-charging-window",
            "pilot-charger-kind",
            "pilot-unknown-key",
        ] {
            assert!(codes.contains(&code), "{code} missing: {codes:?}");
        }
        assert!(faults.iter().all(|fault| fault.place.name.is_some() && !fault.hint.is_empty()), "{faults:#?}");
    }

    #[test]
    fn no_plan_has_defaults_that_are_listed() {
        let pilot = pilot("").unwrap();
        assert!(pilot.plan.settings.assumptions.is_empty() && pilot.plan.settings.causes.is_empty());
        assert!((pilot.plan.settings.reserve_frac - 0.1).abs() < 1e-12);
        for key in [
            "plan",
            "plan.reserve",
            "plan.target_probability",
            "plan.hard_days.cold",
            "plan.hard_days.speed_cap",
            "plan.chargers.common_ac",
        ] {
            assert!(pilot.settings.iter().any(|setting| setting.key == key), "{key} is not listed");
        }
    }
}
