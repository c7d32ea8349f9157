//! Tractive, braking and recoverable energy against adaptive quadrature (`fixtures/reference/integrate_cycles.py`).

use std::collections::BTreeMap;

use backwatt_testkit::{close, fixture, within};

use crate::drive::{Drive, Vehicle};
use crate::tables::{cycle, in_m_s, number, rows, wltc_km_h};

const ENERGY_SHARE: f64 = 1e-6;
const DISTANCE_M: f64 = 1e-5;

/// Three vehicles, three cycles, flat, 2 % up and 3 % down.
#[test]
fn wheel_and_recoverable_energy_agree_with_quadrature() {
    let cases = rows(&fixture("reference/integrated_cycles.csv"));
    assert_eq!(cases.len(), 27);
    let mut cycles = BTreeMap::from([("udds", cycle("udds")), ("hwfet", cycle("hwfet"))]);
    if let Some(km_h) = wltc_km_h("wheel_and_recoverable_energy_agree_with_quadrature") {
        cycles.insert("wltc_class3b", in_m_s(&km_h, "km/h"));
    }
    let mut compared = 0;
    for row in &cases {
        let Some(speeds) = cycles.get(row["cycle"].as_str()) else { continue };
        let vehicle = Vehicle {
            mass_kg: number(row, "mass_kg"),
            rotating_mass_kg: number(row, "rotating_mass_kg"),
            rolling_resistance: number(row, "rolling_resistance"),
            drag_area_m2: number(row, "drag_area_m2"),
            air_density_kg_m3: number(row, "air_density_kg_m3"),
        };
        let totals = Drive::every(1.0, speeds).on_grade(number(row, "grade_frac")).totals(&vehicle);
        let case = format!("{} {} {}", row["cycle"], row["vehicle"], row["grade_frac"]);
        let metres = totals.sum("distance_m");
        close(&format!("{case}, distance [m]"), metres, number(row, "distance_m"), DISTANCE_M);
        let energies = [
            ("tractive_j", totals.tractive_j()),
            ("braking_j", totals.braking_j()),
            ("recoverable_j", totals.joules("energy_recoverable_kwh")),
        ];
        for (column, joules) in energies {
            within(&format!("{case}, {column}"), joules, number(row, column), ENERGY_SHARE);
        }
        compared += 1;
    }
    assert_eq!(compared, 9 * cycles.len());
}
