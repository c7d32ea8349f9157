//! The air a vehicle meets: as logged, else as stated for the pilot, else the standard atmosphere, dry and still.

use super::track::Track;
use crate::kernels::{air, wind};

/// Weather stated for a whole pilot, taken where the log says nothing.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Weather {
    pub pressure_pa: Option<f64>,
    pub humidity_frac: Option<f64>,
    pub wind: Option<Wind>,
}

/// Wind over ground, near the vehicle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wind {
    pub speed_m_s: f64,
    /// The direction it comes from, clockwise from north.
    pub from_deg: f64,
}

/// Air along a track, one value per knot.
#[derive(Debug, Clone, Default)]
pub struct Air {
    pub pressure: Vec<Option<f64>>,
    pub humidity: Vec<Option<f64>>,
    /// Wind against the way, where wind and heading are known.
    pub headwind: Vec<Option<f64>>,
    pub wind_logged: Vec<bool>,
    pub from_table: FromTable,
    /// [kg/m³]
    pub density: Vec<f64>,
    pub stated: Weather,
}

/// Whether a value is the weather table's and not the log's, one flag per knot.
#[derive(Debug, Clone, Default)]
pub struct FromTable {
    pub temperature: Vec<bool>,
    pub pressure: Vec<bool>,
    pub humidity: Vec<bool>,
    pub wind: Vec<bool>,
}

/// What a known value rests on.
fn source(from_table: &[bool], k: usize) -> &'static str {
    if from_table.get(k) == Some(&true) { "table" } else { "logged" }
}

impl Air {
    /// Density at a knot, for which its height has to be known. [kg/m³] Dry where the humidity is unknown: at most 1 % too dense up to 30 °C.
    pub fn density_at(track: &Track, k: usize) -> f64 {
        let (standard_k, standard_pa) = air::standard_atmosphere(track.altitude[k].unwrap_or(0.0));
        let pressure_pa = track.air.pressure[k].or(track.air.stated.pressure_pa).unwrap_or(standard_pa);
        let temperature_k = track.ambient[k].unwrap_or(standard_k);
        match track.air.humidity[k].or(track.air.stated.humidity_frac) {
            Some(humidity) => air::moist_density(pressure_pa, temperature_k, humidity),
            None => air::density(pressure_pa, temperature_k, 0.0),
        }
    }

    /// What the density at a knot rests on.
    pub fn basis(track: &Track, k: usize) -> String {
        let (stated, table) = (&track.air.stated, &track.air.from_table);
        let pressure = match (track.air.pressure[k], stated.pressure_pa, track.altitude[k]) {
            (Some(_), ..) => source(&table.pressure, k),
            (None, Some(_), _) => "stated",
            (None, None, Some(_)) => "altitude",
            (None, None, None) => "sea level",
        };
        let temperature = if track.ambient[k].is_some() { source(&table.temperature, k) } else { "standard" };
        let humidity = match (track.air.humidity[k], stated.humidity_frac) {
            (Some(_), _) => source(&table.humidity, k),
            (None, Some(_)) => "stated",
            (None, None) => "dry",
        };
        format!("pressure {pressure}, temperature {temperature}, humidity {humidity}")
    }

    pub fn wind_basis(track: &Track, k: usize) -> &'static str {
        match (track.air.headwind[k], track.air.wind_logged[k]) {
            (Some(_), true) => source(&track.air.from_table.wind, k),
            (Some(_), false) => "stated",
            (None, _) => "calm",
        }
    }
}

/// Wind against the way at each knot, and whether the wind was logged.
pub fn headwinds(
    speed: &[Option<f64>],
    from: &[Option<f64>],
    heading: &[Option<f64>],
    stated: Option<Wind>,
) -> (Vec<Option<f64>>, Vec<bool>) {
    let stated = stated.map(|wind| (wind.speed_m_s, wind.from_deg));
    let one = |((speed, from), heading): ((&Option<f64>, &Option<f64>), &Option<f64>)| {
        let logged = speed.zip(*from);
        let along =
            logged.or(stated).zip(*heading).map(|((wind, from), heading)| wind::along(wind, from, heading));
        (along, logged.is_some())
    };
    speed.iter().zip(from).zip(heading).map(one).unzip()
}

/// Travel between two positions before their bearing is a heading. [m] Position noise of 3 m turns it by 6° at most.
const LEAST_TRAVEL_M: f64 = 30.0;
/// Positions further apart in time say nothing of the way between. [s]
const MOST_BETWEEN_S: f64 = 60.0;

/// The logged heading; where there is none, the bearing between positions at least 30 m apart.
pub fn headings(times: &[i64], logged: &[Option<f64>], position: &[Option<(f64, f64)>]) -> Vec<Option<f64>> {
    let bearings = bearings(times, position);
    logged.iter().zip(bearings).map(|(logged, bearing)| logged.or(bearing)).collect()
}

fn bearings(times: &[i64], position: &[Option<(f64, f64)>]) -> Vec<Option<f64>> {
    let mut headings = vec![None; times.len()];
    let mut anchor: Option<(usize, (f64, f64))> = None;
    let mut before_ns = 0;
    for (at, place) in position.iter().enumerate() {
        let Some(place) = *place else { continue };
        let lost = (times[at] - before_ns) as f64 * 1e-9 > MOST_BETWEEN_S;
        before_ns = times[at];
        let Some((since, start)) = anchor.filter(|_| !lost) else {
            anchor = Some((at, place));
            continue;
        };
        let (travel_m, bearing_deg) = wind::course(start, place);
        if travel_m >= LEAST_TRAVEL_M {
            headings[since..at].fill(Some(bearing_deg));
            anchor = Some((at, place));
        }
    }
    headings
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND_NS: i64 = 1_000_000_000;

    /// North at 10 m/s; 1e-4 degrees of latitude are 11.1 m.
    #[test]
    fn positions_give_a_heading_and_a_gap_gives_none() {
        let rows = 0..20i64;
        let times: Vec<i64> = rows.clone().map(|i| if i < 10 { i } else { i + 600 } * SECOND_NS).collect();
        let north = rows
            .map(|i| Some((47.0 + 1e-4 * i as f64 * if i < 10 { 1.0 } else { -1.0 }, 8.0)))
            .collect::<Vec<_>>();
        let found = headings(&times, &[None; 20], &north);
        assert!(found[..9].iter().all(|h| h.is_some_and(|h| h.abs() < 1e-6)), "{found:?}");
        assert_eq!(found[9], None, "what lies in the gap is unknown");
        assert!(found[10..18].iter().flatten().all(|h| (h.abs() - 180.0).abs() < 1e-6), "{found:?}");
        assert_eq!(headings(&times, &[Some(90.0); 20], &north)[3], Some(90.0), "a logged heading stands");
    }

    #[test]
    fn wind_needs_its_speed_direction_and_a_heading() {
        let stated = Some(Wind { speed_m_s: 5.0, from_deg: 0.0 });
        let (along, logged) = headwinds(
            &[Some(3.0), Some(3.0), None],
            &[Some(90.0), None, None],
            &[Some(90.0), Some(180.0), None],
            stated,
        );
        assert_eq!(logged, [true, false, false]);
        assert!((along[0].unwrap() - 3.0).abs() < 1e-12 && (along[1].unwrap() + 5.0).abs() < 1e-12);
        assert_eq!(along[2], None);
        assert_eq!(headwinds(&[None], &[None], &[Some(0.0)], None).0, [None]);
    }
}
