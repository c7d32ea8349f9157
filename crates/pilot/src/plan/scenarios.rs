//! What the model is asked for beyond what was driven: the plan's scenario, and days harder than those of the pilot.

use std::collections::BTreeMap;

use backwatt_estimate::level_scenario;
use backwatt_estimate::plan::{ONE_PACK_MORE, SPEED_CAP, gap_scenarios};
use backwatt_physics::{Amount, Climate, Driving, Scenario};
use backwatt_schema::unit::Dimension;
use backwatt_schema::{METRES_PER_MILE, Problem};

use super::{Plan, memory};
use crate::VehicleType;
use crate::document::Section;
use crate::spread::{PRACTICE, Reader};
use crate::what_if::WhatIf;

/// What a cab takes where nobody says: 1 to 6 kW, from memory, not confirmed.
pub const USUAL_CAB: Climate = Climate {
    heating_below_k: 290.15,
    heating_w_per_k: 120.0,
    cooling_above_k: 296.15,
    cooling_w_per_k: 100.0,
    power_max_w: 6000.0,
};

/// `[plan.scenario]`: what the planned energy was reckoned with. `None`: the plan does not say.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PlanScenario {
    pub driving: Option<Driving>,
    pub payload_kg: Option<f64>,
    pub is_level_road: bool,
    pub temperature_k: Option<f64>,
    pub aux_w: Option<f64>,
    pub level: Option<String>,
}

/// `[plan.hard_days]`
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HardDays {
    pub hot_k: f64,
    pub cold_k: f64,
    /// `None`: the upper payload of each sheet.
    pub heavy_kg: Option<f64>,
    /// No day, but asked of the same trips beside those above.
    pub speed_cap_m_s: f64,
    pub cold_usable_frac: f64,
    pub worn_usable_frac: f64,
}

/// Places of the causes in [`backwatt_estimate::plan::CAUSES`].
const SPEED: usize = 0;
const PAYLOAD: usize = 1;
const GRADE: usize = 2;
const TEMPERATURE: usize = 3;
const LEVEL: usize = 4;

/// The scenario, and the causes it states.
pub fn scenario(plan: &Section<'_, '_>, types: &BTreeMap<String, VehicleType>) -> (PlanScenario, Vec<usize>) {
    let Some(table) = plan.section("scenario") else {
        if !plan.has("scenario") {
            plan.default("scenario", "none", "the gap to the plan is not split by cause");
        }
        return (PlanScenario::default(), Vec::new());
    };
    let r = Reader { section: &table };
    let possible = |key: &str, dimension: Dimension| {
        table.quantity(key, dimension).map(|at| r.possible(key, dimension, at.value))
    };
    let level = table.text("regen_level").map(|at| at.value);
    if let Some(wanted) = &level
        && !types.values().any(|of| of.sheet.nominal.level_named(wanted).is_some())
    {
        let message = format!("no vehicle type has a level \"{wanted}\"");
        table.fault(
            "pilot-unknown-level",
            "regen_level",
            message,
            "a level of [vehicle_types.ID.levels]".into(),
        );
    }
    let grade = table.text("grade").map(|at| at.value);
    if grade.as_deref().is_some_and(|grade| grade != "level") {
        let message = "a plan's roads are level, or as they are".to_owned();
        table.fault("pilot-plan-grade", "grade", message, "\"level\", or leave it out".into());
    }
    let found = PlanScenario {
        payload_kg: possible("payload", Dimension::Mass),
        is_level_road: grade.is_some(),
        temperature_k: possible("temperature", Dimension::Temperature),
        aux_w: possible("aux_power", Dimension::Power),
        level,
        driving: driving(&table, &r),
    };
    table.finish();
    let stated = [
        found.driving.is_some(),
        found.payload_kg.is_some(),
        found.is_level_road,
        found.temperature_k.is_some() || found.aux_w.is_some(),
        found.level.is_some(),
    ];
    let causes = (0..stated.len()).filter(|cause| stated[*cause]).collect();
    (found, causes)
}

fn driving(table: &Section<'_, '_>, r: &Reader<'_, '_, '_>) -> Option<Driving> {
    let cruise = table.quantity("cruise_speed", Dimension::Speed).map(|at| at.value);
    let stops = table.number("stops_per_mile").map(|at| at.value);
    let stop_s = table.quantity("stop_time", Dimension::Time).map(|at| at.value.max(0.0));
    let asked = ["cruise_speed", "stops_per_mile", "stop_time", "acceleration", "deceleration"]
        .iter()
        .any(|key| table.has(key));
    if !asked {
        return None;
    }
    let rate = |key: &str| r.or(key, Dimension::Acceleration, 1.0, "1 m/s2", PRACTICE).0;
    let (accel_m_s2, decel_m_s2) = (rate("acceleration"), rate("deceleration"));
    let sound = cruise.is_some_and(|speed| (1.0..=60.0).contains(&speed))
        && stops.is_some_and(|stops| (0.0..=100.0).contains(&stops))
        && [accel_m_s2, decel_m_s2].iter().all(|rate| (0.05..=8.0).contains(rate));
    if !sound {
        let key = if table.has("cruise_speed") { "stops_per_mile" } else { "cruise_speed" };
        let message =
            "driving as planned needs a cruising speed, stops per mile and rates a truck can have".to_owned();
        let hint =
            "cruise_speed = \"30 mph\" and stops_per_mile = 2.5; acceleration and deceleration may be left out"
                .to_owned();
        table.fault("pilot-plan-driving", key, message, hint);
        return None;
    }
    Some(Driving { cruise_m_s: cruise?, stops_per_m: stops? / METRES_PER_MILE, accel_m_s2, decel_m_s2, stop_s })
}

const CAP_MI_H: f64 = 45.0;
const CAP_LEAST_M_S: f64 = 1.0;
const OURS: &str = "ours, no source";

pub fn hard_days(plan: &Section<'_, '_>) -> HardDays {
    let table = plan.section("hard_days");
    let empty = plan.nothing("hard_days");
    let section = table.as_ref().unwrap_or(&empty);
    let r = Reader { section };
    let found = HardDays {
        hot_k: r.or("hot", Dimension::Temperature, 308.15, "35 degC", PRACTICE).0,
        cold_k: r.or("cold", Dimension::Temperature, 263.15, "-10 degC", PRACTICE).0,
        heavy_kg: section
            .quantity("heavy", Dimension::Mass)
            .map(|at| r.possible("heavy", Dimension::Mass, at.value)),
        speed_cap_m_s: r
            .or("speed_cap", Dimension::Speed, CAP_MI_H * METRES_PER_MILE / 3600.0, "45 mph", OURS)
            .0,
        cold_usable_frac: r.share_or("cold_usable", 0.9, &memory("usable energy of a cold battery")).0,
        worn_usable_frac: r
            .share_or(
                "worn_usable",
                0.8,
                "usual end of service of a traction battery; common practice, no source",
            )
            .0,
    };
    if found.speed_cap_m_s < CAP_LEAST_M_S {
        let message = "nobody drives a round below a walk".to_owned();
        section.fault(
            "pilot-plan-speed-cap",
            "speed_cap",
            message,
            "speed_cap = \"45 mph\", or leave it out".into(),
        );
    }
    if !section.has("heavy") {
        section.default("heavy", "payload_high of each type", "the heaviest load its sheet speaks of");
    }
    if let Some(table) = &table {
        table.finish();
    }
    found
}

impl Plan {
    /// Every scenario the plan's questions ask of a vehicle type.
    pub fn scenarios(&self, name: &str, of: &VehicleType) -> Result<Vec<Scenario>, Box<Problem>> {
        let plain = |(text, what_if): (String, WhatIf)| built(text, name, of, &what_if);
        let mut scenarios = self.single_changes(of).into_iter().map(plain).collect::<Result<Vec<_>, _>>()?;
        let all = self.settings.causes.len();
        for (text, causes) in gap_scenarios(&self.settings.causes) {
            // Each cause alone and all together have bounds; the sets between only share out what causes do together.
            let has_ends = causes.len() == 1 || causes.len() == all;
            scenarios.push(Scenario { has_ends, ..self.of_causes(text, &causes, name, of)? });
        }
        Ok(scenarios)
    }

    /// One thing changed at a time, each to one value, by the name of its scenario.
    pub fn single_changes(&self, of: &VehicleType) -> Vec<(String, WhatIf)> {
        let hard = &self.hard_days;
        let mut asked = vec![
            ("hot".to_owned(), at_temperature(hard.hot_k)),
            ("cold".to_owned(), at_temperature(hard.cold_k)),
            ("heavy".to_owned(), loaded(hard.heavy_kg.unwrap_or(of.sheet.high.payload_kg))),
            (SPEED_CAP.to_owned(), capped(hard.speed_cap_m_s)),
        ];
        if let (Some(packs), Some(_)) = (of.packs, of.pack_energy_kwh) {
            asked.push((ONE_PACK_MORE.to_owned(), WhatIf { packs: Some(packs + 1.0), ..WhatIf::default() }));
        }
        let levels = &of.sheet.nominal.levels;
        for level in levels.iter().filter(|_| levels.len() > 1) {
            let mut what_if = WhatIf::default();
            what_if.change.level = Some(level.name.clone());
            asked.push((level_scenario(&level.name), what_if));
        }
        asked
    }

    /// What was driven with these causes as the plan has them.
    fn of_causes(
        &self,
        text: String,
        causes: &[usize],
        name: &str,
        of: &VehicleType,
    ) -> Result<Scenario, Box<Problem>> {
        let wanted = &self.scenario;
        let has = |cause: usize| causes.contains(&cause);
        let mut what_if = WhatIf::default();
        let change = &mut what_if.change;
        if has(PAYLOAD) {
            change.payload_kg = wanted.payload_kg.map(Amount::Set);
        }
        if has(TEMPERATURE) {
            change.temperature = wanted.temperature_k.map(Amount::Set);
            change.aux_w = wanted.aux_w.map(Amount::Set);
        }
        if has(LEVEL) {
            // A type without this level keeps what was driven.
            change.level = wanted.level.clone().filter(|level| of.sheet.nominal.level_named(level).is_some());
        }
        let driving = wanted.driving.filter(|_| has(SPEED));
        let is_level_road = wanted.is_level_road && has(GRADE);
        Ok(Scenario { driving, is_level_road, ..built(text, name, of, &what_if)? })
    }
}

fn at_temperature(kelvin: f64) -> WhatIf {
    let mut what_if = WhatIf::default();
    what_if.change.temperature = Some(Amount::Set(kelvin));
    what_if
}

fn capped(speed_m_s: f64) -> WhatIf {
    let mut what_if = WhatIf::default();
    what_if.change.speed_cap_m_s = Some(speed_m_s);
    what_if
}

fn loaded(payload_kg: f64) -> WhatIf {
    let mut what_if = WhatIf::default();
    what_if.change.payload_kg = Some(Amount::Set(payload_kg));
    what_if
}

fn built(text: String, name: &str, of: &VehicleType, what_if: &WhatIf) -> Result<Scenario, Box<Problem>> {
    let (_, after) = what_if.sides(name, of)?;
    let mut change = what_if.change.clone();
    let speed_cap_m_s = change.speed_cap_m_s.take();
    Ok(Scenario {
        name: text,
        sheet: after.sheet,
        change,
        speed_cap_m_s,
        is_level_road: false,
        driving: None,
        climate: USUAL_CAB,
        has_ends: true,
    })
}
