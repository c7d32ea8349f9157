//! Weather from a table of a station's, or several stations', observations.

use crate::frame::{Frame, mask};
use crate::settings::{Station, WeatherTable};
use crate::signal::{AIR_PRESSURE, AMBIENT, HUMIDITY, LATITUDE, LONGITUDE, NUMBERS, WIND_FROM, WIND_SPEED};

/// A log that gave a value within this time has said what the weather is: what it logs on change holds so long. [ns]
const SAID_FOR_NS: i64 = 3600 * 1_000_000_000;
/// The nearest station is looked for again after this way. [m]
const LOOK_AGAIN_M: f64 = 1000.0;
const EARTH_RADIUS_M: f64 = 6_371_000.0;

/// Fills each quantity where the log has none near in time, by the nearest station in reach that has one near in time.
pub fn fill(table: &WeatherTable, frame: &mut Frame) {
    let wind_said = said(frame, &[WIND_SPEED, WIND_FROM]);
    let plain: [(usize, u32, Vec<bool>); 3] = [
        (AMBIENT, mask::WEATHER_TEMPERATURE, said(frame, &[AMBIENT])),
        (AIR_PRESSURE, mask::WEATHER_PRESSURE, said(frame, &[AIR_PRESSURE])),
        (HUMIDITY, mask::WEATHER_HUMIDITY, said(frame, &[HUMIDITY])),
    ];
    let mut nearest = Nearest::new(table);
    for row in (0..frame.len()).filter(|row| frame.mask[*row] & mask::RELATIVE == 0).collect::<Vec<_>>() {
        let time_ns = frame.time_ns[row];
        let stations = nearest.at(place(&frame.numbers, row));
        for (signal, bit, _) in plain.iter().filter(|(.., said)| !said[row]) {
            let value = stations
                .iter()
                .find_map(|station| at(station.series(*signal), time_ns, table.age_ns).map(|[value]| value));
            if let Some(value) = value {
                frame.numbers[*signal][row] = value;
                frame.mask[row] |= bit;
            }
        }
        let wind = || stations.iter().find_map(|station| at(&station.wind_m_s, time_ns, table.age_ns));
        if let Some([east, north]) = (!wind_said[row]).then(wind).flatten() {
            frame.numbers[WIND_SPEED][row] = east.hypot(north);
            // Where it comes from lies opposite of where it blows.
            frame.numbers[WIND_FROM][row] = (-east).atan2(-north).to_degrees().rem_euclid(360.0);
            frame.mask[row] |= mask::WEATHER_WIND;
        }
    }
}

fn place(numbers: &[Vec<f64>; NUMBERS], row: usize) -> Option<(f64, f64)> {
    let place = (numbers[LATITUDE][row], numbers[LONGITUDE][row]);
    (!place.0.is_nan() && !place.1.is_nan()).then_some(place)
}

impl Station {
    fn series(&self, signal: usize) -> &[(i64, [f64; 1])] {
        match signal {
            AMBIENT => &self.temperature_k,
            AIR_PRESSURE => &self.pressure_pa,
            _ => &self.humidity_frac,
        }
    }
}

/// Of each row, whether the log has any of these signals within the time that it holds.
fn said(frame: &Frame, signals: &[usize]) -> Vec<bool> {
    let has = |row: usize| signals.iter().any(|signal| !frame.numbers[*signal][row].is_nan());
    let mut said = vec![false; frame.len()];
    let mut mark = |rows: &mut dyn Iterator<Item = usize>| {
        let mut last_ns: Option<i64> = None;
        for row in rows {
            if has(row) {
                last_ns = Some(frame.time_ns[row]);
            }
            said[row] |= last_ns.is_some_and(|last| (frame.time_ns[row] - last).abs() <= SAID_FOR_NS);
        }
    };
    mark(&mut (0..frame.len()));
    mark(&mut (0..frame.len()).rev());
    said
}

/// Value at an instant: linear between two near enough, else the near one's; components each for themselves.
fn at<const N: usize>(series: &[(i64, [f64; N])], time_ns: i64, age_ns: i64) -> Option<[f64; N]> {
    let after = series.partition_point(|(time, _)| *time < time_ns);
    let near =
        |at: Option<usize>| series.get(at?).filter(|(time, _)| time.abs_diff(time_ns) <= age_ns.unsigned_abs());
    match (near(after.checked_sub(1)), near(Some(after))) {
        (Some((from_ns, from)), Some((to_ns, to))) => {
            let share = (time_ns - from_ns) as f64 / (to_ns - from_ns).max(1) as f64;
            Some(std::array::from_fn(|i| from[i] + share * (to[i] - from[i])))
        }
        (Some((_, value)), None) | (None, Some((_, value))) => Some(*value),
        (None, None) => None,
    }
}

/// The stations in reach, nearest first; without a place of their own they are everywhere.
struct Nearest<'t> {
    table: &'t WeatherTable,
    looked_from: Option<(f64, f64)>,
    found: Vec<&'t Station>,
}

impl<'t> Nearest<'t> {
    fn new(table: &'t WeatherTable) -> Self {
        let everywhere = table.stations.iter().filter(|station| station.place_deg.is_none()).collect();
        Self { table, looked_from: None, found: everywhere }
    }

    /// A row without a position stands where the last one with a position stood.
    fn at(&mut self, place: Option<(f64, f64)>) -> &[&'t Station] {
        let Some(here) = place else { return &self.found };
        if self.looked_from.is_none_or(|from| distance_m(from, here) > LOOK_AGAIN_M) {
            self.looked_from = Some(here);
            let mut by_distance: Vec<(f64, &Station)> = self
                .table
                .stations
                .iter()
                .map(|station| (station.place_deg.map_or(0.0, |place| distance_m(place, here)), station))
                .filter(|(away_m, _)| *away_m <= self.table.reach_m)
                .collect();
            by_distance.sort_by(|a, b| a.0.total_cmp(&b.0));
            self.found = by_distance.into_iter().map(|(_, station)| station).collect();
        }
        &self.found
    }
}

/// On a sphere, by the haversine.
fn distance_m(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (lat_a, lat_b) = (a.0.to_radians(), b.0.to_radians());
    let half = |degrees: f64| (degrees.to_radians() / 2.0).sin().powi(2);
    let h = half(b.0 - a.0) + lat_a.cos() * lat_b.cos() * half(b.1 - a.1);
    2.0 * EARTH_RADIUS_M * h.sqrt().min(1.0).asin()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;

    const HOUR_NS: i64 = 3_600_000_000_000;

    fn station(place_deg: Option<(f64, f64)>, temperatures_k: &[(i64, f64)]) -> Station {
        let temperature_k = temperatures_k.iter().map(|(hour, value)| (hour * HOUR_NS, [*value])).collect();
        Station { place_deg, temperature_k, ..Station::default() }
    }

    fn table(stations: Vec<Station>) -> WeatherTable {
        WeatherTable { stations, age_ns: 2 * HOUR_NS, reach_m: 50_000.0 }
    }

    fn frame(hours: &[f64]) -> Frame {
        let mut frame = Frame::default();
        for hour in hours {
            frame.push(&Row { time_ns: (hour * HOUR_NS as f64) as i64, ..Row::default() });
        }
        frame
    }

    #[test]
    fn linear_between_near_values_and_nothing_beyond_their_age() {
        let table = table(vec![station(None, &[(0, 280.0), (2, 290.0), (8, 300.0)])]);
        let mut found = frame(&[-3.0, -1.0, 0.5, 3.0, 5.0, 6.5]);
        fill(&table, &mut found);
        let got = &found.numbers[AMBIENT];
        assert!(got[0].is_nan() && got[4].is_nan(), "{got:?}");
        assert_eq!([got[1], got[2], got[3], got[5]], [280.0, 282.5, 290.0, 300.0]);
        let marked: Vec<bool> = found.mask.iter().map(|row| row & mask::WEATHER_TEMPERATURE != 0).collect();
        assert_eq!(marked, [false, true, true, true, false, true]);
    }

    #[test]
    fn what_the_log_said_within_the_hour_stands() {
        let table = table(vec![station(None, &[(0, 280.0), (1, 280.0), (2, 280.0), (3, 280.0)])]);
        let mut found = frame(&[0.0, 0.5, 0.9, 2.5]);
        found.numbers[AMBIENT][0] = 300.0;
        fill(&table, &mut found);
        let got = &found.numbers[AMBIENT];
        assert!(got[0] == 300.0 && got[1].is_nan() && got[2].is_nan() && got[3] == 280.0, "{got:?}");
    }

    /// North wind of 4 m/s turns to east wind of 4 m/s: half-way it comes from the north-east, and is weaker.
    #[test]
    fn wind_turns_the_short_way_as_a_vector() {
        let wind_m_s = vec![(0, [0.0, -4.0]), (2 * HOUR_NS, [-4.0, 0.0])];
        let mut found = frame(&[0.0, 1.0]);
        fill(&table(vec![Station { wind_m_s, ..Station::default() }]), &mut found);
        assert_eq!((found.numbers[WIND_SPEED][0], found.numbers[WIND_FROM][0]), (4.0, 0.0));
        assert!((found.numbers[WIND_SPEED][1] - 8.0_f64.sqrt()).abs() < 1e-12);
        assert!((found.numbers[WIND_FROM][1] - 45.0).abs() < 1e-9);
        assert!(found.mask.iter().all(|row| row & mask::WEATHER_WIND != 0));
    }

    #[test]
    fn the_nearest_station_that_has_a_value_serves() {
        let near = station(Some((47.0, 8.0)), &[(0, 280.0)]);
        let far = station(Some((47.3, 8.0)), &[(0, 290.0), (9, 291.0)]);
        let beyond = station(Some((49.0, 8.0)), &[(20, 250.0)]);
        let mut found = frame(&[0.0, 9.0, 9.5, 20.0]);
        for (row, lat) in [(0, 47.0), (1, 47.0), (3, 47.29)] {
            (found.numbers[LATITUDE][row], found.numbers[LONGITUDE][row]) = (lat, 8.0);
        }
        fill(&table(vec![near, far, beyond]), &mut found);
        let got = &found.numbers[AMBIENT];
        assert_eq!([got[0], got[1], got[2]], [280.0, 291.0, 291.0]);
        assert!(got[3].is_nan(), "200 km away is another weather");
    }

    /// Check    one degree of a meridian of this sphere is π R/180
    #[test]
    fn a_degree_of_latitude_is_111_km() {
        let degree_m = std::f64::consts::PI * EARTH_RADIUS_M / 180.0;
        assert!((distance_m((47.0, 8.0), (48.0, 8.0)) - degree_m).abs() < 1e-6);
    }
}
