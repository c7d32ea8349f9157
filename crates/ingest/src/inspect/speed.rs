//! The unit of a speed that the log does not state, by the way between its fixes.

use backwatt_schema::unit::Unit;
use jiff::tz::TimeZone;

use super::{Clock, ColumnGuess, Look, TimeGuess};
use crate::frame::{Frame, Row};
use crate::rules::units::Witness;
use crate::settings::{CellUnit, TimeKind};
use crate::signal::{CURRENT, ENGINE, GROSS_WEIGHT, LATITUDE, LONGITUDE, POWER, SOC, SPEED, VOLTAGE, position};
use crate::time::parse_time;
use crate::value::parse_cell;

/// A unit that was named is beyond this.
const SURE: f64 = 0.9;

/// Puts the unit that fits into the guess of the speed, where the log names none.
pub fn settle_unit(looks: &[Look], time: &TimeGuess, columns: &mut [ColumnGuess]) {
    let Some(at) = columns.iter().position(|column| column.signal == "speed") else { return };
    let Some(stated) = Unit::parse(&columns[at].unit).filter(|_| columns[at].confidence < SURE) else { return };
    let mut witness = Witness::default();
    for look in looks {
        witness.add(&rows(look, time, columns), |_| true);
    }
    if let Some(unit) = witness.speed_unit(&stated) {
        let speed = &mut columns[at];
        let name = speed.reason.split("; unit").next().unwrap_or_default().to_owned();
        speed.reason = format!("{name}; unit {unit}, because the way between the fixes fits it");
        speed.confidence = SURE;
        unit.clone_into(&mut speed.unit);
    }
}

/// Signals whose values are looked at.
const LOOKED_AT: [usize; 9] = [SPEED, LATITUDE, LONGITUDE, SOC, VOLTAGE, CURRENT, POWER, ENGINE, GROSS_WEIGHT];

/// Time and some signals of the rows looked at.
pub fn rows(look: &Look, time: &TimeGuess, columns: &[ColumnGuess]) -> Frame {
    let mut frame = Frame::default();
    let place = |name: &str| look.names.iter().position(|known| known == name);
    let times: Vec<usize> = time.columns.iter().filter_map(|name| place(name)).collect();
    let Some(kind) = clock(time).filter(|_| times.len() == time.columns.len()) else { return frame };
    let signals: Vec<(usize, usize, CellUnit, f64)> = columns
        .iter()
        .filter_map(|column| {
            let signal = position(column.signal).filter(|signal| LOOKED_AT.contains(signal))?;
            let unit = match column.unit.as_str() {
                "deg min" => CellUnit::DegreesMinutes,
                unit => CellUnit::Plain(Unit::parse(unit)?),
            };
            Some((signal, column.names.iter().find_map(|name| place(name))?, unit, column.scale))
        })
        .collect();
    for cells in &look.rows {
        let text = times.iter().map(|at| cells[*at].trim()).collect::<Vec<_>>().join(" ");
        let Ok(time_ns) = parse_time(&text, None, &kind, look.decimal_comma) else { continue };
        let mut row = Row { time_ns, ..Row::default() };
        for (signal, at, unit, scale) in &signals {
            let value = parse_cell(
                cells[*at].trim(),
                *unit,
                *scale,
                look.decimal_comma,
                [LATITUDE, LONGITUDE].contains(signal),
            );
            row.numbers[*signal] = value.unwrap_or(f64::NAN);
        }
        // Files are looked at from their start; a clock that steps back says nothing of a way.
        if frame.time_ns.last().is_none_or(|last| *last < time_ns) {
            frame.push(&row);
        }
    }
    frame
}

/// The clock of a guess; its zone does not matter to what lies between two rows.
fn clock(time: &TimeGuess) -> Option<TimeKind> {
    Some(match &time.clock {
        Clock::Epoch { unit } => TimeKind::Epoch(Unit::parse(unit)?),
        Clock::Relative { unit } => TimeKind::Relative(Unit::parse(unit)?),
        Clock::Iso => TimeKind::Iso,
        Clock::Local(written) => TimeKind::Local { format: written.format.clone(), zone: TimeZone::UTC },
        Clock::DayNumber { epoch, first } => {
            TimeKind::DayNumber { epoch: epoch.parse().ok()?, first: *first, zone: TimeZone::UTC, plus: None }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::Format;

    /// Five minutes north at 20 m/s, the speed written in some unit, a fix a second.
    fn drafted(speed: f64) -> (String, f64) {
        let rows = (0..300).map(|second| {
            let lat = 41.0 + f64::from(second) * 20.0 / 111_195.0;
            vec![second.to_string(), speed.to_string(), format!("{lat:.7}"), "30.0".to_owned()]
        });
        let look = Look {
            shown: "log.csv".to_owned(),
            format: Format::Delimited,
            dbc: None,
            description: String::new(),
            decimal_comma: false,
            long: None,
            names: ["Time", "Speed", "Lat", "Lon"].map(str::to_owned).to_vec(),
            units: Vec::new(),
            rows: rows.collect(),
        };
        let time = TimeGuess { columns: vec!["Time".to_owned()], clock: Clock::Relative { unit: "s" } };
        let mut columns = super::super::guess::columns(&look);
        settle_unit(&[look], &time, &mut columns);
        let speed = columns.into_iter().find(|column| column.signal == "speed").unwrap();
        (speed.unit, speed.confidence)
    }

    #[test]
    fn the_way_between_fixes_tells_the_unit() {
        assert_eq!(drafted(20.0).0, "m/s");
        assert_eq!(drafted(72.0), ("km/h".to_owned(), SURE));
        assert_eq!(drafted(44.74), ("mph".to_owned(), SURE));
    }

    #[test]
    fn a_way_that_fits_no_unit_leaves_the_guess() {
        assert!(drafted(400.0).1 < SURE);
    }
}
