//! Values a sheet takes from regulations where a pilot states none.

use backwatt_pilot::VehicleType;
use backwatt_schema::unit::Unit;
use backwatt_testkit::{close, fixture};

const ROUND_TRIP: f64 = 5e-5;
const LIMIT_KG: f64 = 0.5;

/// A vehicle type of which nothing but mass and battery is stated. Its source needs a file to exist, and reads none.
fn bare_type(mass: &str) -> VehicleType {
    let text = format!(
        "[pilot]\nname = \"bare\"\ntime_zone = \"UTC\"\nunits = \"metric\"\n\
         [vehicle_types.truck]\nmass = \"{mass}\"\npacks = 5\npack_energy = \"20 kW.h\"\n\
         [[sources]]\nname = \"logs\"\nfiles = \"air_density.csv\"\nvehicle = \"T1\"\nvehicle_type = \"truck\"\n\
         time = {{ column = \"Time\", kind = \"iso\" }}\n\
         [sources.columns]\nspeed = {{ column = \"Speed\", unit = \"km/h\" }}\n"
    );
    let pilot =
        backwatt_pilot::parse(&text, "pilot.toml", &fixture("reference")).unwrap_or_else(|p| panic!("{p:#?}"));
    pilot.vehicle_types["truck"].clone()
}

/// 40 CFR 1066.310(b)(7): 56.7 kg a tyre; 1036.545(f)(3) makes 340 kg of the 340.2 of six.
#[test]
fn a3_rotating_mass_of_six_tyres() {
    let rotating = bare_type("6600 kg").sheet.nominal.rotating_mass_kg;
    assert_eq!(rotating, 340.0);
    close("six tyres [kg]", rotating, 6.0 * 56.7, LIMIT_KG);
}

/// Wheel to battery and back at 0.955 (40 CFR 1036.545(f)(3)), 0.90 and 0.98 (both from memory) each way.
#[test]
fn g7_round_trip() {
    let vehicle = bare_type("6600 kg");
    let battery = vehicle.battery.unwrap_or_else(|| panic!("a battery is stated"));
    let one_way = vehicle.sheet.nominal.drive_efficiency() * battery.battery_efficiency;
    close("round trip", one_way * one_way, 0.7095, ROUND_TRIP);
}

/// Gross mass limits of classes 4 to 6 (from memory) in kilograms.
#[test]
fn g11_class_limits() {
    let pound = Unit::parse("lb").unwrap_or_else(|| panic!("the pound is a unit"));
    let limits = [
        (14_001.0, 6351.0),
        (16_000.0, 7257.0),
        (16_001.0, 7258.0),
        (19_500.0, 8845.0),
        (19_501.0, 8846.0),
        (26_000.0, 11_793.0),
    ];
    for (pounds, kilograms) in limits {
        close(&format!("{pounds} lb [kg]"), pound.to_si(pounds), kilograms, LIMIT_KG);
    }
}

/// The default drag area follows the class: 40 CFR 1036.545(f)(4) for class 6, from memory below.
#[test]
fn g11_drag_area_by_class() {
    let area = |mass| bare_type(mass).sheet.nominal.drag_area_m2;
    assert_eq!(area("8845 kg"), 3.4);
    assert_eq!(area("19500 lb"), 3.4, "the heaviest truck of class 5, 8845.05 kg");
    assert_eq!(area("19501 lb"), 5.4);
    assert_eq!(area("26000 lb"), 5.4);
}

/// 40 CFR 1036.545(f)(3) and (4): rolling resistance of the test configuration.
#[test]
fn a5_inputs_are_the_defaults() {
    assert_eq!(bare_type("11408 kg").sheet.nominal.rolling_resistance, 0.0077);
}
