//! One truck's day: key on, rounds with their stops, the plug in the evening.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::account::Account;
use super::run::Run;
use super::sample::Sample;
use crate::fleet::roster::Shift;
use crate::fleet::trucks::Truck;
use crate::place::routes::Route;

/// A driven day.
pub struct DayRun {
    pub samples: Vec<Sample>,
    pub truth: DayTruth,
}

/// The truth about a truck's day.
pub struct DayTruth {
    pub shift: Shift,
    pub day: Account,
    pub levels: [Account; 4],
    pub soc_start_frac: f64,
    pub soc_end_frac: f64,
    pub temperature_mean_deg_c: f64,
    /// On the plug from when until when, UTC.
    pub charge_s: (i64, i64),
}

/// State of charge at which a truck leaves the depot on a day: full, or less where the charger was set so.
pub fn soc_at_start_frac(seed: u64, shift: Shift) -> f64 {
    let mut rng = stream(seed, shift, 2);
    if rng.random_bool(0.5) { 1.0 } else { rng.random_range(0.86..0.97) }
}

/// A random stream of its own for each truck, day and purpose, so that days can be made in any order.
pub fn stream(seed: u64, shift: Shift, purpose: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(1_000_000 + (shift.truck as u64) * 10_000 + (shift.day as u64) * 10 + purpose);
    rng
}

/// Drives a day. `soc_next_frac` is what the night's charging aims for.
pub fn drive(seed: u64, spec: &Truck, shift: Shift, route: &Route, soc_next_frac: f64) -> DayRun {
    let mut run = Run::new(seed, spec, shift, route);
    let soc_start_frac = run.truck.battery.soc_frac;
    run.stand_logged(60.0, 180.0);
    for round in 0..route.rounds {
        if round > 0 {
            run.stand_key_off(380.0, 820.0);
            run.stand_logged(20.0, 60.0);
        }
        run.drive_round();
    }
    run.stand_logged(40.0, 120.0);
    let soc_end_frac = run.truck.battery.soc_frac;
    let charge_start_s = run.now_utc_s();
    run.charge(soc_next_frac);
    let charge_s = (charge_start_s, run.now_utc_s());
    let mut day = run.standing;
    run.levels.iter().for_each(|level| day += *level);
    let temperature_mean_deg_c = run.weather.mean_temperature_deg_c;
    DayRun {
        samples: run.samples,
        truth: DayTruth {
            shift,
            day,
            levels: run.levels,
            soc_start_frac,
            soc_end_frac,
            temperature_mean_deg_c,
            charge_s,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fleet::trucks::TRUCKS;
    use crate::place::routes;

    fn old_town_day() -> DayRun {
        let shift = Shift { day: 32, truck: 1, driver: 0, route: 1 };
        drive(5, &TRUCKS[1], shift, &routes::all()[shift.route], 1.0)
    }

    #[test]
    fn wheel_energy_is_road_load_plus_kinetic_and_grade() {
        let day = old_town_day().truth.day;
        let by_cause_j = day.kinetic_j + day.grade_j + day.rolling_j + day.aero_j;
        assert!((day.tractive_j - day.braking_j - by_cause_j).abs() < 1e-6 * day.tractive_j);
        // Every round ends at the gate it began at, standing, so neither speed nor height leaves much behind
        // but the load that was carried up and left there.
        assert!(day.kinetic_j.abs() < 1e-6 * day.tractive_j);
        assert!((day.friction_j + day.regen_wheel_j - day.braking_j).abs() < 1e-9 * day.braking_j);
    }

    #[test]
    fn the_battery_side_balances() {
        let day = old_town_day().truth.day;
        let used_j = day.drive_electric_j + day.auxiliary_j + day.auxiliary_key_off_j;
        assert!((day.discharge_j - day.recovered_j - used_j).abs() < 1e-6 * used_j);
        let terminal_j = day.discharge_j - day.recovered_j - day.plug_j;
        assert!((day.chemical_j - day.battery_heat_j - terminal_j).abs() < 1e-6 * day.discharge_j);
    }

    #[test]
    fn no_more_comes_back_than_was_braked() {
        let day = old_town_day().truth.day;
        assert!(day.recovered_j > 0.0 && day.recovered_j <= day.recoverable_j * (1.0 + 1e-9));
        assert!(day.recoverable_j < day.braking_j && day.returned_j < day.regen_wheel_j);
        assert!(day.recovered_j < day.returned_j && day.plug_j < day.wall_j);
    }

    #[test]
    fn no_route_empties_a_light_truck_on_the_coldest_day() {
        for route in 0..6 {
            let shift = Shift { day: 30, truck: 1, driver: 3, route };
            let run = drive(1, &TRUCKS[1], shift, &routes::all()[route], 1.0);
            assert!(run.truth.soc_end_frac > 0.05, "route {route}: {}", run.truth.soc_end_frac);
        }
    }
}
