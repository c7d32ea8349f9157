//! A battery EV and a plug-in hybrid: held values, irregular clocks, and an engine that must not pass for braking.

use std::sync::LazyLock;

use backwatt_testkit::{close, within};

use crate::checks;
use crate::quadrature::{Vehicle, agrees};
use crate::set::{Set, figure, linear_inflow_kwh, present, sanity};

const DATA: &str = "ved-annarbor";
const EV: &str = "455";
const HYBRID: &str = "560";

/// "a left-rectangle and a trapezoid rule differ by a few percent" (data README). [1]
const RULES: f64 = 0.05;
/// Speed changes less within an interval than current does. [1]
const DISTANCE: f64 = 0.01;
/// Setting off and coming to rest fall to either side of a threshold without hysteresis. [1]
const EDGES: f64 = 0.01;
/// No energy is built over more than this, at this data's rate. [ns]
const GAP_NS: i64 = 3_000_000_000;
/// International avoirdupois pound. [kg]
const POUND_KG: f64 = 0.453_592_37;

static EXCERPT: LazyLock<Set> = LazyLock::new(|| Set::excerpt("plug-in-cars"));
static WHOLE: LazyLock<Option<Set>> = LazyLock::new(|| Set::whole("real/plug-in-cars", DATA));

#[test]
fn what_holds_everywhere_holds_on_the_excerpt() {
    checks::hold("plug-in-cars", &EXCERPT);
    checks::card_has_checksums("plug-in-cars", &EXCERPT);
}

#[test]
fn quadrature_finds_the_same_wheel_energy() {
    let ev = Vehicle {
        mass_kg: 3500.0 * POUND_KG,
        payload_kg: 0.0,
        rotating_mass_kg: 60.0,
        drag_area_m2: 0.66,
        rolling_resistance: 0.0095,
    };
    let hybrid = Vehicle { mass_kg: 4000.0 * POUND_KG, drag_area_m2: 0.65, ..ev };
    // No elevation in this data.
    let set = Set::excerpt_as_logged("plug-in-cars", &[]);
    agrees("plug-in-cars", &set, EV, &Vehicle { ..ev });
    agrees("plug-in-cars", &set, HYBRID, &hybrid);
}

#[test]
fn excerpt_does_not_praise_the_engine() {
    EXCERPT.sign_is_proved("charge");
    the_engine_is_not_braking(&EXCERPT);
    engine_inflow_has_its_own_account(&EXCERPT);
}

fn the_engine_is_not_braking(set: &Set) {
    let (vehicles, checks) = (set.trips.texts("vehicle_id"), set.trips.texts("recovery_check"));
    let ids = set.trips.texts("trip_id");
    let mut hybrids = 0;
    for row in 0..set.trips.rows() {
        let hybrid = vehicles[row].as_deref() == Some(HYBRID);
        hybrids += usize::from(hybrid);
        assert_eq!(checks[row].as_deref(), Some(if hybrid { "engine" } else { "explained" }), "{:?}", ids[row]);
        if hybrid {
            nothing_is_claimed(set, "trip", ids[row].as_deref().expect("a trip has a name"));
        }
    }
    assert!(hybrids > 0);
    nothing_is_claimed(set, "vehicle", HYBRID);
}

fn nothing_is_claimed(set: &Set, grouping: &str, group: &str) {
    for column in [
        "energy_recovered_p50_kwh",
        "recapture_of_braking_frac",
        "recapture_of_recoverable_frac",
        "recapture_of_use_frac",
        "recapture_over_net_use_frac",
        "range_gain_frac",
        "carried_by_regen_mi",
    ] {
        assert_eq!(set.answer(grouping, group, column), None, "{grouping} {group} {column}");
    }
}

/// Inflow with the engine on, moving or standing, worked out from the samples, against the account for it.
fn engine_inflow_has_its_own_account(set: &Set) {
    let booked = set.segments.sum_where("energy_unbraked_inflow_kwh", "vehicle_id", HYBRID);
    let samples = &set.samples[HYBRID];
    let times = samples.times("time_ns");
    let [power, engine] = ["pack_power_w", "engine_speed_rad_s"].map(|c| samples.numbers(c));
    let expected: f64 = (1..times.len())
        .filter(|&row| times[row] - times[row - 1] <= GAP_NS)
        .filter(|&row| engine[row - 1].is_some_and(|w| w > 1.0))
        .filter_map(|row| Some(linear_inflow_kwh(power[row - 1]?, power[row]?, times[row] - times[row - 1])))
        .sum();
    println!("hybrid: {booked:.4} kWh into the battery with the engine on, {expected:.4} kWh from the samples");
    assert!(expected > 0.1, "{expected} kWh");
    within("unbraked inflow kWh", booked, expected, EDGES);
    let of_ev = set.segments.sum_where("energy_unbraked_inflow_kwh", "vehicle_id", EV);
    close("unbraked inflow of the EV, kWh", of_ev, 0.0, 0.0);
}

#[test]
fn whole_holds_what_holds_everywhere() {
    let Some(set) = present(&WHOLE, "plug_in_cars", DATA) else { return };
    checks::hold("plug-in-cars, whole", set);
    set.sign_is_proved("charge");
    let basis = set.segments.texts("grade_basis");
    assert!(basis.iter().all(|b| b.as_deref() == Some("none")), "no elevation in this data");
}

#[test]
fn whole_agrees_with_the_raw_files() {
    let Some(set) = present(&WHOLE, "plug_in_cars", DATA) else { return };
    for trip in sanity(DATA) {
        let (file, vehicle) = (trip["file"].as_str(), trip["veh_id"].as_str());
        let got = |column| set.file_sum(vehicle, file, column);
        let distance_km = got("distance_m") / 1000.0;
        println!(
            "{file}: {distance_km:.3} km, {:.4} kWh recovered, {:.4} kWh drawn",
            got("energy_recovered_kwh"),
            got("energy_discharged_kwh")
        );
        within(&format!("{file} km"), distance_km, figure(&trip, "distance_km"), DISTANCE);
        within(
            &format!("{file} drawn kWh"),
            got("energy_discharged_kwh"),
            figure(&trip, "gross_discharge_kwh"),
            RULES,
        );
        if vehicle == EV {
            let recovered = got("energy_recovered_kwh");
            within(&format!("{file} recovered kWh"), recovered, figure(&trip, "recovered_moving_kwh"), RULES);
        }
    }
}

#[test]
fn whole_shows_the_cold_full_battery() {
    let Some(set) = present(&WHOLE, "plug_in_cars", DATA) else { return };
    // v5 starts at exactly 100 % at -10 degC: "regeneration limited (6.7 % of gross)" against 10.1 % of v2 (data README).
    let share =
        |file| set.file_sum(EV, file, "energy_recovered_kwh") / set.file_sum(EV, file, "energy_discharged_kwh");
    println!("recovered over gross: v2 {:.4}, v5 {:.4}", share("v2.csv"), share("v5.csv"));
    within("v2", share("v2.csv"), 0.101, RULES);
    within("v5", share("v5.csv"), 0.067, RULES);
    // What the battery would not have accepted shows in the braking balance of v5 only.
    let refused = |file| {
        set.file_sum(EV, file, "braking_beyond_acceptance_kwh") / set.file_sum(EV, file, "energy_braking_kwh")
    };
    assert!(refused("v5.csv") > refused("v2.csv"), "{} {}", refused("v5.csv"), refused("v2.csv"));
}

#[test]
fn whole_does_not_praise_the_engine() {
    let Some(set) = present(&WHOLE, "plug_in_cars", DATA) else { return };
    the_engine_is_not_braking(set);
    engine_inflow_has_its_own_account(set);
}

/// v9 idles its engine for minutes at standstill: energy flows into the battery, and it is no charge.
#[test]
fn an_idling_engine_is_no_charge() {
    let Some(set) = present(&WHOLE, "plug_in_cars", DATA) else { return };
    assert_eq!(set.charges.rows(), 0);
    assert!(set.segments.sum_where("energy_plugged_kwh", "vehicle_id", HYBRID) < 0.01);
}

/// Without a battery signal the engine is still seen, and nothing is claimed from the model.
#[test]
fn an_engine_is_seen_without_a_battery_signal() {
    let set = Set::excerpt_as_logged("plug-in-cars", &["pack_current"]);
    let (vehicles, checks) = (set.trips.texts("vehicle_id"), set.trips.texts("recovery_check"));
    let hybrid = vehicles.iter().position(|v| v.as_deref() == Some(HYBRID)).expect("a trip of the hybrid");
    let engine = set.samples[HYBRID].numbers("engine_speed_rad_s");
    assert!(engine.iter().flatten().any(|speed| *speed > 100.0), "the engine runs");
    assert_eq!(checks[hybrid].as_deref(), Some("engine"));
    assert_eq!(set.answer("vehicle", HYBRID, "energy_recovered_p50_kwh"), None);
}
