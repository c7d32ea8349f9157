//! `[weather] file`: observations of the weather out of a CSV file, of one station or several.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use backwatt_ingest::settings::{Station, WeatherTable};
use backwatt_schema::Problem;
use backwatt_schema::unit::Dimension;
use jiff::tz::TimeZone;

use crate::document::Section;
use crate::side_table::{self, Kind, Row, Wanted, needed, optional};
use crate::spread::{PRACTICE, Reader};

/// Keys of `[weather]` that belong to the file.
pub const KEYS: [&str; 4] = ["file", "age", "reach", "wind_factor"];

const COLUMNS: [Wanted; 8] = [
    needed("time"),
    optional("ambient_temperature").of(Dimension::Temperature),
    optional("air_pressure").of(Dimension::Pressure),
    optional("humidity").of(Dimension::Ratio),
    optional("wind_speed").of(Dimension::Speed),
    optional("wind_from").of(Dimension::Angle),
    optional("latitude").of(Dimension::Angle),
    optional("longitude").of(Dimension::Angle),
];

const KIND: Kind = Kind {
    code: "pilot-weather-table",
    hint: "the first line reads time and any of ambient_temperature [degC], air_pressure [hPa], humidity [%], wind_speed [m/s], \
           wind_from [deg], latitude [deg], longitude [deg]; times are RFC 3339, or local in the pilot's time zone",
    columns: &COLUMNS,
};

const WIND_SOURCE: &str = "from a mast of 10 m over open ground (WMO-No. 8) down to 2 m: 0.72 to 0.65 by the logarithmic law with \
                           a roughness of 0.03 to 0.1 m";
/// Stations beyond this number are a map, not a place.
const MOST_STATIONS: usize = 2000;

/// The observations, and the file they are from.
pub fn read(root: &Section<'_, '_>, folder: &Path, zone: &TimeZone) -> Option<(PathBuf, WeatherTable)> {
    let section = root.section("weather")?;
    let path = folder.join(section.text("file")?.value);
    let reader = Reader { section: &section };
    let age_s = reader.or("age", Dimension::Time, 7200.0, "2 h", PRACTICE).0;
    let reach_m = reader.or("reach", Dimension::Length, 50_000.0, "50 km", PRACTICE).0;
    let wind_factor = reader.share_or("wind_factor", 0.7, WIND_SOURCE).0;
    for (key, value, most) in [("age", age_s, 86_400.0), ("reach", reach_m, 1e6)] {
        if !(value > 0.0 && value <= most) {
            let message = format!("\"weather.{key}\" must lie above 0 and at most {most} in SI units");
            section.fault("pilot-out-of-range", key, message, "age = \"2 h\", reach = \"50 km\", say".into());
        }
    }
    let read = side_table::read(&path, KIND, |row| seen(row, zone), |rows| faults(rows));
    let stations = read.map(|rows| stations(rows, wind_factor)).unwrap_or_else(|problems: Vec<Problem>| {
        problems.into_iter().for_each(|problem| root.keep(problem));
        Vec::new()
    });
    Some((path, WeatherTable { stations, age_ns: (age_s * 1e9) as i64, reach_m }))
}

/// One line of the file.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Seen {
    time_ns: i64,
    place_deg: Option<(f64, f64)>,
    temperature_k: Option<f64>,
    pressure_pa: Option<f64>,
    humidity_frac: Option<f64>,
    /// Speed, and where it comes from. [m/s, rad]
    wind: Option<(f64, f64)>,
}

impl Seen {
    /// Places are compared as they are written.
    fn station(&self) -> Option<(u64, u64)> {
        self.place_deg.map(|(lat, lon)| (lat.to_bits(), lon.to_bits()))
    }
}

fn seen(row: &Row<'_>, zone: &TimeZone) -> Result<Seen, String> {
    let wind = (row.number(4, 0.0, 60.0)?, row.number(5, -7.0, 7.0)?);
    let place = (row.number(6, -1.6, 1.6)?, row.number(7, -3.2, 3.2)?);
    let pair = |pair: (Option<f64>, Option<f64>), what: &str| match pair {
        (Some(a), Some(b)) => Ok(Some((a, b))),
        (None, None) => Ok(None),
        _ => Err(format!("{what}, or neither")),
    };
    let wind = match wind {
        // A calm comes from nowhere.
        (Some(0.0), None) => Some((0.0, 0.0)),
        wind => pair(wind, "wind wants its speed and where it comes from")?,
    };
    let place_deg = pair(place, "a station wants its latitude and its longitude")?;
    let found = Seen {
        time_ns: row.instant(0, zone)?,
        place_deg: place_deg.map(|(lat, lon)| (lat.to_degrees(), lon.to_degrees())),
        temperature_k: row.number(1, 203.15, 343.15)?,
        pressure_pa: row.number(2, 4e4, 1.1e5)?,
        humidity_frac: row.number(3, 0.0, 1.0)?,
        wind,
    };
    let says = found.temperature_k.or(found.pressure_pa).or(found.humidity_frac).or(found.wind.map(|w| w.0));
    says.map(|_| found).ok_or_else(|| "the line says nothing of the weather".to_owned())
}

/// Sorts by station and time; one station says one thing at a time.
fn faults(rows: &mut [(Seen, u64)]) -> Vec<(String, u64)> {
    rows.sort_by_key(|(seen, line)| (seen.station(), seen.time_ns, *line));
    let same = |a: &Seen, b: &Seen| (a.station(), a.time_ns) == (b.station(), b.time_ns);
    let twice = rows.windows(2).filter(|pair| same(&pair[0].0, &pair[1].0));
    let mut found: Vec<(String, u64)> =
        twice.map(|pair| (format!("the same time again, as on line {}", pair[0].1), pair[1].1)).collect();
    let placed = rows.iter().filter(|(seen, _)| seen.place_deg.is_some()).count();
    if placed > 0 && placed < rows.len() {
        let line = rows.iter().find(|(seen, _)| seen.place_deg.is_none()).map_or(1, |(_, line)| *line);
        found.push(("some lines name a place and this one does not".to_owned(), line));
    }
    let stations = rows.chunk_by(|a, b| a.0.station() == b.0.station()).count();
    if stations > MOST_STATIONS {
        found.push((format!("{stations} stations, of at most {MOST_STATIONS}"), 1));
    }
    found
}

fn stations(rows: Vec<Seen>, wind_factor: f64) -> Vec<Station> {
    let mut by_place: BTreeMap<Option<(u64, u64)>, Station> = BTreeMap::new();
    for seen in rows {
        let station = by_place.entry(seen.station()).or_default();
        station.place_deg = seen.place_deg;
        let time_ns = seen.time_ns;
        station.temperature_k.extend(seen.temperature_k.map(|value| (time_ns, [value])));
        station.pressure_pa.extend(seen.pressure_pa.map(|value| (time_ns, [value])));
        station.humidity_frac.extend(seen.humidity_frac.map(|value| (time_ns, [value])));
        station.wind_m_s.extend(seen.wind.map(|(speed, from)| {
            let blows = -speed * wind_factor;
            (time_ns, [blows * from.sin(), blows * from.cos()])
        }));
    }
    by_place.into_values().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(text: &str) -> Result<Vec<Station>, Vec<Problem>> {
        side_table::parse(text, KIND, |row| seen(row, &TimeZone::UTC), |rows| faults(rows))
            .map(|rows| stations(rows, 0.7))
    }

    #[test]
    fn a_station_arrives_in_si_sorted_by_time() {
        let text = "time,ambient_temperature [degF],wind_speed [mph],wind_from [deg],air_pressure [hPa],humidity [%]\n\
                    2026-01-05T07:00,50,,,962,\n2026-01-05T06:00,32,10,270,,80\n2026-01-05T08:00,,0,,,\n";
        let found = parsed(text).unwrap_or_else(|p| panic!("{p:#?}"));
        assert_eq!(found.len(), 1);
        let one = &found[0];
        assert!(
            (one.temperature_k[0].1[0] - 273.15).abs() < 1e-9
                && (one.temperature_k[1].1[0] - 283.15).abs() < 1e-9
        );
        assert_eq!((one.pressure_pa[0].1, one.humidity_frac[0].1), ([96_200.0], [0.8]));
        // From the west: it blows east.
        let [east, north] = one.wind_m_s[0].1;
        assert!((east - 0.7 * 4.4704).abs() < 1e-12 && north.abs() < 1e-12);
        assert_eq!(one.wind_m_s[1].1.map(f64::abs), [0.0, 0.0]);
    }

    #[test]
    fn every_kind_of_fault_is_named_with_its_line() {
        let head = "time,ambient_temperature [degC],wind_speed [m/s],wind_from [deg],latitude [deg],longitude [deg]\n\
                    2026-01-05T06:00,3,,,47,8\n";
        for (line, message) in [
            ("2026-01-05T06:00,4,,,47,8", "same time again, as on line 2"),
            ("2026-01-05T07:00,4,3,,47,8", "where it comes from, or neither"),
            ("2026-01-05T07:00,4,,,47,", "its longitude, or neither"),
            ("2026-01-05T07:00,4,,,,", "does not"),
            ("2026-01-05T07:00,400,,,47,8", "beyond what"),
            ("2026-01-05T07:00,4,,,97,8", "beyond what"),
            ("2026-01-05T07:00,,,,47,8", "says nothing"),
            ("noon,4,,,47,8", "is no time"),
        ] {
            let problems = parsed(&format!("{head}{line}\n")).err().unwrap_or_default();
            assert!(problems.len() == 1 && problems[0].place.line == Some(3), "{line}: {problems:?}");
            assert!(problems[0].message.contains(message), "{line}: {problems:?}");
        }
    }
}
