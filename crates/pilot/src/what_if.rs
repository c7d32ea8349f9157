//! A change asked for in words: `level=high`, `payload=+800kg`, `packs=5`.

use backwatt_physics::replay::Vehicle;
use backwatt_physics::{Amount, Change, Sheet, Truck};
use backwatt_schema::unit::{Dimension, parse_quantity};
use backwatt_schema::{JOULES_PER_KWH, Problem, nearest};

use crate::VehicleType;

/// What is changed, on the sheet and in the logs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WhatIf {
    pub change: Change,
    pub packs: Option<f64>,
    pub rolling_resistance: Option<Amount>,
}

const KEYS: [&str; 8] = ["level", "payload", "packs", "aux", "temperature", "speed_cap", "tyres", "headwind"];

/// Reads every `key=value`; all faults are returned, not only the first.
pub fn parse(words: &[String]) -> Result<WhatIf, Vec<Problem>> {
    let mut what_if = WhatIf::default();
    let mut problems = Vec::new();
    let mut seen: Vec<&str> = Vec::new();
    for word in words {
        let parts = word.split_once('=').map(|(key, value)| (key.trim(), value.trim()));
        let taken = match parts {
            Some((key, _)) if seen.contains(&key) => Err(format!("{key} is asked for twice")),
            Some((key, value)) => {
                seen.push(key);
                what_if.take(key, value)
            }
            None => Err(format!("\"{word}\" is no change")),
        };
        if let Err(message) = taken {
            let near = parts.and_then(|(key, _)| nearest(key, KEYS));
            let near = near
                .filter(|near| !seen.contains(near))
                .map_or(String::new(), |near| format!("did you mean {near}? "));
            let hint = format!(
                "{near}one of level=NAME, payload=+800kg (or =1200kg, =-10%), packs=5, aux=+1kW, temperature=-10degC \
                 (or =+5K), speed_cap=50mph, tyres=0.006 (or =-10%), headwind=5m/s"
            );
            problems.push(Problem::error("what-if-unreadable", message).named(word.clone()).hint(hint));
        }
    }
    what_if.change.text = words.join(", ");
    if problems.is_empty() { Ok(what_if) } else { Err(problems) }
}

impl WhatIf {
    fn take(&mut self, key: &str, value: &str) -> Result<(), String> {
        let change = &mut self.change;
        match key {
            "level" if !value.is_empty() => change.level = Some(value.to_owned()),
            "payload" => change.payload_kg = Some(amount(value, Dimension::Mass, 5e4)?),
            "aux" => change.aux_w = Some(amount(value, Dimension::Power, 1e5)?),
            "headwind" => change.headwind = Some(amount(value, Dimension::Speed, 60.0)?),
            "temperature" => change.temperature = Some(temperature(value)?),
            "speed_cap" => {
                let cap = set(value, Dimension::Speed)?;
                if !(1.0..=60.0).contains(&cap) {
                    return Err(format!("nobody drives at {value}"));
                }
                change.speed_cap_m_s = Some(cap);
            }
            "packs" => {
                let packs: f64 = value.parse().map_err(|_| format!("\"{value}\" is no number of packs"))?;
                if !(packs > 0.0 && packs <= 100.0) {
                    return Err(format!("{value} packs are not possible"));
                }
                self.packs = Some(packs);
            }
            "tyres" => self.rolling_resistance = Some(tyres(value)?),
            _ => return Err(format!("\"{key}={value}\" is no change")),
        }
        Ok(())
    }

    /// A vehicle type before and after. Errors: a level it does not have; packs whose energy the sheet does not state.
    pub fn sides(&self, name: &str, of: &VehicleType) -> Result<(Vehicle, Vehicle), Box<Problem>> {
        let capacity_j = of.battery.as_ref().map(|battery| battery.capacity_kwh * JOULES_PER_KWH);
        let before = Vehicle { sheet: of.sheet.clone(), capacity_j };
        if let Some(level) = &self.change.level
            && of.sheet.nominal.level_named(level).is_none()
        {
            let names: Vec<&str> = of.sheet.nominal.levels.iter().map(|level| level.name.as_str()).collect();
            let message = format!("vehicle type \"{name}\" has no level \"{level}\"");
            let problem = Problem::error("what-if-unknown-level", message);
            return Err(Box::new(problem.hint(format!("levels: {}", names.join(", ")))));
        }
        let mut after = before.clone();
        for truck in after.sheet.trucks_mut() {
            self.change_truck(truck);
        }
        if let Some(packs) = self.packs {
            let (Some(now), Some(each_kwh)) = (of.packs, of.pack_energy_kwh) else {
                let message = format!("vehicle type \"{name}\" states no packs and pack_energy");
                let hint = "packs = 3 and pack_energy = \"20 kW.h\" in its section".to_owned();
                return Err(Box::new(Problem::error("what-if-no-packs", message).hint(hint)));
            };
            let more_kg = (packs - now) * each_kwh * of.pack_mass_kg_per_kwh;
            change_packs(&mut after.sheet, packs / now, more_kg);
            after.capacity_j = capacity_j.map(|capacity| capacity * packs / now);
        }
        Ok((before, after))
    }

    fn change_truck(&self, truck: &mut Truck) {
        if let Some(payload) = self.change.payload_kg {
            truck.payload_kg = payload.of(truck.payload_kg).max(0.0);
        }
        if let Some(aux) = self.change.aux_w {
            truck.aux_power_w = aux.of(truck.aux_power_w).max(0.0);
        }
        if let Some(rolling) = self.rolling_resistance {
            truck.rolling_resistance = rolling.of(truck.rolling_resistance).max(0.0);
        }
    }
}

/// More packs weigh more and accept more.
fn change_packs(sheet: &mut Sheet, factor: f64, more_kg: f64) {
    for truck in sheet.trucks_mut() {
        truck.mass_empty_kg = (truck.mass_empty_kg + more_kg).max(1.0);
        truck.acceptance.power_max_w *= factor;
    }
}

/// A quantity; with a sign it is laid upon the value, with a percent sign it scales it.
fn amount(value: &str, dimension: Dimension, most: f64) -> Result<Amount, String> {
    if let Some(percent) = value.strip_suffix('%') {
        return share(percent).map(Amount::Times);
    }
    let quantity = set(value, dimension)?;
    if quantity.abs() > most {
        return Err(format!("{value} is beyond what a road vehicle can have"));
    }
    Ok(if value.starts_with(['+', '-']) { Amount::Add(quantity) } else { Amount::Set(quantity) })
}

/// A temperature; in kelvin it is a difference.
fn temperature(value: &str) -> Result<Amount, String> {
    if let Some(kelvin) = value.strip_suffix('K') {
        let kelvin: f64 = kelvin.trim().parse().map_err(|_| format!("\"{value}\" is no temperature"))?;
        return if kelvin.abs() <= 100.0 {
            Ok(Amount::Add(kelvin))
        } else {
            Err(format!("{value} is no weather"))
        };
    }
    let kelvin = set(value, Dimension::Temperature)?;
    if (200.0..=340.0).contains(&kelvin) {
        Ok(Amount::Set(kelvin))
    } else {
        Err(format!("{value} is no weather"))
    }
}

fn tyres(value: &str) -> Result<Amount, String> {
    if let Some(percent) = value.strip_suffix('%') {
        return share(percent).map(Amount::Times);
    }
    let coefficient: f64 = value.parse().map_err(|_| format!("\"{value}\" is no rolling resistance"))?;
    if (0.0..0.1).contains(&coefficient) {
        Ok(Amount::Set(coefficient))
    } else {
        Err(format!("{value} is no rolling resistance"))
    }
}

/// "-10" percent as the factor 0.9.
fn share(percent: &str) -> Result<f64, String> {
    let percent: f64 = percent.trim().parse().map_err(|_| format!("\"{percent} %\" is no share"))?;
    if percent > -100.0 && percent <= 1000.0 {
        Ok(1.0 + percent / 100.0)
    } else {
        Err(format!("{percent} % more leaves nothing sensible"))
    }
}

fn set(value: &str, dimension: Dimension) -> Result<f64, String> {
    match parse_quantity(value) {
        Ok((quantity, of)) if of == dimension => Ok(quantity),
        Ok((_, of)) => Err(format!("\"{value}\" is of {of}, not of {dimension}")),
        Err(error) => Err(format!("\"{value}\": {error}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(words: &[&str]) -> Result<WhatIf, Vec<Problem>> {
        parse(&words.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>())
    }

    #[test]
    fn changes_are_read_with_sign_and_unit() {
        let what_if =
            read(&["level=high", "payload=+800kg", "packs=5", "temperature=-10 degC", "tyres=-10%"]).unwrap();
        assert_eq!(what_if.change.level.as_deref(), Some("high"));
        assert_eq!(what_if.change.payload_kg, Some(Amount::Add(800.0)));
        assert_eq!(what_if.packs, Some(5.0));
        assert_eq!(what_if.change.temperature, Some(Amount::Set(263.15)));
        assert_eq!(what_if.rolling_resistance, Some(Amount::Times(0.9)));
        assert_eq!(read(&["payload=1200kg"]).unwrap().change.payload_kg, Some(Amount::Set(1200.0)));
        assert_eq!(read(&["temperature=+5K"]).unwrap().change.temperature, Some(Amount::Add(5.0)));
        assert!((read(&["speed_cap=50 mph"]).unwrap().change.speed_cap_m_s.unwrap() - 22.352).abs() < 1e-9);
    }

    #[test]
    fn every_fault_is_named_with_what_would_do() {
        let faults = read(&["paylod=800kg", "payload=5mph", "packs=zero", "level=", "speed_cap=900mph", "x"])
            .unwrap_err();
        assert_eq!(faults.len(), 6);
        assert!(faults[0].hint.starts_with("did you mean payload?"), "{}", faults[0].hint);
        assert!(faults[1].message.contains("speed"), "{}", faults[1].message);
        assert!(read(&["packs=3", "packs=4"]).is_err());
    }
}
