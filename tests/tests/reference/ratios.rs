//! Group G: ratios with their denominators, adhesion, equivalence.

use arrow::array::RecordBatch;
use backwatt_estimate::{Reach, TypeSheet, learn, observe, recovery, tally};
use backwatt_physics::kernels::adhesion::{DrivenAxle, deceleration_limit};
use backwatt_schema::{METRES_PER_MILE, tables};
use backwatt_stats::student_quantile;
use backwatt_testkit::close;

use crate::batches::{Cells, filled, numbers, one};

const RATIO: f64 = 1e-9;
/// Printed digits.
const RATIO_PCT: f64 = 0.0005;
const MILES: f64 = 1e-9;
const CONSUMPTION_KWH_KM: f64 = 5e-7;
const ADHESION_M_S2: f64 = 0.001;
const INTERVAL_KWH_MI: f64 = 5e-5;
const STATISTIC: f64 = 5e-4;

/// Energies of one trip, all in one segment. [kWh]
struct Sums {
    tractive: f64,
    braking: f64,
    discharged: f64,
    recovered: f64,
    bus: f64,
    miles: f64,
}

/// The case of the check values: 10 kWh tractive, 4 braking, drive efficiency 0.85, 1 kWh auxiliaries drawn outside
/// regen, 55 % of the braking energy back at the terminals.
fn worked_case() -> Sums {
    let recovered = 0.55 * 4.0;
    Sums { tractive: 10.0, braking: 4.0, discharged: 10.0 / 0.85 + 1.0, recovered, bus: recovered, miles: 10.0 }
}

/// The answer table of a log with this one trip: the row of the whole pilot.
fn answers(sums: &Sums) -> Answers {
    let text = |value| Cells::Texts(vec![Some(value)]);
    let segments = filled(
        &tables::SEGMENTS,
        1,
        &[
            ("trip_id", text("T1-0001")),
            ("kind", text("driving")),
            ("service_day", text("2024-01-01")),
            ("moving_s", one(3600.0)),
            ("distance_m", one(sums.miles * METRES_PER_MILE)),
            ("energy_tractive_kwh", one(sums.tractive)),
            ("energy_braking_kwh", one(sums.braking)),
        ],
    );
    let mut cells = vec![("evidence", text("measured")), ("energy_returned_bus_p50_kwh", one(sums.bus))];
    let triples = [
        (["energy_recovered_p05_kwh", "energy_recovered_p50_kwh", "energy_recovered_p95_kwh"], sums.recovered),
        (
            ["energy_discharged_p05_kwh", "energy_discharged_p50_kwh", "energy_discharged_p95_kwh"],
            sums.discharged,
        ),
        (["energy_net_p05_kwh", "energy_net_p50_kwh", "energy_net_p95_kwh"], sums.discharged - sums.recovered),
    ];
    for (names, value) in triples {
        cells.extend(names.map(|name| (name, one(value))));
    }
    let battery = filled(&tables::SEGMENT_BATTERY, 1, &cells);
    let trips = filled(
        &tables::TRIPS,
        1,
        &[
            ("trip_id", text("T1-0001")),
            ("energy_tractive_kwh", one(sums.tractive)),
            ("energy_braking_kwh", one(sums.braking)),
            ("energy_braking_low_kwh", one(sums.braking)),
            ("energy_braking_high_kwh", one(sums.braking)),
            ("braking_claim", text("full")),
            ("recovery_check", text("explained")),
        ],
    );
    let sheet = sheet();
    let statistics = observe(&segments, &trips, &sheet).unwrap_or_else(|e| panic!("{e}"));
    let learned = learn(&sheet, std::slice::from_ref(&statistics)).unwrap_or_else(|| panic!("nothing learned"));
    let posterior = learned.of_vehicle(&statistics.vehicle_id).unwrap_or_else(|| panic!("no such vehicle"));
    let routes = filled(&tables::TRIP_ROUTES, 0, &[]);
    let tally = tally(&segments, &battery, &trips, &routes, &posterior).unwrap_or_else(|e| panic!("{e}"));
    Answers(recovery(&tally).unwrap_or_else(|e| panic!("{e}")))
}

/// A type without capacity or levels: nothing is inferred here.
fn sheet() -> TypeSheet {
    TypeSheet {
        name: "type".to_owned(),
        battery: None,
        levels: Vec::new(),
        default_level: None,
        reach: Reach {
            mass_empty_frac: 0.03,
            payload_frac: 0.1,
            payload_beyond_frac: 0.0,
            load_frac: 0.0,
            rolling_frac: 0.2,
            drag_frac: 0.15,
            losses_frac: 0.2,
            capacity_frac: 0.05,
        },
    }
}

struct Answers(RecordBatch);

impl Answers {
    /// The first row is the whole pilot's.
    fn get(&self, name: &str) -> f64 {
        numbers(&tables::RECOVERY, &self.0, name)[0].unwrap_or_else(|| panic!("{name} is withheld"))
    }
}

/// Derived: the same 2.2 kWh over three denominators.
#[test]
fn g1_one_energy_three_percentages() {
    let answers = answers(&worked_case());
    let percent = |name| 100.0 * answers.get(name);
    close("gross discharge [kWh]", answers.get("energy_discharged_kwh"), 12.764_706, 5e-7);
    close("recovered [kWh]", answers.get("energy_recovered_p50_kwh"), 2.2, RATIO);
    close("net use [kWh]", answers.get("energy_net_kwh"), 10.564_706, 5e-7);
    close("R1 [%]", percent("recapture_of_braking_frac"), 55.0, RATIO_PCT);
    close("R4 [%]", percent("recapture_of_use_frac"), 17.235, RATIO_PCT);
    close("R5 [%]", percent("recapture_over_net_use_frac"), 20.824, RATIO_PCT);
    close("R8 [%]", percent("braking_intensity_frac"), 40.0, RATIO_PCT);
}

/// R5 = R4/(1 - R4); with nothing drawn by auxiliaries during regen the range gain is R5 and the miles carried R4.
#[test]
fn g2_recapture_over_net_use_from_recapture_of_use() {
    for recovered in [0.2, 2.2, 3.6] {
        let answers = answers(&Sums { recovered, bus: recovered, ..worked_case() });
        let (r4, r5) = (answers.get("recapture_of_use_frac"), answers.get("recapture_over_net_use_frac"));
        close("R5", r5, r4 / (1.0 - r4), RATIO);
        close("R7", answers.get("range_gain_frac"), r5, RATIO);
        close("R10 [mi]", answers.get("carried_by_regen_mi"), 10.0 * r4, MILES);
    }
}

/// 100 miles, 30 of them carried by regen: the range gain is 43 %.
#[test]
fn r10_thirty_of_a_hundred_miles() {
    let sums = Sums { discharged: 100.0, recovered: 30.0, bus: 30.0, miles: 100.0, ..worked_case() };
    let answers = answers(&Sums { braking: 60.0, ..sums });
    close("R10 [mi]", answers.get("carried_by_regen_mi"), 30.0, MILES);
    close("R7 [%]", 100.0 * answers.get("range_gain_frac"), 43.0, 0.5);
}

/// 1 kWh/mile is 621.371 Wh/km.
#[test]
fn g3_consumption_per_mile_and_per_kilometre() {
    let case = worked_case();
    let answers = answers(&Sums { miles: case.discharged - case.recovered, ..case });
    close("R9 [kWh/mi]", answers.get("consumption_kwh_mi"), 1.0, RATIO);
    close("R9 [kWh/km]", answers.get("consumption_kwh_km"), 0.621_371, CONSUMPTION_KWH_KM);
}

/// Two one-sided tests of a mean difference of +0.03, sd 0.11, n 30: as far as the quantile of t goes.
#[test]
fn g5_interval_of_an_equivalence_test() {
    let error = 0.11 / 30f64.sqrt();
    let half = error * student_quantile(0.95, 29.0).unwrap_or(f64::NAN);
    close("lower end [kWh/mi]", 0.03 - half, -0.0041, INTERVAL_KWH_MI);
    close("upper end [kWh/mi]", 0.03 + half, 0.0641, INTERVAL_KWH_MI);
    let nearer = student_quantile(1.0 - 7.9e-4, 29.0).unwrap_or(f64::NAN);
    // The probability is printed to two digits: its quantile is good to a few hundredths.
    close("t at p 7.9e-4", nearer, (0.10 - 0.03) / error, 0.03);
    close("t of the nearer margin", (0.10 - 0.03) / error, 3.486, STATISTIC);
}

/// Moments about the tyres: wheelbase 4.5 m, centre of gravity 2.6 m behind the front axle and 1.1 m high.
fn limits(axle: DrivenAxle) -> [f64; 4] {
    [0.1, 0.2, 0.5, 0.8].map(|friction| deceleration_limit(axle, 4.5, 2.6, 1.1, friction))
}

#[test]
fn g8_adhesion_of_a_driven_rear_axle() {
    for (got, expected) in limits(DrivenAxle::Rear).into_iter().zip([0.553, 1.080, 2.524, 3.791]) {
        close("rear [m/s2]", got, expected, ADHESION_M_S2);
    }
}

#[test]
fn g9_adhesion_of_a_driven_front_axle() {
    for (got, expected) in limits(DrivenAxle::Front).into_iter().zip([0.424, 0.871, 2.359, 4.118]) {
        close("front [m/s2]", got, expected, ADHESION_M_S2);
    }
}
