//! Tractive and braking energy against adaptive quadrature (`fixtures/reference/integrate_cycles.py`).

use backwatt_testkit::{close, fixture, within};

use crate::drive::{Drive, Vehicle};
use crate::tables::{cycle, number, rows};

const ENERGY_SHARE: f64 = 1e-6;
const DISTANCE_M: f64 = 1e-5;

/// Three vehicles, two cycles, flat, 2 % up and 3 % down.
#[test]
fn tractive_and_braking_energy_agree_with_quadrature() {
    let cases = rows(&fixture("reference/integrated_cycles.csv"));
    assert_eq!(cases.len(), 18);
    for row in &cases {
        let vehicle = Vehicle {
            mass_kg: number(row, "mass_kg"),
            rotating_mass_kg: number(row, "rotating_mass_kg"),
            rolling_resistance: number(row, "rolling_resistance"),
            drag_area_m2: number(row, "drag_area_m2"),
            air_density_kg_m3: number(row, "air_density_kg_m3"),
        };
        let drive = Drive::every(1.0, &cycle(&row["cycle"])).on_grade(number(row, "grade_frac"));
        let totals = drive.totals(&vehicle);
        let case = format!("{} {} {}", row["cycle"], row["vehicle"], row["grade_frac"]);
        close(
            &format!("{case}, distance [m]"),
            totals.sum("distance_m"),
            number(row, "distance_m"),
            DISTANCE_M,
        );
        within(&format!("{case}, tractive [J]"), totals.tractive_j(), number(row, "tractive_j"), ENERGY_SHARE);
        within(&format!("{case}, braking [J]"), totals.braking_j(), number(row, "braking_j"), ENERGY_SHARE);
    }
}
