//! Drivers from a table of shifts.

use std::collections::BTreeMap;
use std::ops::Range;

use backwatt_schema::Problem;

use super::rows_within;
use crate::frame::{Frame, mask};
use crate::settings::Shift;
use crate::signal::DRIVER;

/// Rows on which a shift names another driver than the log does, by the shift's line.
pub type Against = BTreeMap<u64, u64>;

/// The shift's driver, where the log names none. Where the log names another the log stands; such rows are counted, of the
/// `own` rows only.
pub fn name_drivers(
    shifts: &[Shift],
    vehicle: &str,
    frame: &mut Frame,
    own: Range<usize>,
    against: &mut Against,
) {
    for shift in shifts.iter().filter(|shift| shift.vehicle == vehicle) {
        let driver = frame.pool.number(&shift.driver);
        for row in rows_within(frame, shift.from_ns, shift.until_ns) {
            if frame.mask[row] & mask::RELATIVE != 0 {
                continue;
            }
            match frame.texts[DRIVER][row] {
                0 => {
                    frame.texts[DRIVER][row] = driver;
                    frame.mask[row] |= mask::SHIFT;
                }
                logged if logged != driver && own.contains(&row) => {
                    *against.entry(shift.line).or_default() += 1;
                }
                _ => {}
            }
        }
    }
}

/// What shifts contradict, said once a vehicle, by line and not by name.
pub fn contradiction(vehicle: &str, against: &Against) -> Option<Problem> {
    let (first_line, _) = against.first_key_value()?;
    let message = format!(
        "{} shifts of vehicle {vehicle} name another driver than its log does, on {} rows",
        against.len(),
        against.values().sum::<u64>()
    );
    Some(
        Problem::warning("ingest-shift-contradicted", message).named("shifts.file").on_line(*first_line).hint(
            "the log's driver was used; the line is the first such shift's: mend it, or the log's sign-on",
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;

    fn frame(drivers: &[&str]) -> Frame {
        let mut frame = Frame::default();
        for (second, driver) in (0i64..).zip(drivers) {
            let mut row = Row { time_ns: second * 1_000_000_000, ..Row::default() };
            row.texts[DRIVER] = if driver.is_empty() { 0 } else { frame.pool.number(driver) };
            frame.push(&row);
        }
        frame
    }

    fn shift(from_s: i64, until_s: i64, driver: &str, line: u64) -> Shift {
        let (from_ns, until_ns) = (from_s * 1_000_000_000, until_s * 1_000_000_000);
        Shift { vehicle: "T1".to_owned(), from_ns, until_ns, driver: driver.to_owned(), line }
    }

    fn name_drivers(shifts: &[Shift], vehicle: &str, frame: &mut Frame) -> Option<Problem> {
        let mut against = Against::new();
        let own = 0..frame.len();
        super::name_drivers(shifts, vehicle, frame, own, &mut against);
        contradiction(vehicle, &against)
    }

    fn drivers(frame: &Frame) -> Vec<&str> {
        frame.texts[DRIVER].iter().map(|text| frame.pool.text(*text).unwrap_or("")).collect()
    }

    #[test]
    fn blanks_are_filled_and_marked_up_to_before_the_end() {
        let mut found = frame(&["", "", "", "D2", ""]);
        let problem = name_drivers(&[shift(1, 4, "D2", 2), shift(1, 9, "D9", 3)][..1], "T1", &mut found);
        assert_eq!((drivers(&found), problem), (vec!["", "D2", "D2", "D2", ""], None));
        let marked: Vec<bool> = found.mask.iter().map(|row| row & mask::SHIFT != 0).collect();
        assert_eq!(marked, [false, true, true, false, false]);
        assert_eq!(name_drivers(&[shift(0, 9, "D3", 2)], "another", &mut found), None);
    }

    #[test]
    fn the_log_wins_and_the_contradiction_is_counted_without_a_name() {
        let mut found = frame(&["D1", "D1", "", "D2"]);
        let problem = name_drivers(&[shift(0, 3, "D2", 2), shift(3, 4, "D2", 3)], "T1", &mut found);
        assert_eq!(drivers(&found), ["D1", "D1", "D2", "D2"]);
        let problem = problem.unwrap_or_else(|| panic!("it is said"));
        assert!(problem.message.starts_with("1 shifts of vehicle T1"), "{problem}");
        assert!(problem.message.ends_with("on 2 rows") && problem.place.line == Some(2), "{problem}");
        assert!(!problem.to_string().contains("D1") && !problem.to_string().contains("D2"));
    }

    #[test]
    fn a_relative_clock_is_never_anybodys_shift() {
        let mut found = frame(&["", ""]);
        found.mask.fill(mask::RELATIVE);
        assert_eq!(name_drivers(&[shift(0, 3, "D2", 2)], "T1", &mut found), None);
        assert_eq!(drivers(&found), ["", ""]);
    }
}
