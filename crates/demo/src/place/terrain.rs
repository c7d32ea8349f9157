//! Height of the ground, and where the made-up town lies on the globe.
//!
//! Plane coordinates: metres east (`x`) and north (`y`) of a corner of the quay. The shore is the line
//! `y = 0`. On the globe that corner lies in open ocean, so that no figure here can belong to a real place.

const ORIGIN_LAT_DEG: f64 = 38.6;
const ORIGIN_LON_DEG: f64 = -38.9;
/// WGS84 equatorial radius and first eccentricity squared.
const EQUATOR_RADIUS_M: f64 = 6_378_137.0;
const ECCENTRICITY_SQUARED: f64 = 0.006_694_379_990_14;

/// A round hill: centre, height, and the distance at which the slope is steepest.
struct Hill {
    x_m: f64,
    y_m: f64,
    height_m: f64,
    spread_m: f64,
}

const fn hill(x_m: f64, y_m: f64, height_m: f64, spread_m: f64) -> Hill {
    Hill { x_m, y_m, height_m, spread_m }
}

/// The old town's hill, the suburb's swell, the knoll beside the estate, then five headlands of the coast.
const HILLS: [Hill; 8] = [
    hill(100.0, 1500.0, 85.0, 480.0),
    hill(4200.0, 2000.0, 35.0, 700.0),
    hill(-4300.0, 2000.0, 16.0, 800.0),
    hill(4500.0, 950.0, 52.0, 600.0),
    hill(10_500.0, 950.0, 60.0, 620.0),
    hill(16_500.0, 950.0, 48.0, 560.0),
    hill(22_500.0, 950.0, 56.0, 600.0),
    hill(28_500.0, 950.0, 50.0, 640.0),
];

/// Height of the ground above the quay's mean sea level.
pub fn height_m(x_m: f64, y_m: f64) -> f64 {
    let hills_m: f64 = HILLS
        .iter()
        .map(|hill| {
            let away = ((x_m - hill.x_m).powi(2) + (y_m - hill.y_m).powi(2)) / (2.0 * hill.spread_m.powi(2));
            hill.height_m * (-away).exp()
        })
        .sum();
    let inland_m = 20.0 * smooth_step((y_m - 800.0) / 2200.0);
    // The quay and the flats behind it are level; hills rise from 250 m inland.
    2.0 + smooth_step((y_m - 250.0) / 900.0) * (hills_m + ridge_m(x_m, y_m) + inland_m)
}

/// The long ridge north of the town, with saddles along its crest.
fn ridge_m(x_m: f64, y_m: f64) -> f64 {
    let across = ((y_m - 4200.0) / 900.0).powi(2) / 2.0;
    let along = ((x_m - 500.0) / 5000.0).powi(2) / 2.0;
    100.0 * (-across - along).exp() * (1.0 + 0.16 * (x_m / 600.0).sin())
}

/// 0 below 0, 1 above 1, level at both ends (Hermite cubic).
fn smooth_step(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Latitude and longitude of a point of the plane, from the two local radii of the WGS84 ellipsoid
/// (textbook geodesy); good to a metre or two over the 35 km this town spans.
pub fn lat_lon_deg(x_m: f64, y_m: f64) -> (f64, f64) {
    let sine_squared = ORIGIN_LAT_DEG.to_radians().sin().powi(2);
    let shrink = 1.0 - ECCENTRICITY_SQUARED * sine_squared;
    let meridian_m = EQUATOR_RADIUS_M * (1.0 - ECCENTRICITY_SQUARED) / shrink.powf(1.5);
    let vertical_m = EQUATOR_RADIUS_M / shrink.sqrt();
    let lat_deg = ORIGIN_LAT_DEG + (y_m / meridian_m).to_degrees();
    let lon_deg = ORIGIN_LON_DEG + (x_m / (vertical_m * lat_deg.to_radians().cos())).to_degrees();
    (lat_deg, lon_deg)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_harbour_is_level_and_the_hills_stay_below_140_m() {
        for step in -60..320 {
            let x_m = f64::from(step) * 100.0;
            assert!(height_m(x_m, 100.0) < 3.0);
            for north in 0..60 {
                let height = height_m(x_m, f64::from(north) * 100.0);
                assert!((0.0..=145.0).contains(&height), "{height} m at {x_m}, {north}");
            }
        }
        assert!(height_m(100.0, 1500.0) > 70.0);
    }

    #[test]
    fn a_kilometre_north_is_a_kilometre_on_the_globe() {
        let (lat_deg, lon_deg) = lat_lon_deg(0.0, 1000.0);
        // One degree of latitude at 38.6 N is 111.0 km.
        assert!(((lat_deg - ORIGIN_LAT_DEG) * 111_006.0 - 1000.0).abs() < 1.0);
        assert!((lon_deg - ORIGIN_LON_DEG).abs() < 1e-12);
    }
}
