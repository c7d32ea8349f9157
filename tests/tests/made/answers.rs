//! Energies of the small made-up pilot against the truth.

use backwatt::tables;
use backwatt_testkit::{Table, close, within};

use crate::truth::SMALL;

/// Beyond the wheel-speed scale, which is known here.
/// A cab heated at the stops is heated on the road; how long it was parked with the key off is seen in part.
const AUXILIARY_SHARE: f64 = 0.2;
const DISTANCE_SHARE: f64 = 0.005;
/// Mass, drag and rolling of the sheet are off by 1.5, 5 and 8 %, the speed scale by up to 1.1 %, altitude drifts,
/// and 5 s samples hide a tenth of the braking.
const TRACTIVE_SHARE: f64 = 0.10;
const BRAKING_SHARE: f64 = 0.15;
/// 1 Hz voltage and current with noise and an offset.
const MEASURED_SHARE: f64 = 0.04;
/// State of charge on a shared sheet, three days: the interval must hold the truth, the value may be this far off.
const INFERRED_SHARE: f64 = 0.30;

/// Sum of a segment column over some days of one vehicle.
fn sum(table: &'static backwatt_schema::Table, column: &str, vehicle: &str, days: &[String]) -> f64 {
    let segments = SMALL.per_vehicle(&tables::SEGMENTS);
    let numbers = SMALL.per_vehicle(table).numbers(column);
    let (vehicles, dates) = (segments.texts("vehicle_id"), segments.texts("service_day"));
    let belongs = |row: usize| {
        vehicles[row].as_deref() == Some(vehicle) && dates[row].as_ref().is_some_and(|day| days.contains(day))
    };
    (0..segments.rows()).filter(|row| belongs(*row)).filter_map(|row| numbers[row]).sum()
}

#[test]
fn distance_and_wheel_energies() {
    for vehicle in ["H12", "U22"] {
        let days = SMALL.whole_days(vehicle);
        assert!(!days.is_empty(), "{vehicle} has a whole day");
        let truth = |column| SMALL.truth_sum(vehicle, &days, column);
        let got = |column| sum(&tables::SEGMENTS, column, vehicle, &days);
        let scale = SMALL.truth_of(vehicle, "wheel_scale");
        within("distance [m]", got("distance_m"), truth("distance_m") * scale, DISTANCE_SHARE);
        within("tractive [kWh]", got("energy_tractive_kwh"), truth("energy_tractive_kwh"), TRACTIVE_SHARE);
        within("braking [kWh]", got("energy_braking_kwh"), truth("energy_braking_kwh"), BRAKING_SHARE);
    }
}

#[test]
fn measured_recovery() {
    let days = SMALL.whole_days("H12");
    let truth = SMALL.truth_sum("H12", &days, "energy_recovered_kwh");
    let got = sum(&tables::SEGMENT_BATTERY, "energy_recovered_p50_kwh", "H12", &days);
    within("recovered [kWh]", got, truth, MEASURED_SHARE);
    let evidence = SMALL.per_vehicle(&tables::SEGMENT_BATTERY).texts("evidence");
    assert!(evidence.iter().any(|e| e.as_deref() == Some("measured")));
}

/// The sheet knows nothing of cab heat; what a truck draws at its stops does.
#[test]
fn stops_explain_what_the_sheet_leaves_out() {
    let days = SMALL.whole_days("H12");
    let got = |column| sum(&tables::SEGMENTS, column, "H12", &days);
    let drawn = "energy_auxiliary_kwh";
    within("auxiliaries [kWh]", got(drawn), SMALL.truth_sum("H12", &days, drawn), AUXILIARY_SHARE);
}

#[test]
fn known_disagreement_recovery_without_a_battery_signal_lies_just_outside() {
    let days = SMALL.whole_days("U22");
    let truth = SMALL.truth_sum("U22", &days, "energy_recovered_kwh");
    let of = |column| sum(&tables::SEGMENT_BATTERY, column, "U22", &days);
    let (low, middle, high) =
        (of("energy_recovered_p05_kwh"), of("energy_recovered_p50_kwh"), of("energy_recovered_p95_kwh"));
    // Two days of one truck whose load nobody knows, a row every 5 s: found 5.29 to 7.71 kWh, and 5.21 in truth. One interval in
    // ten misses; how many do is the simulation study's to say.
    let miss = (low - truth).max(truth - high).max(0.0);
    assert!(miss < 0.05 * truth && high - low > 0.2 * truth, "{low} to {high} misses {truth} kWh by {miss}");
    within("recovered, middle [kWh]", middle, truth, INFERRED_SHARE);
    let battery = SMALL.per_vehicle(&tables::SEGMENT_BATTERY);
    let rows = battery.texts("vehicle_id").into_iter().zip(battery.texts("evidence"));
    assert!(rows.filter(|(v, _)| v.as_deref() == Some("U22")).all(|(_, e)| e.as_deref() != Some("measured")));
}

/// The same figure by two roads: ratios of the answer table against sums of the ledger.
#[test]
fn answers_agree_with_the_ledger() {
    let recovery = SMALL.recovery();
    let (groupings, groups) = (recovery.texts("grouping"), recovery.texts("group"));
    let row = (0..recovery.rows())
        .find(|i| groupings[*i].as_deref() == Some("vehicle") && groups[*i].as_deref() == Some("H12"))
        .expect("a row for H12");
    let at = |column: &str| recovery.numbers(column)[row].expect("a claim");
    let whole = |table, column| SMALL.per_vehicle(table).sum_where(column, "vehicle_id", "H12");
    let recovered = whole(&tables::SEGMENT_BATTERY, "energy_recovered_p50_kwh");
    let braking = whole(&tables::SEGMENTS, "energy_braking_kwh");
    close("R1", at("recapture_of_braking_frac"), recovered / braking, 0.002);
    let (r4, r5) = (at("recapture_of_use_frac"), at("recapture_over_net_use_frac"));
    close("R5 = R4/(1 - R4)", r5, r4 / (1.0 - r4), 1e-9);
    assert!(at("range_gain_frac") >= r5, "R7 counts the auxiliaries that regen fed");
    assert!(at("carried_by_regen_mi") >= at("carried_by_regen_low_mi"), "R4 is the lower bound of R10");
}

/// The tables that say what came back: a middle never stands without both ends, in order, and without its grade.
#[test]
fn no_recovered_figure_without_grade_and_interval() {
    let recovery = SMALL.recovery();
    let grades = ["measured", "inferred", "modelled"];
    let mut stated = 0;
    let mut check = |table: &Table, grade: &str, columns: [String; 3]| {
        let grade = table.texts(grade);
        let [low, middle, high] = columns.map(|column| table.numbers(&column));
        for row in (0..table.rows()).filter(|row| middle[*row].is_some()) {
            assert!(grade[row].as_deref().is_some_and(|grade| grades.contains(&grade)), "row {row}: {grade:?}");
            assert!(
                low[row] <= middle[row] && middle[row] <= high[row],
                "row {row}: {:?} {:?}",
                low[row],
                high[row]
            );
            assert!(low[row].is_some() && high[row].is_some(), "row {row} has no interval");
            stated += 1;
        }
    };
    for of in ["of_braking", "of_recoverable", "of_use", "over_net_use"] {
        let column = |end: &str| format!("recapture_{of}{end}_frac");
        check(&recovery, "recapture_evidence", ["_p05", "", "_p95"].map(column));
    }
    let energy = ["p05", "p50", "p95"].map(|end| format!("energy_recovered_{end}_kwh"));
    check(&recovery, "recapture_evidence", energy.clone());
    check(&SMALL.per_vehicle(&tables::SEGMENT_BATTERY), "evidence", energy);
    assert!(stated > 100, "{stated} figures looked at");
}

/// Nobody is judged on three days of driving: no row about them, neither in the answers nor in the balance.
#[test]
fn no_figure_about_a_person_under_the_least_exposure() {
    let layout = backwatt_store::Layout::new(&SMALL.out);
    for table in [&tables::RECOVERY, &tables::BRAKING_BALANCE] {
        let groupings = backwatt_testkit::Table::read(&[layout.table(table)], table).texts("grouping");
        assert!(groupings.iter().any(|grouping| grouping.as_deref() == Some("route")));
        assert!(groupings.iter().all(|grouping| grouping.as_deref() != Some("driver")), "{}", table.name);
    }
    let drivers = SMALL.per_vehicle(&tables::TRIPS).texts("driver_id");
    assert!(drivers.iter().any(Option::is_some), "the logs do name drivers");
}

#[test]
fn plug_energy_is_never_recovered() {
    let segments = SMALL.per_vehicle(&tables::SEGMENTS);
    let rows = segments.texts("kind").into_iter().zip(segments.numbers("energy_recovered_kwh"));
    for (kind, recovered) in rows.filter(|(kind, _)| kind.as_deref() != Some("driving")) {
        assert!(recovered.unwrap_or(0.0) == 0.0, "{kind:?} holds recovered energy");
    }
}
