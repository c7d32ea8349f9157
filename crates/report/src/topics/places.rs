//! Places that have a name, to say where something is.

use super::rows::{Read, Row};

/// Further away than this nothing is near. [m]
const NEAR_M: f64 = 250.0;
/// Mean radius of the sphere that H3 is drawn on. [m]
const EARTH_M: f64 = 6_371_008.8;

/// Named places with their positions.
#[derive(Debug, Default)]
pub struct Places {
    named: Vec<(f64, f64, String)>,
}

impl Places {
    pub fn of(rows: &[Row<'_>]) -> Read<Self> {
        let mut named = Vec::new();
        for row in rows {
            let (Some(lat), Some(lon)) = (row.number("lat_deg")?, row.number("lon_deg")?) else { continue };
            let name = row.text("name")?;
            // What was found by itself carries its position in brackets: here it would be said twice.
            let short = match (row.text("name_basis")?, name.split_once(" (")) {
                ("found", Some((short, _))) => short,
                _ => name,
            };
            if !short.is_empty() {
                named.push((lat, lon, short.to_owned()));
            }
        }
        Ok(Self { named })
    }

    /// The nearest named place, if any is near.
    pub fn near(&self, lat_deg: f64, lon_deg: f64) -> Option<&str> {
        let apart = |place: &&(f64, f64, String)| metres((place.0, place.1), (lat_deg, lon_deg));
        let nearest = self.named.iter().min_by(|a, b| apart(a).total_cmp(&apart(b)))?;
        (apart(&nearest) <= NEAR_M).then_some(nearest.2.as_str())
    }
}

/// Between two positions in degrees, on a plane: good to a thousandth over a few miles. [m]
pub fn metres(a: (f64, f64), b: (f64, f64)) -> f64 {
    let shrink = f64::midpoint(a.0, b.0).to_radians().cos();
    let (north, east) = ((b.0 - a.0).to_radians(), (b.1 - a.1).to_radians() * shrink);
    EARTH_M * north.hypot(east)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A minute of latitude was the nautical mile, 1852 m (International Hydrographic Conference, Monaco 1929); the
    /// sphere's own minute is 1853.2 m.
    #[test]
    fn a_minute_of_latitude_is_a_nautical_mile() {
        assert!((metres((38.6, -38.9), (38.6 + 1.0 / 60.0, -38.9)) - 1852.0).abs() < 2.0);
    }

    #[test]
    fn only_what_is_near_is_named() {
        let places =
            Places { named: vec![(38.6, -38.9, "stop 1".to_owned()), (38.601, -38.9, "stop 2".to_owned())] };
        assert_eq!(places.near(38.6009, -38.9), Some("stop 2"));
        assert_eq!(places.near(38.61, -38.9), None);
    }
}
