//! Many scenarios of the same trips.

use arrow::array::RecordBatch;
use backwatt_physics::replay::Vehicle;
use backwatt_physics::{
    AS_DRIVEN, Amount, Change, Climate, Driving, Level, LiftOff, Losses, ReplaySettings, Scenario,
    SpeedReading, Truck, scenarios, what_if,
};
use backwatt_schema::BatchView;
use backwatt_schema::tables::{SCENARIOS, WHAT_IF};
use proptest::prelude::*;

use super::made::{Log, cases, drive, exactly, known, numbers, plain, truck};

const CAB: Climate = Climate {
    heating_below_k: 290.0,
    heating_w_per_k: 100.0,
    cooling_above_k: 296.0,
    cooling_w_per_k: 100.0,
    power_max_w: 6000.0,
};

fn settings() -> ReplaySettings {
    ReplaySettings { speed: SpeedReading::AsLogged, ..ReplaySettings::default() }
}

fn scenario(name: &str, truck: &Truck, change: Change) -> Scenario {
    let name = name.to_owned();
    Scenario {
        name,
        sheet: exactly(truck),
        change,
        speed_cap_m_s: None,
        is_level_road: false,
        driving: None,
        climate: CAB,
        has_ends: true,
    }
}

fn run(log: &Log, truck: &Truck, asked: &[Scenario]) -> RecordBatch {
    scenarios("T1", &log.batch(), &exactly(truck), asked, &settings()).unwrap()
}

/// Sum of a column over the rows of one scenario.
fn of(found: &RecordBatch, scenario: &str, name: &str) -> f64 {
    let names = BatchView::new(&SCENARIOS, found).texts("scenario").unwrap();
    let rows = numbers(&SCENARIOS, found, name);
    (0..rows.len()).filter(|row| names.value(*row) == scenario).filter_map(|row| rows[row]).sum()
}

proptest! {
    #![proptest_config(cases(32))]

    /// Both roads to the model, with and without a change.
    #[test]
    fn a_scenario_is_what_the_what_if_says(truck in truck(), (speeds, steps) in drive(), more in -500.0..3000.0f64) {
        let log = Log::new(&speeds, &steps).with("payload_kg", known(&vec![800.0; speeds.len()]));
        let change = Change { payload_kg: Some(Amount::Add(more)), ..Change::default() };
        let found = run(&log, &truck, &[scenario("loaded", &truck, change.clone())]);
        let vehicle = Vehicle { sheet: exactly(&truck), capacity_j: None };
        let pair = what_if("T1", &log.batch(), &vehicle, &vehicle, &change, &settings()).unwrap();
        for (name, column) in [(AS_DRIVEN, "energy_net_driven_kwh"), ("loaded", "energy_net_changed_kwh")] {
            let expected: f64 = numbers(&WHAT_IF, &pair, column).into_iter().flatten().sum();
            let total = of(&found, name, "energy_driving_kwh") + of(&found, name, "energy_standing_kwh");
            prop_assert!((total - expected).abs() <= 1e-9 * expected.abs() + 1e-12, "{name} {total} {expected}");
            let low = of(&found, name, "energy_total_low_kwh");
            prop_assert!((low - total).abs() <= 1e-9 * total.abs() + 1e-12, "a sheet without spread has no ends");
        }
    }

    /// And with a cap, which takes longer over the same way.
    #[test]
    fn a_capped_scenario_is_what_the_what_if_says(truck in truck(), (speeds, steps) in drive(), cap in 3.0..20.0f64) {
        let log = Log::new(&speeds, &steps);
        let capped = Scenario { speed_cap_m_s: Some(cap), ..scenario("capped", &truck, Change::default()) };
        let found = run(&log, &truck, &[capped]);
        let vehicle = Vehicle { sheet: exactly(&truck), capacity_j: None };
        let change = Change { speed_cap_m_s: Some(cap), ..Change::default() };
        let pair = what_if("T1", &log.batch(), &vehicle, &vehicle, &change, &settings()).unwrap();
        for (name, column) in [(AS_DRIVEN, "energy_net_driven_kwh"), ("capped", "energy_net_changed_kwh")] {
            let expected: f64 = numbers(&WHAT_IF, &pair, column).into_iter().flatten().sum();
            let total = of(&found, name, "energy_driving_kwh") + of(&found, name, "energy_standing_kwh");
            prop_assert!((total - expected).abs() <= 1e-6 * expected.abs() + 1e-9, "{name} {total} {expected}");
        }
        let longer = of(&found, "capped", "duration_driving_s") - of(&found, AS_DRIVEN, "duration_driving_s");
        prop_assert!(longer >= -1e-9, "{longer}");
    }

    #[test]
    fn hostile_scenarios_do_not_panic(
        truck in truck(),
        (speeds, steps) in drive(),
        value in prop_oneof![Just(0.0), Just(-1e9), Just(1e9)],
        stops in prop_oneof![Just(0.0), 0.0..0.1f64],
    ) {
        let log = Log::new(&speeds, &steps).with("temperature_ambient_k", known(&vec![280.0; speeds.len()]));
        let change = Change { temperature: Some(Amount::Set(value)), payload_kg: Some(Amount::Add(value)), ..Change::default() };
        let driving = Driving { cruise_m_s: 10.0, stops_per_m: stops, accel_m_s2: 1.0, decel_m_s2: 1.0, stop_s: Some(30.0) };
        let asked = Scenario { driving: Some(driving), is_level_road: true, ..scenario("hostile", &truck, change) };
        let _ = run(&log, &truck, &[asked]);
    }
}

/// By hand, one leg of way D at speed v, no loss, no regen: traction is ½ m_e v² + m g C_rr (D - v²/2b) to speed up and
/// roll until braking begins, and c (v⁴/4a + v² d) of air with c = ½ ρ C_dA and d the way held; braking asks nothing.
#[test]
fn a_leg_costs_what_the_formula_says() {
    let level = Level {
        name: "off".to_owned(),
        lift_off: LiftOff::Force { n: 0.0 },
        fade_start_m_s: 1.0,
        fade_end_m_s: 3.0,
    };
    let losses = Losses::Constant { efficiency: 1.0 };
    let truck = Truck { losses, levels: vec![level], aux_power_w: 0.0, ..plain() };
    let speeds: Vec<f64> = std::iter::once(0.0).chain(std::iter::repeat_n(8.0, 200)).chain([0.0]).collect();
    let log = Log::new(&speeds, &vec![1.0; speeds.len()]);
    let (v, up, down) = (12.0, 0.8, 1.6);
    let driving = Driving { cruise_m_s: v, stops_per_m: 0.0, accel_m_s2: up, decel_m_s2: down, stop_s: None };
    let asked = Scenario { driving: Some(driving), ..scenario("plan", &truck, Change::default()) };
    let found = run(&log, &truck, &[asked]);
    let way = of(&found, "plan", "distance_m");
    let mass = truck.mass_empty_kg + truck.payload_kg;
    let (slowing, speeding) = (v * v / (2.0 * down), v * v / (2.0 * up));
    let air = 0.5 * 1.224_999 * truck.drag_area_m2;
    let expected = 0.5 * (mass + truck.rotating_mass_kg) * v * v
        + mass * 9.806_65 * truck.rolling_resistance * (way - slowing)
        + air * (v.powi(4) / (4.0 * up) + v * v * (way - slowing - speeding));
    let joules = of(&found, "plan", "energy_driving_kwh") * 3.6e6;
    assert!((joules - expected).abs() < 1e-5 * expected, "{joules} {expected}");
}

/// 10 K below the balance point at 100 W/K are 1 kW, whether auxiliaries are logged or the sheet's.
#[test]
fn a_cold_cab_is_heated() {
    let speeds = vec![10.0; 361];
    let plain = plain();
    let cold = Change { temperature: Some(Amount::Set(280.0)), ..Change::default() };
    let logs = [
        Log::new(&speeds, &vec![1.0; 361]).with("temperature_ambient_k", known(&[290.0; 361])),
        Log::new(&speeds, &vec![1.0; 361])
            .with("temperature_ambient_k", known(&[290.0; 361]))
            .with("aux_power_w", known(&[500.0; 361])),
    ];
    let truck = Truck { drag_area_m2: 0.0, ..plain };
    for log in logs {
        let found = run(&log, &truck, &[scenario("cold", &truck, cold.clone())]);
        let more = of(&found, "cold", "energy_driving_kwh") - of(&found, AS_DRIVEN, "energy_driving_kwh");
        assert!((more - 0.1).abs() < 1e-9, "{more}");
        // Tyres that follow the cold are one end.
        let (low, high) =
            (of(&found, "cold", "energy_change_low_kwh"), of(&found, "cold", "energy_change_high_kwh"));
        assert!((low - 0.1).abs() < 1e-9 && high > low, "{low} {high}");
    }
}
