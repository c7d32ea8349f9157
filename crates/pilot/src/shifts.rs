//! `[shifts]`: who drove which vehicle from when until when, out of a CSV file.

use std::path::{Path, PathBuf};

use backwatt_ingest::settings::Shift;
use jiff::tz::TimeZone;

use crate::document::Section;
use crate::side_table::{self, Kind, Row, Wanted, needed};

const COLUMNS: [Wanted; 4] = [needed("vehicle"), needed("from"), needed("until"), needed("driver")];

const KIND: Kind = Kind {
    code: "pilot-shifts",
    hint: "the first line reads vehicle,from,until,driver; times are RFC 3339, or local in the pilot's time zone; a driver is \
           best a pseudonym",
    columns: &COLUMNS,
};

/// Nobody is at the wheel for longer.
const LONGEST_H: i64 = 48;

/// The shifts by vehicle and time, and the file they are from.
pub fn read(root: &Section<'_, '_>, folder: &Path, zone: &TimeZone) -> (Option<PathBuf>, Vec<Shift>) {
    let Some(path) = side_table::named_file(root, "shifts", folder, "drivers are those the logs name") else {
        return (None, Vec::new());
    };
    let read = side_table::read(&path, KIND, |row| shift(row, zone), |rows| overlaps(rows));
    let shifts = read.unwrap_or_else(|problems| {
        problems.into_iter().for_each(|problem| root.keep(problem));
        Vec::new()
    });
    (Some(path), shifts)
}

fn overlaps(rows: &mut [(Shift, u64)]) -> Vec<(String, u64)> {
    side_table::overlaps(rows, |one| (&one.vehicle, one.from_ns, one.until_ns), "shifts")
}

fn shift(row: &Row<'_>, zone: &TimeZone) -> Result<Shift, String> {
    let (from_ns, until_ns) = row.stretch(1, 2, zone)?;
    if until_ns - from_ns > LONGEST_H * 3_600_000_000_000 {
        return Err(format!("a shift of more than {LONGEST_H} hours"));
    }
    let (vehicle, driver) = (row.needed_text(0)?.to_owned(), row.needed_text(3)?.to_owned());
    Ok(Shift { vehicle, from_ns, until_ns, driver, line: row.line })
}

#[cfg(test)]
mod tests {
    use super::*;
    use backwatt_schema::Problem;

    fn parsed(text: &str) -> Result<Vec<Shift>, Vec<Problem>> {
        side_table::parse(text, KIND, |row| shift(row, &TimeZone::UTC), |rows| overlaps(rows))
    }

    #[test]
    fn shifts_are_sorted_and_meet_without_overlap() {
        let text = "driver,vehicle,from,until\nD2,T1,2026-01-05T12:00,2026-01-05T18:00\n\
                    D1,T1,2026-01-05T06:00,2026-01-05T12:00\n";
        let found = parsed(text).unwrap_or_else(|p| panic!("{p:#?}"));
        assert_eq!((found[0].driver.as_str(), found[0].line), ("D1", 3));
        assert_eq!(found[0].until_ns, found[1].from_ns);
    }

    #[test]
    fn every_kind_of_fault_is_named_with_its_line() {
        let head = "vehicle,from,until,driver\nT1,2026-01-05T06:00,2026-01-05T12:00,D1\n";
        for (line, message) in [
            ("T1,2026-01-05T11:00,2026-01-05T13:00,D2", "two shifts at once, the other on line 2"),
            ("T1,2026-01-06T11:00,2026-01-06T10:00,D2", "is not after"),
            ("T1,2026-01-06T11:00,2026-01-16T10:00,D2", "more than 48 hours"),
            ("T1,2026-01-06T11:00,2026-01-06T12:00,", "\"driver\" is blank"),
            ("T1,2026-01-06T11:00,2026-01-06T12:00,D2,D3", "5 cells"),
        ] {
            let problems = parsed(&format!("{head}{line}\n")).err().unwrap_or_default();
            assert!(problems.len() == 1 && problems[0].place.line == Some(3), "{line}: {problems:?}");
            assert!(problems[0].message.contains(message), "{line}: {problems:?}");
        }
    }
}
