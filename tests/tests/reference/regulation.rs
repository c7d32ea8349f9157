//! Group A: worked examples and definitions of 40 CFR.

use backwatt_physics::kernels::coastdown::{Span, force};
use backwatt_physics::kernels::road_load::{Conditions, steady_force};
use backwatt_physics::kernels::{air, axle_spin, hampel};
use backwatt_schema::KILOGRAMS_PER_SHORT_TON;
use backwatt_schema::unit::Unit;
use backwatt_testkit::close;

/// The regulation prints forces of the coastdown example to a tenth and rounds its inputs.
const COASTDOWN_N: f64 = 0.5;
/// Forces printed to a tenth.
const FORCE_N: f64 = 0.1;
/// Net force printed to a hundredth.
const NET_FORCE_N: f64 = 0.01;
const MASS_KG: f64 = 0.5;
const PAYLOAD_KG: f64 = 0.1;
/// Next-step speed printed to five decimals.
const NEXT_SPEED_M_S: f64 = 2e-5;
const AIR_SPEED_MPH: f64 = 0.01;
const YAW_DEG: f64 = 0.01;

/// The truck of 40 CFR 1036.545(f)(3) and (4).
fn medium_truck(gravity_m_s2: f64) -> Conditions {
    Conditions {
        mass_kg: 11_408.0,
        rotating_mass_kg: 340.0,
        rolling_resistance: 0.0077,
        drag_area_m2: 5.4,
        air_density_kg_m3: 1.1845,
        gravity_m_s2,
        headwind_m_s: 0.0,
    }
}

/// 40 CFR 1037.528(h)(4).
#[test]
fn a1_coastdown_span() {
    let span = Span {
        speed_m_s: (31.28, 26.77),
        time_s: (3.05, 19.11),
        height_m: (0.044, 0.547),
        distance_m: (215.4, 697.8),
    };
    let (total, inertia, grade) = force(17_129.0, 16_108.0, 9.8061, &span);
    close("road load [N]", total, 4645.5, COASTDOWN_N);
    close("inertia term [N]", inertia, 4810.2, COASTDOWN_N);
    close("grade term [N]", grade, 164.7, COASTDOWN_N);
}

/// 40 CFR 1037.528(h)(1) and (4): 56.7 kg a tyre.
#[test]
fn a2_effective_mass_of_eighteen_tyres() {
    let truck = Conditions { mass_kg: 16_108.0, rotating_mass_kg: 18.0 * 56.7, ..medium_truck(9.8061) };
    close("effective mass [kg]", truck.effective_mass_kg(), 17_129.0, MASS_KG);
}

/// 40 CFR 1036.545(f)(4): M g sin(atan G). Without rolling resistance and air the grade is all there is.
#[test]
fn a4_grade_force() {
    let bare = |gravity| Conditions { rolling_resistance: 0.0, drag_area_m2: 0.0, ..medium_truck(gravity) };
    close("with g 9.81 [N]", steady_force(&bare(9.81), 20.0, 0.0039), 436.5, FORCE_N);
    close("with g 9.80665 [N]", steady_force(&bare(9.806_65), 20.0, 0.0039), 436.3, FORCE_N);
}

/// 40 CFR 1036.545(f)(4): inputs of its example, answer derived (the printed one is an image).
#[test]
fn a5_next_step_speed() {
    let truck = medium_truck(9.806_65);
    let push = 4.0 * 500.0 * 0.955 / 0.399;
    let net = push - steady_force(&truck, 20.0, 0.0039);
    close("net force [N]", net, 2209.97, NET_FORCE_N);
    let next = 20.0 + net / truck.effective_mass_kg() * 0.01;
    close("next speed [m/s]", next, 20.001_88, NEXT_SPEED_M_S);
    let with_other_gravity = push - steady_force(&medium_truck(9.81), 20.0, 0.0039);
    close("net force with g 9.81 [N]", with_other_gravity, 2209.5, FORCE_N);
}

/// 40 CFR 1037.528(h)(5).
#[test]
fn a6_axle_spin_loss() {
    let at = |speed| axle_spin::force([-206.841, 239.8279, 21.275_05], 0.315_657, speed);
    close("fast [N]", at(28.86), 129.7, FORCE_N);
    close("slow [N]", at(5.84), 52.7, FORCE_N);
    close("difference [N]", at(28.86) - at(5.84), 77.0, FORCE_N);
}

/// 40 CFR 1037.528(g)(2).
#[test]
fn a7_air_speed_in_an_oblique_wind() {
    close("air speed [mph]", air::air_speed(64.9, 7.1, 47f64.to_radians()), 69.93, AIR_SPEED_MPH);
}

/// 40 CFR 1037.528(g)(3).
#[test]
fn a8_yaw_of_the_air_flow() {
    close("yaw [deg]", air::yaw(64.9, 7.1, 47f64.to_radians()).to_degrees(), 4.26, YAW_DEG);
}

/// 40 CFR 1037.528(g)(1): beyond 3 x 1.4826 median deviations, so beyond 4.4478 of them.
#[test]
fn a9_outliers_begin_beyond_three_sigma() {
    // Deviations from the middle value 0 are 1, 1, 1, 1, 0 and the last: their median is 1.
    let replaced = |last: f64| {
        let mut values = [-1.0, 1.0, 0.0, 1.0, -1.0, 0.0, last];
        let count = hampel::replace_outliers(&mut values, 6);
        (count, values[6])
    };
    assert_eq!(replaced(4.4477), (0, 4.4477));
    assert_eq!(replaced(4.4479), (1, 0.0));
    assert_eq!(hampel::MAD_TO_SIGMA, 1.4826);
}

/// 40 CFR 1037.801, standard payload: 2.85 and 5.6 short tons.
#[test]
fn a10_standard_payload() {
    let ton = Unit::parse("short ton").unwrap_or_else(|| panic!("the short ton is a unit"));
    for (tons, kilograms) in [(2.85, 2585.5), (5.6, 5080.2)] {
        close("payload [kg]", ton.to_si(tons), kilograms, PAYLOAD_KG);
        close("the ton of a ton-mile [kg]", tons * KILOGRAMS_PER_SHORT_TON, kilograms, PAYLOAD_KG);
    }
}
