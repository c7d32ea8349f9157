//! Everything that changes while a truck's day is driven.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::account::Account;
use super::auxiliaries::Auxiliaries;
use super::battery::Battery;
use super::day::{soc_at_start_frac, stream};
use super::drivetrain::Drivetrain;
use super::habits::Foot;
use super::sample::Sample;
use super::truck::{Air, Truck};
use crate::fleet::drivers::{DRIVERS, Driver};
use crate::fleet::roster::Shift;
use crate::fleet::trucks;
use crate::place::LOCAL_BEHIND_UTC_S;
use crate::place::routes::Route;
use crate::place::weather::{Weather, air_density_kg_m3};

/// Inner steps in a second.
pub const TICKS_PER_S: u64 = 10;
pub const TICK_S: f64 = 1.0 / TICKS_PER_S as f64;
/// 2026-02-02T00:00:00Z, the first day of the pilot.
const FIRST_MIDNIGHT_UTC_S: i64 = 1_769_990_400;
/// The state of a day under way.
pub struct Run<'a> {
    pub route: &'a Route,
    pub driver: &'static Driver,
    pub truck: Truck,
    pub weather: Weather,
    pub foot: Foot,
    pub rng: ChaCha8Rng,
    pub is_logging_charge: bool,
    pub midnight_utc_s: i64,
    pub start_tick: u64,
    pub tick: u64,
    pub along_m: f64,
    pub speed_m_s: f64,
    pub distance_m: f64,
    pub level: usize,
    pub load_kg: f64,
    pub mood: f64,
    /// Air and auxiliary load, renewed every second.
    pub air: Air,
    pub auxiliary_w: f64,
    pub slowed_until_s: f64,
    pub slowed_share: f64,
    pub withheld_until_s: f64,
    pub is_key_turned: bool,
    pub is_plugged: bool,
    pub standing: Account,
    pub levels: [Account; 4],
    pub samples: Vec<Sample>,
}

impl<'a> Run<'a> {
    pub fn new(seed: u64, spec: &trucks::Truck, shift: Shift, route: &'a Route) -> Run<'a> {
        let mut rng = stream(seed, shift, 0);
        let weather = Weather::of_day(seed, shift.day);
        let driver = &DRIVERS[shift.driver];
        let start_tick = rng.random_range(23_400..28_800) * TICKS_PER_S;
        let payload_kg = spec.kind.payload_start_kg;
        let load_kg = rng.random_range(payload_kg.0..payload_kg.1);
        Run {
            route,
            driver,
            truck: ready_truck(spec, shift, soc_at_start_frac(seed, shift), weather, load_kg),
            weather,
            foot: Foot::new(driver),
            rng,
            is_logging_charge: spec.logs_charging,
            midnight_utc_s: FIRST_MIDNIGHT_UTC_S + shift.day as i64 * 86_400 + LOCAL_BEHIND_UTC_S,
            start_tick,
            tick: start_tick,
            along_m: 0.0,
            speed_m_s: 0.0,
            distance_m: 0.0,
            level: driver.usual_level,
            load_kg,
            mood: 1.0,
            air: Air { temperature_deg_c: 0.0, density_kg_m3: 0.0, headwind_m_s: 0.0 },
            auxiliary_w: 0.0,
            slowed_until_s: 0.0,
            slowed_share: 1.0,
            withheld_until_s: 0.0,
            is_key_turned: true,
            is_plugged: false,
            standing: Account::default(),
            levels: [Account::default(); 4],
            samples: Vec::with_capacity(16_000),
        }
    }

    /// Seconds since local midnight.
    pub fn now_s(&self) -> f64 {
        self.tick as f64 * TICK_S
    }

    pub fn now_utc_s(&self) -> i64 {
        self.midnight_utc_s + (self.tick / TICKS_PER_S) as i64
    }

    pub fn since_start_s(&self) -> f64 {
        (self.tick - self.start_tick) as f64 * TICK_S
    }

    pub fn ambient_deg_c(&self) -> f64 {
        self.weather.temperature_deg_c(self.now_s() / 3600.0)
    }

    /// Renews the air and the auxiliary load.
    pub fn renew_surroundings(&mut self) {
        let temperature_deg_c = self.ambient_deg_c();
        let (here, there) = (self.route.road.at(self.along_m), self.route.road.at(self.along_m + 5.0));
        let (dx, dy) = (there.x_m - here.x_m, there.y_m - here.y_m);
        let length_m = dx.hypot(dy).max(1e-6);
        let tailwind_m_s = (dx * self.weather.wind_east_m_s + dy * self.weather.wind_north_m_s) / length_m;
        self.air = Air {
            temperature_deg_c,
            density_kg_m3: air_density_kg_m3(temperature_deg_c, here.height_m),
            headwind_m_s: -tailwind_m_s,
        };
        self.auxiliary_w = self.truck.auxiliaries.key_on_w(temperature_deg_c, self.since_start_s());
    }
}

/// A truck at the gate in the morning; the night's charging leaves its packs warmer than the air.
fn ready_truck(spec: &trucks::Truck, shift: Shift, soc_frac: f64, weather: Weather, payload_kg: f64) -> Truck {
    let kind = spec.kind;
    let battery_deg_c = weather.mean_temperature_deg_c + 7.0;
    Truck {
        kind,
        drivetrain: Drivetrain::new(kind, shift.is_updated(spec)),
        battery: Battery::new(
            kind.packs,
            spec.state_of_health_frac,
            kind.charge_power_max_w,
            soc_frac,
            battery_deg_c,
        ),
        auxiliaries: Auxiliaries::new(kind, spec.has_refrigeration),
        payload_kg,
    }
}
