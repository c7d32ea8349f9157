//! Group D: air, gravity, geodesy.

use backwatt_physics::kernels::air::{SEA_LEVEL_PA, density, saturation_pressure, standard_atmosphere};
use backwatt_physics::kernels::gravity::normal_gravity;
use backwatt_testkit::{close, fixture};
use geographiclib_rs::{Geodesic, InverseGeodesic};
use h3o::{LatLng, Resolution};

use crate::tables::{number, rows};

/// Densities tabulated to six decimals.
const DENSITY_KG_M3: f64 = 2e-6;
/// Two fits of the vapour pressure differ by about this.
const MOIST_DENSITY_KG_M3: f64 = 2e-4;
const PRESSURE_PA: f64 = 0.1;
const HEIGHT_M: f64 = 0.001;
/// Seven decimals printed.
const GRAVITY_M_S2: f64 = 2e-7;
/// What the solver's authors claim is 15 nm; the table asks for a micrometre.
const GEODESIC_M: f64 = 1e-6;
/// A micrometre across the shortest leg, 8.5 m.
const AZIMUTH_DEG: f64 = 1e-5;
const CELL_EDGE_M: f64 = 1e-3;
const CELL_AREA_KM2: f64 = 1e-6;

fn air_density_cases(kind: &str) -> Vec<(String, Option<f64>, f64, f64)> {
    let cases: Vec<_> = rows(&fixture("reference/air_density.csv"))
        .iter()
        .filter(|row| row["case"].starts_with("isa_") == (kind == "standard"))
        .filter(|row| row["case"].ends_with("RH") == (kind == "moist"))
        .map(|row| {
            let altitude = row["altitude_m"].parse().ok();
            (row["case"].clone(), altitude, number(row, "temperature_K"), number(row, "density_kg_m3"))
        })
        .collect();
    assert!(!cases.is_empty());
    cases
}

/// ISO 2533:1975 and US Standard Atmosphere 1976, confirmed with a general library (air_density.csv).
#[test]
fn d1_density_of_the_standard_atmosphere() {
    for (case, altitude, kelvin, expected) in air_density_cases("standard") {
        let (temperature, pressure) = standard_atmosphere(altitude.unwrap_or_else(|| panic!("{case}")));
        close(&format!("{case} temperature [K]"), temperature, kelvin, DENSITY_KG_M3);
        close(&format!("{case} [kg/m3]"), density(pressure, temperature, 0.0), expected, DENSITY_KG_M3);
    }
}

/// The same tables.
#[test]
fn d2_pressure_of_the_standard_atmosphere() {
    for (altitude, expected) in [(1000.0, 89_876.28), (2000.0, 79_501.41)] {
        close("pressure [Pa]", standard_atmosphere(altitude).1, expected, PRESSURE_PA);
    }
}

/// Ideal gas at 101 325 Pa (air_density.csv).
#[test]
fn d3_dry_air_at_sea_level_pressure() {
    for (case, _, kelvin, expected) in air_density_cases("dry") {
        close(&format!("{case} [kg/m3]"), density(SEA_LEVEL_PA, kelvin, 0.0), expected, DENSITY_KG_M3);
    }
}

/// 30 degC, 60 % relative humidity, 101 325 Pa; derived with a Magnus form.
#[test]
fn d4_moist_air() {
    let vapour = 0.6 * saturation_pressure(303.15);
    close("moist [kg/m3]", density(SEA_LEVEL_PA, 303.15, vapour), 1.153_35, MOIST_DENSITY_KG_M3);
    close("dry [kg/m3]", density(SEA_LEVEL_PA, 303.15, 0.0), 1.164_39, MOIST_DENSITY_KG_M3);
}

/// Derived: how far one climbs while the standard atmosphere loses 1 hPa at sea level.
#[test]
fn d5_height_per_hectopascal() {
    let fall = (standard_atmosphere(-1.0).1 - standard_atmosphere(1.0).1) / 2.0;
    close("height per hPa [m]", 100.0 / fall, 8.324, HEIGHT_M);
}

/// Somigliana's formula on WGS84 (NIMA TR8350.2); the GRS80 series of public code as a second opinion.
#[test]
fn d6_normal_gravity() {
    /// The series is for another ellipsoid and is cut after the fourth power: it agrees to a few micrometres per s2.
    const SERIES_M_S2: f64 = 5e-6;
    let cases = [
        (0.0, 9.780_325_3),
        (30.0, 9.793_247_3),
        (40.0, 9.801_696_9),
        (45.0, 9.806_197_8),
        (60.0, 9.819_177_0),
        (90.0, 9.832_184_9),
    ];
    for (latitude, expected) in cases {
        close(&format!("at {latitude} deg [m/s2]"), normal_gravity(latitude), expected, GRAVITY_M_S2);
        let s2 = f64::to_radians(latitude).sin().powi(2);
        let series = 9.780_326_771_5 * (1.0 + 0.005_279_041_4 * s2 + 0.000_023_271_8 * s2 * s2);
        close(&format!("series at {latitude} deg [m/s2]"), normal_gravity(latitude), series, SERIES_M_S2);
    }
}

/// GeodTest-based cases and cases computed with GeographicLib 2.1 (geodesic_cases.csv). Holds the library's version.
#[test]
fn d7_geodesics() {
    let cases = rows(&fixture("reference/geodesic_cases.csv"));
    assert_eq!(cases.len(), 12);
    let earth = Geodesic::wgs84();
    for row in &cases {
        let at = |name| number(row, name);
        let (distance, azimuth, _, _): (f64, f64, f64, f64) =
            earth.inverse(at("lat1"), at("lon1"), at("lat2"), at("lon2"));
        close(&format!("{} [m]", row["id"]), distance, at("distance_m"), GEODESIC_M);
        close(&format!("{} [deg]", row["id"]), azimuth, at("azimuth1_deg"), AZIMUTH_DEG);
    }
}

/// The example of the H3 documentation, library 4.5.0. Holds the version of ours.
#[test]
fn d8_cell_of_a_point() {
    let point = LatLng::new(37.775_270_215_195_9, -122.418_307_270_836).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(point.to_cell(Resolution::Nine).to_string(), "8928308280fffff");
}

/// Averages of H3 4.5.0.
#[test]
fn d9_size_of_a_cell() {
    close("edge, resolution 9 [m]", Resolution::Nine.edge_length_m(), 200.786, CELL_EDGE_M);
    close("edge, resolution 10 [m]", Resolution::Ten.edge_length_m(), 75.864, CELL_EDGE_M);
    close("area, resolution 9 [km2]", Resolution::Nine.area_km2(), 0.105_333, CELL_AREA_KM2);
}
