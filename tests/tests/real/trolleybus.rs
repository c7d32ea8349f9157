//! City trolleybus: the publisher's own integrals, and a store nobody names.

use std::sync::LazyLock;

use backwatt_testkit::{close, within};

use crate::checks;
use crate::quadrature::{Vehicle, agrees};
use crate::set::{KWH_J, Set, csv_rows, figure, present, sanity, shared_file};

const DATA: &str = "ztbus-zurich";
const VEHICLE: &str = "B183";

/// metaData.csv prints tenths of a metre and six figures of joules; the README rounds to 1 Wh. [m, kWh]
const PRINTED_M: f64 = 0.05;
const PRINTED_KWH: f64 = 0.0005;
/// A smoother keeps the way; creep within the sensor's error of standing is none. [1]
const SMOOTHED: f64 = 2e-4;
/// The method's authors claim 5 % (Vahidi, Stefanopoulou and Peng 2005); rotating mass and passengers are rough. [1]
const MASS_SHARE: f64 = 0.03;
/// Left rectangles count a change of sign within a second whole, straight lines between samples in part. [1]
const SIGN_CHANGES: f64 = 0.02;

/// The pilot file's sheet.
const SHEET: Vehicle = Vehicle {
    mass_kg: 19_000.0,
    payload_kg: 1_400.0,
    rotating_mass_kg: 900.0,
    drag_area_m2: 5.8,
    rolling_resistance: 0.0075,
};

static EXCERPT: LazyLock<Set> = LazyLock::new(|| Set::excerpt("trolleybus"));
static WHOLE: LazyLock<Option<Set>> = LazyLock::new(|| Set::whole("real/trolleybus", DATA));

#[test]
fn what_holds_everywhere_holds_on_the_excerpt() {
    checks::hold("trolleybus", &EXCERPT);
    checks::card_has_checksums("trolleybus", &EXCERPT);
    EXCERPT.sign_is_proved("discharge");
    nothing_is_recovered(&EXCERPT);
}

#[test]
fn quadrature_finds_the_same_wheel_energy() {
    agrees("trolleybus", &Set::excerpt_as_logged("trolleybus", &["altitude"]), VEHICLE, &SHEET);
}

#[test]
fn excerpt_integrates_the_columns_as_logged() {
    publishers_rule(&EXCERPT);
}

#[test]
fn excerpt_carries_passengers_forward() {
    let samples = &EXCERPT.samples[VEHICLE];
    let (lines, payload) = (samples.counts("source_line"), samples.numbers("payload_kg"));
    // The log holds a number on the row of each served stop only (data README).
    let at = |line: u64| payload[lines.iter().position(|l| *l == line).expect("a line of the excerpt")];
    let stops = passengers_in_log();
    assert_eq!(stops.len(), 13, "served stops");
    for pair in stops.windows(2) {
        let (line, passengers) = pair[0];
        for line in line..pair[1].0 {
            assert_eq!(at(line), Some(70.0 * passengers), "line {line}");
        }
    }
    let most = stops.iter().map(|stop| stop.1).fold(0.0, f64::max);
    close("most passengers", most, 12.0, 0.0);
}

/// Lines of the excerpt that hold a number of passengers, and that number.
fn passengers_in_log() -> Vec<(u64, f64)> {
    let file = EXCERPT.receipts.texts("source_file")[0].clone().expect("a name");
    let rows = csv_rows(&backwatt_testkit::fixture("real/trolleybus").join(file));
    // Stop names hold a comma: count from the left, where no column before the passengers is quoted with one.
    let passengers = |row: &std::collections::BTreeMap<String, String>| figure(row, "itcs_numberOfPassengers");
    rows.iter()
        .enumerate()
        .map(|(at, row)| (at as u64 + 2, passengers(row)))
        .filter(|(_, passengers)| !passengers.is_nan())
        .collect()
}

fn nothing_is_recovered(set: &Set) {
    close("recovered kWh", set.segments.sum("energy_recovered_kwh"), 0.0, 0.0);
    assert!(set.trips.texts("recovery_check").iter().all(|c| c.as_deref() == Some("unknown-store")));
    let unclaimed = [
        "energy_recovered_p50_kwh",
        "recapture_of_braking_frac",
        "recapture_of_recoverable_frac",
        "recapture_of_use_frac",
        "recapture_over_net_use_frac",
        "range_gain_frac",
        "carried_by_regen_mi",
    ];
    for (grouping, group) in [("pilot", "all"), ("vehicle", VEHICLE)] {
        for column in unclaimed {
            assert_eq!(set.answer(grouping, group, column), None, "{grouping} {column}");
        }
    }
    assert!(set.battery.numbers("energy_recovered_p50_kwh").iter().flatten().all(|kwh| *kwh == 0.0));
}

/// "drivenDistance and energyConsumption are trapezoidal integrals of the mission's own columns" (data README):
/// over all rows, small negative speeds included. Returns metres and kWh by that rule from the samples.
fn publishers_rule(set: &Set) -> (f64, f64) {
    let samples = &set.samples[VEHICLE];
    let times = samples.times("time_ns");
    let trapezoid = |column| -> f64 {
        let values = samples.numbers(column);
        (1..times.len())
            .filter_map(|row| Some((values[row - 1]?, values[row]?, row)))
            .map(|(before, now, row)| f64::midpoint(before, now) * (times[row] - times[row - 1]) as f64 * 1e-9)
            .sum()
    };
    let (distance_m, net_kwh) = (trapezoid("speed_m_s"), trapezoid("pack_power_w") / KWH_J);
    let sum = |column| set.segments.sum(column);
    let unclamped_m = sum("distance_unclamped_m");
    let net_of_segments = sum("energy_discharged_kwh")
        - sum("energy_recovered_kwh")
        - sum("energy_returned_unknown_store_kwh")
        - sum("energy_unbraked_inflow_kwh")
        - sum("energy_plugged_kwh");
    println!(
        "trolleybus, {} rows: {unclamped_m:.4} m as logged, {:.4} m clamped; net {net_of_segments:.6} kWh",
        samples.rows(),
        sum("distance_m")
    );
    within("distance, segments against samples", unclamped_m, distance_m, 1e-9);
    within("net, segments against samples", net_of_segments, net_kwh, 1e-9);
    within("distance, smoothed against logged", sum("distance_m"), unclamped_m, SMOOTHED);
    (unclamped_m, net_of_segments)
}

#[test]
fn whole_holds_what_holds_everywhere() {
    let Some(set) = present(&WHOLE, "trolleybus", DATA) else { return };
    checks::hold("trolleybus, whole", set);
    set.sign_is_proved("discharge");
    nothing_is_recovered(set);
}

#[test]
fn whole_agrees_with_the_publisher_to_the_printed_digit() {
    let Some(set) = present(&WHOLE, "trolleybus", DATA) else { return };
    let (distance_m, net_kwh) = publishers_rule(set);
    let missions = csv_rows(&shared_file(DATA, "metaData.csv"));
    let mission = missions
        .iter()
        .find(|row| row["name"] == "\"B183_2021-07-26_03-53-27_2021-07-26_07-18-47\"")
        .expect("the mission has a row");
    close("metaData.csv drivenDistance, m", distance_m, figure(mission, "drivenDistance"), PRINTED_M);
    // Six figures: 213 587 kJ, so half a unit of the last is 500 J.
    close("metaData.csv energyConsumption, J", net_kwh * KWH_J, figure(mission, "energyConsumption"), 500.0);
    close("README distance, m", distance_m, 48_274.1, PRINTED_M);
    close("README net, kWh", net_kwh, 59.330, PRINTED_KWH);
}

#[test]
fn whole_keeps_what_came_back_apart() {
    let Some(set) = present(&WHOLE, "trolleybus", DATA) else { return };
    let expected = &sanity(DATA)[0];
    let returned = set.segments.sum("energy_returned_unknown_store_kwh");
    println!("trolleybus: {returned:.4} kWh to an unknown store");
    within("returned kWh", returned, figure(expected, "negative_demand_moving_kwh"), SIGN_CHANGES);
    let drawn = set.segments.sum("energy_discharged_kwh");
    within("drawn kWh", drawn, figure(expected, "gross_demand_kwh"), SIGN_CHANGES);
    // Both rules count each watt once: what one puts on either side of a sign change, the other leaves out of both.
    close("drawn less returned kWh", drawn - returned, figure(expected, "net_kwh"), PRINTED_KWH);
}

#[test]
fn whole_keeps_the_other_signals() {
    let Some(set) = present(&WHOLE, "trolleybus", DATA) else { return };
    let expected = &sanity(DATA)[0];
    let samples = &set.samples[VEHICLE];
    let times = samples.times("time_ns");
    let [speed, force, power, pressure, altitude] =
        ["speed_m_s", "wheel_force_n", "pack_power_w", "brake_pressure_pa", "altitude_m"]
            .map(|c| samples.numbers(c));
    // Left rectangles, as `SANITY.csv`: motor work at the wheels.
    let work = |sign: f64| -> f64 {
        (1..times.len())
            .filter_map(|row| Some((force[row - 1]? * speed[row - 1]?, row)))
            .map(|(watt, row)| (sign * watt).max(0.0) * (times[row] - times[row - 1]) as f64 * 1e-9 / KWH_J)
            .sum()
    };
    close("motor drive work kWh", work(1.0), figure(expected, "motor_drive_work_kwh"), PRINTED_KWH);
    close("motor brake work kWh", work(-1.0), figure(expected, "motor_brake_work_kwh"), PRINTED_KWH);
    let moving = |row: &usize| speed[*row].is_some_and(|v| v > 0.5 / 3.6);
    let standing = |row: &usize| speed[*row].is_some_and(|v| v <= 0.5 / 3.6);
    let mut watts: Vec<f64> = (0..samples.rows()).filter(standing).filter_map(|row| power[row]).collect();
    watts.sort_by(f64::total_cmp);
    close(
        "median kW at standstill",
        watts[watts.len() / 2] / 1000.0,
        figure(expected, "standstill_median_kw"),
        0.05,
    );
    let rows: Vec<usize> = (0..samples.rows()).filter(moving).collect();
    let braked = rows.iter().filter(|row| pressure[**row].is_some_and(|p| p > 1e4)).count();
    let share = braked as f64 / rows.len() as f64;
    // 245 of 7,683 rows; `SANITY.csv` has two of them fewer.
    let printed = figure(expected, "share_moving_with_brake_pressure_above_0p1bar");
    close("share of moving rows with pressure", share, printed, 2.0 / 7_683.0);
    let unknown = altitude.iter().filter(|a| a.is_none()).count();
    assert_eq!(unknown as f64, figure(expected, "gnss_nan_rows"));
    let heights = || altitude.iter().flatten().copied();
    close("lowest m", heights().fold(f64::MAX, f64::min), figure(expected, "alt_min"), 1e-4);
    close("highest m", heights().fold(f64::MIN, f64::max), figure(expected, "alt_max"), 1e-4);
}

#[test]
fn whole_draws_at_standstill_what_its_auxiliaries_draw() {
    let Some(set) = present(&WHOLE, "trolleybus", DATA) else { return };
    // A median of 3.5 kW and peaks of 20-30 kW (data README): the mean lies above the median, far below the peaks.
    let (kind, drawn, seconds) = (
        set.segments.texts("kind"),
        set.segments.numbers("energy_discharged_kwh"),
        set.segments.numbers("duration_s"),
    );
    let still = (0..kind.len()).filter(|&row| kind[row].as_deref() != Some("driving"));
    let (kwh, s) = still.fold((0.0, 0.0), |sum: (f64, f64), row| {
        (sum.0 + drawn[row].unwrap_or(0.0), sum.1 + seconds[row].unwrap_or(0.0))
    });
    let mean_kw = kwh * 3600.0 / s;
    println!("trolleybus: {mean_kw:.2} kW mean over {s} s of standstill");
    assert!((3.5..10.0).contains(&mean_kw), "{mean_kw} kW");
}

/// The motors' force against the publisher's figures: 19 t empty and passengers of 70 kg (the pilot file), on hills of
/// which the log's heights say little.
#[test]
fn whole_weighs_what_its_motors_moved() {
    let Some(set) = present(&WHOLE, "trolleybus", DATA) else { return };
    let of = |name| set.trips.numbers(name);
    let (used, found) = (of("mass_kg"), of("mass_estimated_kg"));
    let (low, high) = (of("mass_estimated_low_kg"), of("mass_estimated_high_kg"));
    assert!(!used.is_empty());
    for trip in 0..used.len() {
        let [used, found, low, high] = [&used, &found, &low, &high].map(|column| column[trip].expect("a mass"));
        println!("trolleybus: {found:.0} kg ({low:.0} to {high:.0}) where the ledger has {used:.0} kg");
        within("mass from wheel force [kg]", found, used, MASS_SHARE);
        assert!(low <= found && found <= high && high - low < 0.05 * found);
    }
}

/// The motors' own force at the wheels brakes 28.9 kWh, and the friction lines are under pressure on 3 % of the moving
/// rows. The height is raw satellite height with steps of up to 7.5 m in a second (`SANITY.csv`): a mean over 200 m of it
/// made the ledger brake 1.52 times what the motors did, split into road and receiver over six passes it is 1.26. With the
/// road's slope taken from the motors' force the same sheet brakes 1.20 times: that much is road load the sheet lacks
/// (`trolleybus_road`).
#[test]
fn whole_brakes_with_satellite_height_what_it_brakes_with_the_true_slope() {
    let Some(set) = present(&WHOLE, "trolleybus", DATA) else { return };
    let motors = figure(&sanity(DATA)[0], "motor_brake_work_kwh");
    let ratio = set.segments.sum("energy_braking_kwh") / motors;
    println!("trolleybus: the ledger brakes {ratio:.3} times what the motors do");
    close("braking energy over motor braking work", ratio, 1.20, 0.08);
    let passes = set.trips.counts("height_passes").into_iter().max();
    assert!(passes >= Some(3), "{passes:?} passes over the same road");
}
