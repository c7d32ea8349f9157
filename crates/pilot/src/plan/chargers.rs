//! `[[plan.chargers]]`, and the common sizes beside them.

use backwatt_estimate::plan::{Charger, ChargerKind};
use backwatt_schema::unit::Dimension;

use super::memory;
use crate::document::Section;
use crate::spread::Reader;

/// Sizes that are looked at whatever the plan names. [W] From memory, not confirmed.
const AC_SIZES_W: [f64; 3] = [7.2e3, 11.5e3, 19.2e3];
const DC_SIZES_W: [f64; 4] = [25e3, 50e3, 100e3, 150e3];
/// Battery terminals over the grid.
const AC_EFFICIENCY: f64 = 0.88;
const DC_EFFICIENCY: f64 = 0.92;

pub fn read(plan: &Section<'_, '_>) -> Vec<Charger> {
    let stated = plan.sections("chargers");
    let mut found: Vec<Charger> = stated.iter().filter_map(charger).collect();
    plan.default(
        "chargers.common_ac",
        "7.2, 11.5, 19.2 kW at 88 %",
        &memory("sizes, and losses of charger and battery"),
    );
    plan.default(
        "chargers.common_dc",
        "25, 50, 100, 150 kW at 92 %",
        &memory("sizes, and losses of charger and battery"),
    );
    let common = |kind: ChargerKind, power_w: f64, efficiency_frac: f64| Charger {
        name: format!("{} kW {}", power_w / 1000.0, kind.as_str()),
        kind,
        power_w,
        efficiency_frac,
        curve: Vec::new(),
        is_planned: false,
    };
    found.extend(AC_SIZES_W.map(|power_w| common(ChargerKind::Ac, power_w, AC_EFFICIENCY)));
    found.extend(DC_SIZES_W.map(|power_w| common(ChargerKind::Dc, power_w, DC_EFFICIENCY)));
    found
}

fn charger(table: &Section<'_, '_>) -> Option<Charger> {
    let r = Reader { section: table };
    let kind = match table.text("kind").map(|at| at.value).as_deref() {
        Some("ac") => ChargerKind::Ac,
        Some("dc") => ChargerKind::Dc,
        other => {
            let message = format!("\"{}\" is no kind of charger", other.unwrap_or("(nothing)"));
            table.fault("pilot-charger-kind", "kind", message, "ac or dc".into());
            ChargerKind::Ac
        }
    };
    let power = table.quantity("power", Dimension::Power).map(|at| r.above_zero("power", at.value));
    if power.is_none() && !table.has("power") {
        let message = format!("[{}] has no power", table.path);
        table.fault("pilot-charger-power", "power", message, "power = \"19.2 kW\"".into());
    }
    let usual = if kind == ChargerKind::Ac { AC_EFFICIENCY } else { DC_EFFICIENCY };
    let efficiency_frac = r.share_or("efficiency", usual, &memory("battery terminals over the grid")).0;
    let named = table.text("name").map(|at| at.value);
    let curve = curve(table);
    table.finish();
    let power_w = r.possible("power", Dimension::Power, power?);
    let name = named.unwrap_or_else(|| format!("{} kW {}", power_w / 1000.0, kind.as_str()));
    Some(Charger { name, kind, power_w, efficiency_frac, curve, is_planned: true })
}

/// Power into the vehicle by state of charge, rising.
fn curve(table: &Section<'_, '_>) -> Vec<(f64, f64)> {
    let point = |point: &Section<'_, '_>| {
        let soc = point.share("state_of_charge").map(|at| at.value);
        let power = point.quantity("power", Dimension::Power).map(|at| at.value);
        point.finish();
        soc.zip(power)
    };
    let tables = table.sections("curve");
    let points: Vec<(f64, f64)> = tables.iter().filter_map(point).collect();
    let rises = points.windows(2).all(|pair| pair[0].0 < pair[1].0);
    let possible = points.iter().all(|(soc, power_w)| (0.0..=1.0).contains(soc) && *power_w >= 0.0);
    if !rises || !possible || points.len() != tables.len() {
        let message =
            "a charging curve wants states of charge that rise from 0 to 1, each with a power".to_owned();
        let hint = "curve = [{ state_of_charge = \"0 %\", power = \"60 kW\" }, { state_of_charge = \"80 %\", power = \"40 kW\" }]";
        table.fault("pilot-charger-curve", "curve", message, hint.to_owned());
    }
    points
}
