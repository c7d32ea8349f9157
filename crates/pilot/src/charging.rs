//! `[charging]`: charge sessions out of a CSV file, and what their meters measure.

use std::path::{Path, PathBuf};

use backwatt_estimate::{ChargeSession, ChargerEfficiencies, ChargerEfficiency, Metered};
use backwatt_schema::unit::Dimension;
use backwatt_schema::{JOULES_PER_KWH, Problem};
use jiff::tz::TimeZone;

use crate::document::Section;
use crate::side_table::{self, Kind, Row, Wanted, needed, optional};
use crate::spread::Reader;

/// Charge sessions by vehicle and time, and the file they are from.
#[derive(Debug, Clone)]
pub struct Charging {
    pub file: Option<PathBuf>,
    pub sessions: Vec<ChargeSession>,
    pub chargers: ChargerEfficiencies,
}

const COLUMNS: [Wanted; 8] = [
    needed("vehicle"),
    needed("from"),
    needed("until"),
    needed("energy").of(Dimension::Energy),
    optional("metered"),
    optional("state_of_charge_from").of(Dimension::Ratio),
    optional("state_of_charge_until").of(Dimension::Ratio),
    optional("power").of(Dimension::Power),
];

const KIND: Kind = Kind {
    code: "pilot-charge-sessions",
    hint: "the first line reads vehicle,from,until,energy [kWh] and may add metered, state_of_charge_from [%], \
           state_of_charge_until [%], power [kW]; times are RFC 3339, or local in the pilot's time zone",
    columns: &COLUMNS,
};

/// Charger on board: energy-weighted means of whole charges at 16 A and more.
const AC_SOURCE: &str = "0.86 to 0.96 for chargers on board, from memory; losses of measured charges: Vehicles 2021, 3(4), \
                         736-748, doi:10.3390/vehicles3040043";
const DC_SOURCE: &str = "cable and vehicle loads behind the meter, from memory, not confirmed";

pub fn read(root: &Section<'_, '_>, folder: &Path, zone: Option<&TimeZone>) -> Charging {
    let usual = |value_frac, error_frac| ChargerEfficiency { value_frac, error_frac };
    let mut charging = Charging {
        file: None,
        sessions: Vec::new(),
        chargers: ChargerEfficiencies { ac: usual(0.91, 0.05), dc: usual(0.98, 0.015) },
    };
    let Some(section) = root.section("charging") else {
        if !root.has("charging") {
            root.default("charging.sessions", "none", "capacity comes from the vehicle type");
        }
        return charging;
    };
    let chargers = &mut charging.chargers;
    for (charger, name, source) in [(&mut chargers.ac, "ac", AC_SOURCE), (&mut chargers.dc, "dc", DC_SOURCE)] {
        *charger = efficiency(&section, name, *charger, source);
    }
    let metered = metered(&section);
    charging.file = section.text("sessions").map(|at| folder.join(at.value));
    if !section.has("sessions") {
        let hint = "sessions = \"sessions.csv\"".to_owned();
        section.fault(
            "pilot-no-sessions",
            "sessions",
            "[charging] names no file of charge sessions".into(),
            hint,
        );
    }
    section.finish();
    if let Some(path) = &charging.file {
        let utc = TimeZone::UTC;
        match sessions(path, metered, zone.unwrap_or(&utc)) {
            Ok(sessions) => charging.sessions = sessions,
            Err(problems) => problems.into_iter().for_each(|problem| root.keep(problem)),
        }
    }
    charging
}

fn efficiency(
    section: &Section<'_, '_>,
    name: &str,
    usual: ChargerEfficiency,
    source: &str,
) -> ChargerEfficiency {
    let reader = Reader { section };
    let value_frac = reader.share_or(&format!("{name}_efficiency"), usual.value_frac, source).0;
    let key = format!("{name}_efficiency_error");
    let error_frac = reader.share_or(&key, usual.error_frac, source).0;
    if value_frac < 0.5 || error_frac > 0.5 {
        let message = format!("no charger is {value_frac} efficient, give or take {error_frac} of it");
        section.fault("pilot-out-of-range", &key, message, "0.91 and 0.05, say".into());
    }
    ChargerEfficiency { value_frac, error_frac }
}

fn metered(section: &Section<'_, '_>) -> Option<Metered> {
    let text = section.text("metered")?.value;
    let found = side(&text);
    if found.is_none() {
        let message = format!("\"{text}\" is no side of a charger");
        section.fault("pilot-metered", "metered", message, SIDES.to_owned());
    }
    found
}

const SIDES: &str = "\"ac\" (at the wall) or \"dc\" (at the output of the charger beside the road)";

fn side(text: &str) -> Option<Metered> {
    match text {
        "ac" => Some(Metered::Ac),
        "dc" => Some(Metered::Dc),
        _ => None,
    }
}

fn sessions(
    path: &Path,
    metered: Option<Metered>,
    zone: &TimeZone,
) -> Result<Vec<ChargeSession>, Vec<Problem>> {
    side_table::read(path, KIND, |row| session(row, metered, zone), |rows| overlaps(rows))
}

fn overlaps(rows: &mut [(ChargeSession, u64)]) -> Vec<(String, u64)> {
    side_table::overlaps(rows, |one| (&one.vehicle, one.from_ns, one.until_ns), "charge sessions")
}

fn session(row: &Row<'_>, metered: Option<Metered>, zone: &TimeZone) -> Result<ChargeSession, String> {
    let (from_ns, until_ns) = row.stretch(1, 2, zone)?;
    let hours = (until_ns - from_ns) as f64 / 3.6e12;
    if hours > 24.0 * 14.0 {
        return Err("a charge session of more than 14 days".to_owned());
    }
    let metered = match row.text(4) {
        Some(text) => side(text).ok_or_else(|| format!("\"{text}\" is no side of a charger: {SIDES}"))?,
        None => metered.ok_or_else(|| format!("nothing says what is metered: metered = {SIDES}"))?,
    };
    let energy_metered_kwh = row.needed_number(3, 0.0, 1e4 * JOULES_PER_KWH)? / JOULES_PER_KWH;
    let (soc_start_frac, soc_end_frac) = (row.number(5, 0.0, 1.0)?, row.number(6, 0.0, 1.0)?);
    if soc_start_frac.zip(soc_end_frac).is_some_and(|(start, end)| end < start) {
        return Err("the state of charge falls over the session".to_owned());
    }
    let power_max_w = row.number(7, 1.0, 1e7)?;
    // A tenth: clocks show whole minutes, and plates round.
    let most_kwh = power_max_w.map(|watts| 1.1 * watts / 1000.0 * hours);
    if let Some(most_kwh) = most_kwh.filter(|most| energy_metered_kwh > *most) {
        return Err(format!(
            "{energy_metered_kwh:.1} kWh where the charger's power gives {most_kwh:.1} kWh at most"
        ));
    }
    Ok(ChargeSession {
        vehicle: row.needed_text(0)?.to_owned(),
        from_ns,
        until_ns,
        energy_metered_kwh,
        metered,
        soc_start_frac,
        soc_end_frac,
        power_max_w,
        line: row.line,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(text: &str, metered: Option<Metered>) -> Result<Vec<ChargeSession>, Vec<Problem>> {
        let zone = TimeZone::get("Europe/Zurich").unwrap_or(TimeZone::UTC);
        side_table::parse(text, KIND, |row| session(row, metered, &zone), |rows| overlaps(rows))
    }

    fn lines(text: &str) -> Vec<(u64, String)> {
        let problems = parsed(text, Some(Metered::Ac)).err().unwrap_or_default();
        problems.into_iter().map(|p| (p.place.line.unwrap_or(0), p.message)).collect()
    }

    #[test]
    fn a_session_arrives_in_kilowatt_hours() {
        let text = "vehicle,from,until,energy [MJ],metered,state_of_charge_from [%],state_of_charge_until [1],power [kW]\n\
                    T2,2026-01-05T18:00,2026-01-06T02:00,180,,12,0.99,22\n\
                    T1,2026-01-05T17:00:00Z,2026-01-05T18:00:00Z,72,dc,,,\n";
        let found = parsed(text, Some(Metered::Ac)).unwrap_or_else(|p| panic!("{p:#?}"));
        assert_eq!((found[0].vehicle.as_str(), found[0].metered, found[0].line), ("T1", Metered::Dc, 3));
        assert_eq!(found[0].from_ns, found[1].from_ns, "six in Zurich is five in UTC");
        assert!((found[1].energy_metered_kwh - 50.0).abs() < 1e-12);
        assert_eq!((found[1].soc_start_frac, found[1].soc_end_frac), (Some(0.12), Some(0.99)));
        assert_eq!((found[1].power_max_w, found[0].power_max_w), (Some(22_000.0), None));
    }

    #[test]
    fn every_kind_of_fault_is_named_with_its_line() {
        let head = "vehicle,from,until,energy [kWh],metered,state_of_charge_from [%],state_of_charge_until [%],power [kW]\n";
        let faults = [
            ("T1,2026-01-05T18:00,2026-01-05T17:00,10,,,,", "is not after"),
            ("T1,tonight,2026-01-05T17:00,10,,,,", "is no time"),
            ("T1,2026-01-05T18:00,2026-01-05T20:00,-1,,,,", "beyond what \"energy\" can be"),
            ("T1,2026-01-05T18:00,2026-01-05T20:00,,,,,", "\"energy\" is blank"),
            ("T1,2026-01-05T18:00,2026-01-05T20:00,10,wall,,,", "no side of a charger"),
            ("T1,2026-01-05T18:00,2026-01-05T20:00,10,,101,,", "beyond what \"state_of_charge_from\" can be"),
            ("T1,2026-01-05T18:00,2026-01-05T20:00,10,,80,20,", "falls over the session"),
            ("T1,2026-01-05T18:00,2026-01-05T20:00,100,,,,22", "48.4 kWh at most"),
            (",2026-01-05T18:00,2026-01-05T20:00,10,,,,", "\"vehicle\" is blank"),
            ("T1,2026-01-05T18:00,2026-03-05T20:00,10,,,,", "more than 14 days"),
            ("T1,2026-01-05T18:00", "2 cells where the header has 8"),
        ];
        for (line, message) in faults {
            let found = lines(&format!("{head}{line}\n"));
            assert!(found.len() == 1 && found[0].0 == 2 && found[0].1.contains(message), "{line}: {found:?}");
        }
        let twice = format!(
            "{head}T1,2026-01-05T18:00,2026-01-05T20:00,10,,,,\nT2,2026-01-05T18:00,2026-01-05T20:00,10,,,,\n\
             T1,2026-01-05T19:00,2026-01-05T21:00,10,,,,\n"
        );
        let found = lines(&twice);
        assert!(found.len() == 1 && found[0].0 == 4 && found[0].1.contains("on line 2"), "{found:?}");
    }

    #[test]
    fn which_side_is_metered_has_to_be_said() {
        let text = "vehicle,from,until,energy [kWh]\nT1,2026-01-05T18:00,2026-01-05T20:00,10\n";
        assert!(parsed(text, Some(Metered::Dc)).is_ok_and(|found| found[0].metered == Metered::Dc));
        let why = parsed(text, None).err().map(|problems| problems[0].message.clone()).unwrap_or_default();
        assert!(why.contains("nothing says what is metered"), "{why}");
    }
}
