//! Wind, air, auxiliaries and mass, through the replay.

use backwatt_physics::{Climate, Replay, ReplaySettings, RollingTemperature, Truck, Weather, Wind};
use backwatt_schema::tables::{self, CASCADE};
use backwatt_schema::{BatchView, text_at};
use proptest::prelude::*;

use super::made::{Log, cases, drive, numbers, plain, sum, truck};

const SHARE: f64 = 1e-9;
const CALM_SHARE: f64 = 1e-12;
/// A thousandth of a joule, where there is nothing to add up. [kWh]
const NOTHING_KWH: f64 = 1e-3 / 3.6e6;

fn near(a: f64, b: f64, size: f64, share: f64) -> bool {
    (a - b).abs() <= share * size + NOTHING_KWH
}

fn settings() -> ReplaySettings {
    ReplaySettings { segment_length_m: 50.0, ..ReplaySettings::default() }
}

fn texts(replay: &Replay, name: &str) -> Vec<String> {
    let array =
        BatchView::new(&tables::SEGMENTS, &replay.segments).texts(name).unwrap_or_else(|e| panic!("{e}"));
    (0..replay.segments.num_rows()).filter_map(|row| text_at(array, row).map(str::to_owned)).collect()
}

/// A wind and a heading for each row, storms from behind included.
fn winds() -> impl Strategy<Value = Vec<(f64, f64, f64)>> {
    prop::collection::vec((0.0..30.0f64, 0.0..360.0f64, 0.0..360.0f64), 60)
}

fn blown(log: Log, winds: &[(f64, f64, f64)]) -> Log {
    let rows = log.time_ns.len();
    let of = |pick: fn(&(f64, f64, f64)) -> f64| winds[..rows].iter().map(|w| Some(pick(w))).collect();
    log.with("wind_speed_m_s", of(|w| w.0)).with("wind_from_deg", of(|w| w.1)).with("heading_deg", of(|w| w.2))
}

proptest! {
    #![proptest_config(cases(48))]

    #[test]
    fn the_ledger_closes_in_any_wind(truck in truck(), (speeds, steps) in drive(), winds in winds()) {
        let grades = (0..speeds.len()).map(|i| Some(0.03 * (i as f64).sin())).collect();
        let replay = blown(Log::new(&speeds, &steps).with("grade_frac", grades), &winds).replay(&truck, &settings());
        let of = |name| numbers(&tables::SEGMENTS, &replay.segments, name);
        let accounts = ["energy_kinetic_kwh", "energy_grade_kwh", "energy_rolling_kwh", "energy_aero_kwh"].map(of);
        let (tractive, braking) = (of("energy_tractive_kwh"), of("energy_braking_kwh"));
        let cascade = CASCADE.map(of);
        for row in 0..replay.segments.num_rows() {
            let (out, back) = (tractive[row].unwrap(), braking[row].unwrap());
            let spent: f64 = accounts.iter().map(|column| column[row].unwrap()).sum();
            let size = out + back + accounts.iter().map(|column| column[row].unwrap().abs()).sum::<f64>();
            prop_assert!(near(spent, out - back, size, SHARE), "{spent} {out} {back}");
            let split: f64 = cascade.iter().map(|column| column[row].unwrap()).sum();
            prop_assert!(near(split, back, size, SHARE), "{split} {back}");
        }
        prop_assert!(texts(&replay, "wind_basis").iter().all(|basis| basis == "logged"));
    }

    #[test]
    fn no_wind_is_calm(truck in truck(), (speeds, steps) in drive(), winds in winds()) {
        let still: Vec<_> = winds.iter().map(|w| (0.0, w.1, w.2)).collect();
        let calm = Log::new(&speeds, &steps).replay(&truck, &settings());
        let blown = blown(Log::new(&speeds, &steps), &still).replay(&truck, &settings());
        let size = sum(&calm, "energy_tractive_kwh") + sum(&calm, "energy_braking_kwh");
        for name in CASCADE.into_iter().chain(["energy_aero_kwh", "energy_tractive_kwh", "energy_braking_kwh"]) {
            prop_assert!(near(sum(&calm, name), sum(&blown, name), size, CALM_SHARE), "{name}");
        }
    }

    /// Against a wind as fast as the truck the air is twice as fast, and its drag four times as large.
    #[test]
    fn a_headwind_as_fast_as_the_truck(truck in truck(), speed in 3.0..30.0f64, heading in 0.0..360.0f64) {
        let log = Log::new(&[speed; 30], &[1.0; 30]);
        let with = |wind: f64, from: f64| {
            blown(log.clone(), &[(wind, from, heading); 30]).replay(&truck, &settings())
        };
        let calm = sum(&log.replay(&truck, &settings()), "energy_aero_kwh");
        prop_assert!(near(sum(&with(speed, heading), "energy_aero_kwh"), 4.0 * calm, calm, SHARE));
        prop_assert!(near(sum(&with(speed, heading + 180.0), "energy_aero_kwh"), 0.0, calm, SHARE));
        prop_assert!(near(sum(&with(2.0 * speed, heading + 180.0), "energy_aero_kwh"), -calm, calm, SHARE));
        prop_assert!(near(sum(&with(speed, heading + 90.0), "energy_aero_kwh"), calm, calm, SHARE));
    }

    /// Wind and way both turned round are the same drive.
    #[test]
    fn turning_wind_and_way_changes_nothing(truck in truck(), (speeds, steps) in drive(), winds in winds()) {
        let turned: Vec<_> = winds.iter().map(|w| (w.0, w.1 + 180.0, w.2 + 180.0)).collect();
        let pair = [&winds, &turned].map(|w| blown(Log::new(&speeds, &steps), w).replay(&truck, &settings()));
        let size = sum(&pair[0], "energy_tractive_kwh") + sum(&pair[0], "energy_braking_kwh");
        for name in ["energy_aero_kwh", "energy_tractive_kwh", "energy_braking_kwh", "energy_recoverable_kwh"] {
            prop_assert!(near(sum(&pair[0], name), sum(&pair[1], name), size, SHARE), "{name}");
        }
    }

    /// Logged gross weight is the mass, whatever sheet and payload say; twice of it doubles what mass pays for.
    #[test]
    fn gross_weight_is_the_mass(truck in truck(), (speeds, steps) in drive(), gross in 2e3..20e3f64) {
        let truck = Truck { rotating_mass_kg: 0.0, ..truck };
        let rows = speeds.len();
        let with = |mass: f64| {
            Log::new(&speeds, &steps)
                .with("mass_gross_kg", vec![Some(mass); rows])
                .with("payload_kg", vec![Some(777.0); rows])
                .replay(&truck, &settings())
        };
        let (one, two) = (with(gross), with(2.0 * gross));
        let size = sum(&two, "energy_tractive_kwh") + sum(&two, "energy_braking_kwh");
        for (name, factor) in [("energy_kinetic_kwh", 2.0), ("energy_rolling_kwh", 2.0), ("energy_aero_kwh", 1.0)] {
            prop_assert!(near(factor * sum(&one, name), sum(&two, name), size, SHARE), "{name}");
        }
        let masses = numbers(&tables::SEGMENTS, &one.segments, "mass_kg");
        prop_assert!(masses.iter().flatten().all(|mass| (mass - gross).abs() < 1e-6));
        prop_assert!(texts(&one, "mass_basis").iter().all(|basis| basis == "gross weight logged"));
    }

    /// Parts of the auxiliaries that are known add up to the total; what is not logged is null and not zero.
    #[test]
    fn auxiliary_parts_add_up(
        truck in truck(),
        (speeds, steps) in drive(),
        parts in prop::array::uniform4(prop::option::of(0.0..9e3f64)),
        pack in prop::option::of(0.0..9e3f64),
    ) {
        let rows = speeds.len();
        let columns = ["aux_power_w", "cab_climate_power_w", "battery_thermal_power_w", "refrigeration_power_w"];
        let mut log = Log::new(&speeds, &steps).with("pack_power_w", vec![pack; rows]);
        for (name, part) in columns.into_iter().zip(parts) {
            log = log.with(name, vec![part; rows]);
        }
        let replay = log.replay(&truck, &settings());
        let of = |name| numbers(&tables::SEGMENTS, &replay.segments, name);
        let names = ["energy_cab_climate_kwh", "energy_battery_thermal_kwh", "energy_refrigeration_kwh"];
        let (total, base, split) = (of("energy_auxiliary_kwh"), of("energy_aux_base_kwh"), names.map(of));
        for row in 0..replay.segments.num_rows() {
            let added: f64 = base[row].unwrap() + split.iter().filter_map(|column| column[row]).sum::<f64>();
            prop_assert!(near(total[row].unwrap(), added, added, SHARE));
            for (column, part) in split.iter().zip(&parts[1..]) {
                prop_assert_eq!(column[row].is_some(), part.is_some());
            }
        }
    }
}

/// A trip with stops of 40 s between drives, at 0 degC; the battery gives 1 500 W at the stops, 400 of it for the cab.
fn round_with_stops() -> Log {
    let lap = |i: usize| match i % 100 {
        at @ 0..20 => at as f64 * 0.5,
        20..40 => 10.0,
        at @ 40..60 => 10.0 - (at - 40) as f64 * 0.5,
        _ => 0.0,
    };
    let speeds: Vec<f64> = (0..960).map(lap).collect();
    let power = speeds.iter().map(|speed| Some(if *speed > 0.0 { 30e3 } else { 1500.0 })).collect();
    Log::new(&speeds, &[1.0; 960])
        .with("pack_power_w", power)
        .with("cab_climate_power_w", vec![Some(400.0); 960])
        .with("temperature_ambient_k", vec![Some(273.15); 960])
}

#[test]
fn stops_show_what_the_drive_draws() {
    let replay = round_with_stops().replay(&plain(), &settings());
    assert!(texts(&replay, "aux_basis").iter().all(|basis| basis == "standing"));
    let hours = sum(&replay, "duration_s") / 3600.0;
    let base_w = sum(&replay, "energy_aux_base_kwh") / hours * 1e3;
    assert!((base_w - 1100.0).abs() < 30.0, "{base_w} W: the ends of a drive may reach into a stop");
    let cab_w = sum(&replay, "energy_cab_climate_kwh") / hours * 1e3;
    assert!((cab_w - 400.0).abs() < 1e-6, "{cab_w} W");
    // A base that is logged stands.
    let logged = round_with_stops().with("aux_power_w", vec![Some(900.0); 960]).replay(&plain(), &settings());
    assert!(texts(&logged, "aux_basis").iter().all(|basis| basis == "logged"));
    assert!((sum(&logged, "energy_aux_base_kwh") / hours * 1e3 - 900.0).abs() < 1e-6);
}

#[test]
fn a_cab_model_and_warm_tyres_follow_the_outside_air() {
    let truck = Truck {
        climate: Some(Climate {
            heating_below_k: 290.15,
            heating_w_per_k: 100.0,
            cooling_above_k: 296.15,
            cooling_w_per_k: 80.0,
            power_max_w: 5000.0,
        }),
        rolling_temperature: Some(RollingTemperature { per_k: 0.01, reference_k: 298.15 }),
        ..plain()
    };
    let at = |kelvin: Option<f64>, truck: &Truck| {
        Log::new(&[10.0; 361], &[1.0; 361])
            .with("temperature_ambient_k", vec![kelvin; 361])
            .replay(truck, &settings())
    };
    let cold = at(Some(278.15), &truck);
    assert!((sum(&cold, "energy_cab_climate_kwh") - 0.12).abs() < 1e-9, "1 200 W for a tenth of an hour");
    assert!(texts(&cold, "aux_basis").iter().all(|basis| basis == "model"));
    let plain_j = sum(&at(Some(278.15), &plain()), "energy_rolling_kwh");
    assert!((sum(&cold, "energy_rolling_kwh") / plain_j - 1.25).abs() < 1e-9, "1/(1 - 0.01 · 20)");
    // Without a temperature neither applies, and the cab's energy is unknown.
    let unknown = at(None, &truck);
    assert!((sum(&unknown, "energy_rolling_kwh") / plain_j - 1.0).abs() < 1e-9);
    let cab = numbers(&tables::SEGMENTS, &unknown.segments, "energy_cab_climate_kwh");
    assert!(!cab.is_empty() && cab.iter().all(Option::is_none));
}

/// Density from what is known: 30 degC and 60 % at 101 325 Pa is 1.15335 kg/m³ (Magnus), dry 1.16439.
#[test]
fn the_air_is_what_is_known_of_it() {
    let density = |log: Log, weather: Weather| {
        let replay = log.replay(&plain(), &ReplaySettings { weather, ..settings() });
        let densities = numbers(&tables::SEGMENTS, &replay.segments, "air_density_kg_m3");
        (densities[0].unwrap(), texts(&replay, "air_basis")[0].clone())
    };
    let warm = || Log::new(&[10.0; 60], &[1.0; 60]).with("temperature_ambient_k", vec![Some(303.15); 60]);
    let logged =
        warm().with("humidity_frac", vec![Some(0.6); 60]).with("air_pressure_pa", vec![Some(101_325.0); 60]);
    let (moist, basis) = density(logged, Weather::default());
    assert!((moist - 1.153_35).abs() < 2e-4 && basis == "pressure logged, temperature logged, humidity logged");
    let (dry, basis) = density(warm(), Weather::default());
    assert!((dry - 1.164_39).abs() < 2e-4 && basis == "pressure sea level, temperature logged, humidity dry");
    let stated = Weather { pressure_pa: Some(90e3), humidity_frac: Some(0.6), wind: None };
    let (thin, basis) = density(warm(), stated);
    assert!(
        thin < 0.9 * dry && basis == "pressure stated, temperature logged, humidity stated",
        "{thin} {basis}"
    );
}

/// A stated wind takes its heading from the positions: due north at 10 m/s against 5 m/s from the north.
#[test]
fn positions_tell_where_the_wind_meets_the_truck() {
    let degrees = |i: usize| 47.0 + i as f64 * 10.0 / 111_195.08;
    let log = Log::new(&[10.0; 100], &[1.0; 100])
        .with("lat_deg", (0..100).map(|i| Some(degrees(i))).collect())
        .with("lon_deg", vec![Some(8.0); 100]);
    let wind = Some(Wind { speed_m_s: 5.0, from_deg: 0.0 });
    let weather = Weather { wind, ..Weather::default() };
    let replay = log.replay(&plain(), &ReplaySettings { weather, ..settings() });
    let against = numbers(&tables::SEGMENTS, &replay.segments, "headwind_m_s");
    assert!((against[0].unwrap() - 5.0).abs() < 1e-6, "{against:?}");
    assert!(texts(&replay, "wind_basis")[0] == "stated");
}

/// Wheel force made from a mass of 7 800 kg gives this mass back, on hills the log does not know.
#[test]
fn force_gives_the_mass_back() {
    let speeds: Vec<f64> =
        (0..900).map(|i| 9.0 + 4.0 * (f64::from(i) * 0.11).sin() + (f64::from(i) * 0.37).sin()).collect();
    let truck = plain();
    let force = |i: usize| {
        let change = |a: usize, b: usize| (speeds[b.min(899)] - speeds[a]) / (b.min(899) - a) as f64;
        let acceleration = if i == 0 { change(0, 1) } else { change(i - 1, i + 1) };
        let grade = 0.03 * (i as f64 / 120.0).sin();
        7800.0 * (acceleration + 9.806_65 * (grade + truck.rolling_resistance))
            + truck.rotating_mass_kg * acceleration
            + 0.5 * 1.225 * truck.drag_area_m2 * speeds[i].powi(2)
    };
    let log = Log::new(&speeds, &[1.0; 900])
        .with("brake_pressure_pa", vec![Some(0.0); 900])
        .with("wheel_force_n", (0..900).map(|i| Some(force(i))).collect());
    let replay = log.replay(&truck, &ReplaySettings::default());
    let of = |name| numbers(&tables::TRIPS, &replay.trips, name)[0];
    let found = of("mass_estimated_kg").unwrap();
    assert!((found - 7800.0).abs() < 0.02 * 7800.0, "{found}");
    assert!(of("mass_estimated_low_kg").unwrap() <= found && found <= of("mass_estimated_high_kg").unwrap());
    assert!((of("mass_kg").unwrap() - 6600.0).abs() < 1e-6, "the ledger keeps the sheet's");
    // The same drive under the friction brake tells nothing of it.
    let braked = log.with("brake_pedal_frac", vec![Some(0.5); 900]).replay(&truck, &ReplaySettings::default());
    assert_eq!(numbers(&tables::TRIPS, &braked.trips, "mass_estimated_kg"), [None]);
}
