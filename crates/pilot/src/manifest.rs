//! A payload manifest out of a CSV file: what each vehicle carried, from when until when.

use std::path::Path;

use backwatt_ingest::settings::Load;
use backwatt_schema::Problem;
use backwatt_schema::unit::{Dimension, Unit};
use jiff::tz::TimeZone;

use crate::side_table::{instant, text_of};

const LARGEST_BYTES: u64 = 64 << 20;
const HEADER: &str = "the first line reads vehicle,from,until,payload [kg]; times are RFC 3339, or local in the pilot's time zone";

/// Reads a manifest. Every line at fault is named; loads of one vehicle may not overlap.
pub fn read(path: &Path, shown: &str, zone: &TimeZone) -> Result<Vec<Load>, Vec<Problem>> {
    let text = text_of(path, "pilot-manifest-unreadable", LARGEST_BYTES)?;
    parse(&text, zone).map_err(|problems| problems.into_iter().map(|problem| problem.in_file(shown)).collect())
}

fn parse(text: &str, zone: &TimeZone) -> Result<Vec<Load>, Vec<Problem>> {
    let mut lines =
        text.trim_start_matches('\u{feff}').lines().zip(1u64..).filter(|(line, _)| !line.trim().is_empty());
    let fault =
        |message: String, line: u64| Problem::error("pilot-manifest", message).on_line(line).hint(HEADER);
    let Some((header, _)) = lines.next() else { return Err(vec![fault("the manifest is empty".into(), 1)]) };
    let columns = Columns::of(header).map_err(|message| vec![fault(message, 1)])?;
    let (mut loads, mut problems) = (Vec::new(), Vec::new());
    for (line, number) in lines {
        match columns.load(line, zone) {
            Ok(load) => loads.push((load, number)),
            Err(message) => problems.push(fault(message, number)),
        }
    }
    loads.sort_by(|(a, _), (b, _)| (&a.vehicle, a.from_ns).cmp(&(&b.vehicle, b.from_ns)));
    for pair in loads.windows(2) {
        if pair[0].0.vehicle == pair[1].0.vehicle && pair[1].0.from_ns < pair[0].0.until_ns {
            let message =
                format!("\"{}\" carries two loads at once, the other on line {}", pair[1].0.vehicle, pair[0].1);
            problems.push(fault(message, pair[1].1));
        }
    }
    if problems.is_empty() { Ok(loads.into_iter().map(|(load, _)| load).collect()) } else { Err(problems) }
}

struct Columns {
    vehicle: usize,
    from: usize,
    until: usize,
    payload: usize,
    unit: Unit,
    count: usize,
}

impl Columns {
    fn of(header: &str) -> Result<Self, String> {
        let cells: Vec<&str> = header.split(',').map(str::trim).collect();
        let named = |name: &str| {
            let at = cells.iter().position(|cell| cell.split('[').next().unwrap_or("").trim() == name);
            at.ok_or_else(|| format!("the manifest has no column \"{name}\""))
        };
        let payload = named("payload")?;
        let unit = cells[payload].split_once('[').and_then(|(_, rest)| Unit::parse(rest.trim_end_matches(']')));
        let unit = unit.filter(|unit| unit.dimension == Dimension::Mass);
        let unit = unit.ok_or_else(|| format!("column \"{}\" wants the unit of a mass", cells[payload]))?;
        let (vehicle, from, until) = (named("vehicle")?, named("from")?, named("until")?);
        Ok(Self { vehicle, from, until, payload, unit, count: cells.len() })
    }

    fn load(&self, line: &str, zone: &TimeZone) -> Result<Load, String> {
        let cells: Vec<&str> = line.split(',').map(str::trim).collect();
        if cells.len() != self.count {
            return Err(format!("{} cells where the header has {}", cells.len(), self.count));
        }
        let payload_kg = cells[self.payload].parse().map(|value: f64| self.unit.to_si(value));
        let payload_kg = payload_kg.ok().filter(|kg| (0.0..=1e5).contains(kg));
        let payload_kg = payload_kg.ok_or_else(|| format!("\"{}\" is no payload", cells[self.payload]))?;
        let (from_ns, until_ns) = (instant(cells[self.from], zone)?, instant(cells[self.until], zone)?);
        if until_ns <= from_ns {
            return Err(format!("\"{}\" is not after \"{}\"", cells[self.until], cells[self.from]));
        }
        if cells[self.vehicle].is_empty() {
            return Err("no vehicle is named".to_owned());
        }
        Ok(Load { vehicle: cells[self.vehicle].to_owned(), from_ns, until_ns, payload_kg })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zurich() -> TimeZone {
        TimeZone::get("Europe/Zurich").unwrap()
    }

    #[test]
    fn local_and_utc_times_and_pounds() {
        let text = "vehicle,from,until,payload [lb]\nT2,2026-01-05T06:00,2026-01-05 12:30:00,2204.62262\n\
                    T1,2026-01-05T05:00:00Z,2026-01-05T06:00:00Z,0\n";
        let loads = parse(text, &zurich()).unwrap();
        assert_eq!(loads[0].vehicle, "T1");
        assert_eq!(loads[0].from_ns, loads[1].from_ns, "six in Zurich is five in UTC");
        assert!((loads[1].payload_kg - 1000.0).abs() < 1e-3);
        assert_eq!(loads[1].until_ns - loads[1].from_ns, 23_400_000_000_000);
    }

    #[test]
    fn every_line_at_fault_is_named() {
        let text = "vehicle,from,until,payload [kg]\nT1,2026-01-05T06:00,2026-01-05T12:00,900\n\
                    T1,2026-01-05T11:00,2026-01-05T13:00,100\nT1,yesterday,2026-01-05T13:00,100\n\
                    T1,2026-01-06T11:00,2026-01-06T10:00,100\nT1,2026-01-06T11:00,2026-01-06T12:00,-5\nT1,1\n";
        let problems = parse(text, &zurich()).unwrap_err();
        let mut lines: Vec<u64> = problems.iter().filter_map(|problem| problem.place.line).collect();
        lines.sort_unstable();
        assert_eq!(lines, [3, 4, 5, 6, 7]);
        assert!(parse("vehicle,from,until,payload [mph]\n", &zurich()).is_err());
        assert!(parse("", &zurich()).is_err());
    }
}
