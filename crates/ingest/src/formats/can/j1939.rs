//! SAE J1939: parameter groups in 29-bit identifiers, codes that are no values, and the signals known without a database.

use super::bits::{Order, Place};
use super::database::{Database, Message, Number, Signal};
use super::decimal::Scale;

/// No node sends from here, so that a database that names this sender means any (SAE J1939-81, null address).
pub const NULL_ADDRESS: u8 = 254;

/// The parameter group of an identifier. Below format 240 the low byte is a destination, not part of the group
/// (SAE J1939-21, 5.2).
pub fn group(id: u32) -> u32 {
    let group = id >> 8 & 0x3_FFFF;
    if destination_is_group(id) { group } else { group & 0x3_FF00 }
}

fn destination_is_group(id: u32) -> bool {
    id >> 16 & 0xFF >= 240
}

pub fn sender(id: u32) -> u8 {
    id.to_le_bytes()[0]
}

pub fn destination(id: u32) -> u8 {
    id.to_le_bytes()[1]
}

/// Whether a count of so many bits is a code instead of a value (SAE J1939-71, 5.1.4). From a byte up, the highest byte
/// decides: 0xFB to 0xFD are the parameter's own indicators, 0xFE says error, 0xFF not available. In two to seven bits all
/// ones say not available and the count below them error. A single bit has no room for codes.
pub fn is_reserved(raw: u64, bits: usize) -> bool {
    match bits {
        0 | 1 => false,
        2..8 => raw >= (1 << bits) - 2,
        _ => raw >> (bits - 8) >= 0xFB,
    }
}

/// How far the layout of a signal is confirmed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// Layout and scale stand in public code or databases.
    Confirmed,
    /// Layout confirmed, scale from memory.
    Layout,
    Memory,
}

/// A signal of the table below.
pub struct Parameter {
    pub group: u32,
    /// The group's acronym.
    pub message: &'static str,
    /// Suspect parameter number, where it has one here.
    pub number: Option<u32>,
    pub name: &'static str,
    pub start_bit: u64,
    pub bits: u64,
    pub factor: f64,
    pub offset: f64,
    pub known: Known,
}

#[expect(clippy::too_many_arguments, reason = "one row of a flat table")]
const fn row(
    group: u32,
    message: &'static str,
    number: u32,
    name: &'static str,
    (byte, bit): (u64, u64),
    bits: u64,
    factor: f64,
    offset: f64,
    known: Known,
) -> Parameter {
    let number = if number == 0 { None } else { Some(number) };
    let start_bit = (byte - 1) * 8 + bit - 1;
    Parameter { group, message, number, name, start_bit, bits, factor, offset, known }
}

/// The signals known without a database: parameter group, acronym, suspect parameter number, field, first byte and bit
/// (from 1, as the standard counts), bits, resolution, offset.
///
/// Source: parameter groups and suspect parameters of SAE J1939-71 and the J1939 Digital Annex; what public code and databases
/// confirm of each, and what is from memory, is the last column. Current and its sign are to be proved on data.
pub static PARAMETERS: [Parameter; 24] = {
    use Known::{Confirmed, Layout, Memory};
    [
        row(65265, "CCVS1", 84, "wheel_based_vehicle_speed_km_h", (2, 1), 16, 0.003_906_25, 0.0, Confirmed),
        row(65265, "CCVS1", 597, "brake_switch", (4, 5), 2, 1.0, 0.0, Confirmed),
        row(65132, "TCO1", 1624, "tachograph_vehicle_speed_km_h", (7, 1), 16, 0.003_906_25, 0.0, Confirmed),
        row(61441, "EBC1", 563, "abs_active", (1, 5), 2, 1.0, 0.0, Confirmed),
        row(61441, "EBC1", 521, "brake_pedal_position_pct", (2, 1), 8, 0.4, 0.0, Confirmed),
        row(61440, "ERC1", 520, "actual_retarder_torque_pct", (2, 1), 8, 1.0, -125.0, Layout),
        row(65269, "AMB", 108, "barometric_pressure_kpa", (1, 1), 8, 0.5, 0.0, Confirmed),
        row(65269, "AMB", 171, "ambient_air_temperature_degc", (4, 1), 16, 0.03125, -273.0, Confirmed),
        row(65269, "AMB", 79, "road_surface_temperature_degc", (7, 1), 16, 0.03125, -273.0, Confirmed),
        row(65267, "VP1", 584, "latitude_deg", (1, 1), 32, 1e-7, -210.0, Confirmed),
        row(65267, "VP1", 585, "longitude_deg", (5, 1), 32, 1e-7, -210.0, Confirmed),
        row(65256, "VDS", 517, "navigation_based_vehicle_speed_km_h", (3, 1), 16, 0.003_906_25, 0.0, Layout),
        row(65256, "VDS", 580, "altitude_m", (7, 1), 16, 0.125, -2500.0, Layout),
        row(65248, "VD", 245, "total_vehicle_distance_km", (5, 1), 32, 0.125, 0.0, Confirmed),
        row(65217, "VDHR", 917, "high_resolution_total_vehicle_distance_m", (1, 1), 32, 5.0, 0.0, Confirmed),
        row(65136, "CVW", 1760, "gross_combination_vehicle_weight_kg", (2, 1), 16, 10.0, 0.0, Memory),
        row(61584, "HVESSD1", 5917, "available_discharge_power_kw", (1, 1), 16, 0.05, 0.0, Layout),
        row(61584, "HVESSD1", 5918, "available_charge_power_kw", (3, 1), 16, 0.05, 0.0, Layout),
        row(61584, "HVESSD1", 5919, "energy_storage_voltage_v", (5, 1), 16, 0.05, 0.0, Layout),
        row(61584, "HVESSD1", 5920, "energy_storage_current_a", (7, 1), 16, 0.05, -1600.0, Layout),
        row(61585, "HVESSD2", 5921, "fast_update_state_of_charge_pct", (1, 1), 16, 0.001_562_5, 0.0, Layout),
        row(61586, "HVESSD3", 0, "highest_cell_temperature_degc", (1, 1), 16, 0.03125, -273.0, Layout),
        row(61586, "HVESSD3", 0, "lowest_cell_temperature_degc", (3, 1), 16, 0.03125, -273.0, Layout),
        row(61600, "HVESSD7", 0, "charge_energy_capacity_kwh", (4, 1), 24, 0.001, 0.0, Confirmed),
    ]
};

impl Parameter {
    /// The unit that its name ends in.
    pub fn unit(&self) -> &'static str {
        const UNITS: [(&str, &str); 10] = [
            ("_km_h", "km/h"),
            ("_km", "km"),
            ("_m", "m"),
            ("_pct", "%"),
            ("_deg", "deg"),
            ("_degc", "degC"),
            ("_kpa", "kPa"),
            ("_kg", "kg"),
            ("_kw", "kW"),
            ("_kwh", "kW.h"),
        ];
        let electric = [("_v", "V"), ("_a", "A")];
        let unit = UNITS.iter().chain(&electric).find(|(end, _)| self.name.ends_with(end));
        unit.map_or("", |(_, unit)| unit)
    }
}

/// The table as a database.
pub fn built_in() -> Database {
    let mut messages: Vec<Message> = Vec::new();
    for parameter in &PARAMETERS {
        let Some(place) = Place::new(parameter.start_bit, parameter.bits, Order::Intel) else { continue };
        // Priority and sender are of no account when the group is what matches.
        let id = parameter.group << 8 | u32::from(NULL_ADDRESS);
        if messages.last().is_none_or(|message| message.id != id) {
            let name = parameter.message.to_owned();
            messages.push(Message { name, id, extended: true, j1939: true, signals: Vec::new() });
        }
        if let Some(message) = messages.last_mut() {
            message.signals.push(Signal {
                name: parameter.name.to_owned(),
                unit: parameter.unit().to_owned(),
                place,
                number: Number::Unsigned,
                scale: Scale::new(parameter.factor, parameter.offset),
                range: None,
                gate: None,
            });
        }
    }
    Database::new(messages)
}

#[cfg(test)]
mod tests {
    use super::super::database::Value;
    use super::*;

    #[test]
    fn groups_of_identifiers() {
        // 0x18FEF100: CCVS1 (65265) from address 0. 0x18EAFF03: a request (59904) to all, from 3.
        assert_eq!((group(0x18FE_F100), sender(0x18FE_F100)), (65265, 0));
        assert_eq!((group(0x18EA_FF03), destination(0x18EA_FF03)), (59904, 255));
        // With the data page bit.
        assert_eq!(group(0x19FE_F1FE), 0x1_FEF1);
    }

    /// The ranges that the standard prints for one, two and four bytes and for two bits.
    #[test]
    fn reserved_codes_by_length() {
        for (bits, last_valid) in [(8, 0xFA), (16, 0xFAFF), (24, 0xFA_FFFF), (32, 0xFAFF_FFFF), (2, 1), (4, 13)]
        {
            let all: u64 = (1 << bits) - 1;
            assert!(!is_reserved(last_valid, bits) && is_reserved(last_valid + 1, bits), "{bits}");
            assert!(is_reserved(all, bits) && is_reserved(all - 1, bits), "{bits}");
        }
        assert!(!is_reserved(1, 1));
        assert!(is_reserved(u64::MAX, 64) && !is_reserved(0xFAFF_FFFF_FFFF_FFFF, 64));
    }

    proptest::proptest! {
        /// A speed is never above 250.996 km/h, whatever the two bytes.
        #[test]
        fn no_speed_of_a_reserved_code(raw: u16) {
            let database = built_in();
            let message = &database.messages[database.message(0x18FE_F1A7, true).unwrap()];
            let [low, high] = raw.to_le_bytes();
            match message.value(0, &[0xFF, low, high, 0, 0, 0, 0, 0]) {
                Value::Text(text) => {
                    proptest::prop_assert_eq!(text.parse::<f64>().unwrap(), f64::from(raw) / 256.0);
                    proptest::prop_assert!(raw <= 0xFAFF);
                }
                Value::Missing => proptest::prop_assert!(raw > 0xFAFF),
                other => proptest::prop_assert!(false, "{:?}", other),
            }
        }
    }

    /// A position by hand: 47.3765° is (47.3765 + 210) · 10^7 = 2 573 765 000 counts, 0x9968_A988.
    #[test]
    fn a_position() {
        let database = built_in();
        let message = &database.messages[database.of_group(65267, 0x17).unwrap()];
        let data = 2_573_765_000_u32.to_le_bytes();
        assert_eq!(message.value(0, &data), Value::Text("47.3765".to_owned()));
        assert_eq!(message.value(1, &data), Value::Cut);
        assert_eq!(message.value(0, &[0xFF; 8]), Value::Missing);
    }

    #[test]
    fn fields_are_told_apart() {
        let mut names: Vec<_> = PARAMETERS.iter().map(|parameter| parameter.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), PARAMETERS.len());
        for parameter in &PARAMETERS {
            let unit = parameter.unit();
            let is_flag = parameter.bits == 2;
            assert_eq!(unit.is_empty(), is_flag, "{}", parameter.name);
            assert!(is_flag || backwatt_schema::unit::Unit::parse(unit).is_some(), "{unit}");
        }
        assert_eq!(built_in().messages.iter().map(|m| m.signals.len()).sum::<usize>(), PARAMETERS.len());
    }

    /// The table against `reference/j1939_signals.csv`, where that lies beside the repository.
    #[test]
    fn the_table_is_that_of_the_reference() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/reference/j1939_signals.csv");
        let Ok(text) = std::fs::read_to_string(path) else {
            println!("SKIPPED: no {path}");
            return;
        };
        let number = |text: &str| text.trim_start_matches("about ").parse::<f64>();
        let mut met = 0;
        for line in text.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit())) {
            let cells: Vec<&str> = line.split(',').collect();
            let Ok(spn) = cells[1].parse::<u32>() else { continue };
            let ours = PARAMETERS.iter().find(|parameter| parameter.number == Some(spn)).unwrap();
            assert_eq!(cells[0].parse(), Ok(ours.group), "{line}");
            // "4 (bits 5-6)", "2-3" or "2", bytes and bits from 1.
            let (bytes, bits) = cells[3].split_once(" (bits ").unwrap_or((cells[3], "1-8"));
            let (first, last) = bytes.split_once('-').unwrap_or((bytes, bytes));
            let (low, high) = bits.trim_end_matches(')').split_once('-').unwrap();
            let [first, last, low, high] = [first, last, low, high].map(|text| text.parse::<u64>().unwrap());
            assert_eq!(ours.start_bit, (first - 1) * 8 + low - 1, "{line}");
            assert_eq!(ours.bits, (last - first) * 8 + high - low + 1, "{line}");
            assert_eq!(
                ours.factor,
                if cells[4] == "2-bit" { 1.0 } else { number(cells[4]).unwrap() },
                "{line}"
            );
            assert_eq!(ours.offset, number(cells[5]).unwrap_or(0.0), "{line}");
            met += 1;
        }
        assert_eq!(met, PARAMETERS.iter().filter(|parameter| parameter.number.is_some()).count());
    }
}
