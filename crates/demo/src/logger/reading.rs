//! From the truth to what the sensors said: noise, drift, offset and steps.

use std::f64::consts::TAU;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::drive::day::{DayRun, stream};
use crate::drive::sample::Sample;
use crate::fleet::drivers::DRIVERS;
use crate::fleet::trucks::{Rounding, Truck};
use crate::place::terrain::lat_lon_deg;

const SPEED_NOISE_M_S: f64 = 0.018;
/// Satellite fixes wander by this much over half a minute, and jitter besides.
const GPS_WANDER_M: f64 = 2.6;
const GPS_WANDER_S: f64 = 30.0;
const GPS_JITTER_M: f64 = 0.6;
/// Height drifts over minutes, with the weather and the receiver: three slow waves of random phase, because a
/// barometer is smooth from second to second.
const HEIGHT_WAVE_PERIODS_S: [f64; 3] = [520.0, 1290.0, 3470.0];
/// A receiver's height wanders besides, and forgets itself over a minute.
const HEIGHT_WANDER_S: f64 = 60.0;
const HEIGHT_JITTER_M: f64 = 0.07;
const VOLTAGE_NOISE_V: f64 = 0.15;
const CURRENT_NOISE_A: f64 = 0.4;

/// One row before it is text.
#[derive(Clone, Copy)]
pub struct Reading {
    /// As the logger's clock shows it, UTC.
    pub time_s: i64,
    pub speed_m_s: f64,
    pub lat_lon_deg: Option<(f64, f64)>,
    pub height_m: f64,
    pub soc_pct: Option<f64>,
    pub voltage_v: f64,
    pub current_a: f64,
    pub ambient_deg_c: f64,
    pub odometer_m: f64,
    pub payload_kg: f64,
    pub level: usize,
    pub driver: &'static str,
    pub route: &'static str,
    pub is_plugged: bool,
    /// First row after the key was turned.
    pub is_key_on: bool,
}

/// Reads a day at the truck's own rate, counted from each key-on.
pub fn read_day(seed: u64, spec: &Truck, run: &DayRun, route: &'static str, odometer_m: f64) -> Vec<Reading> {
    let shift = run.truth.shift;
    let mut sensors = Sensors::new(stream(seed, shift, 1), spec);
    let mut readings = Vec::with_capacity(run.samples.len() / spec.period_s as usize + 16);
    let mut key_on_s = 0;
    for sample in &run.samples {
        if sample.is_key_on {
            key_on_s = sample.time_s;
        }
        if (sample.time_s - key_on_s) % i64::from(spec.period_s) == 0 {
            let mut reading = sensors.read(sample, DRIVERS[shift.driver].name, route);
            reading.odometer_m += odometer_m;
            readings.push(reading);
        }
    }
    readings
}

/// The sensors of one truck, with what they remember.
struct Sensors<'a> {
    rng: ChaCha8Rng,
    spec: &'a Truck,
    east_m: f64,
    north_m: f64,
    wave_phases_rad: [f64; 3],
    /// Stays at nothing, without a draw, where the receiver does not wander.
    height_m: f64,
}

impl<'a> Sensors<'a> {
    fn new(rng: ChaCha8Rng, spec: &'a Truck) -> Sensors<'a> {
        let mut sensors =
            Sensors { rng, spec, east_m: 0.0, north_m: 0.0, wave_phases_rad: [0.0; 3], height_m: 0.0 };
        sensors.east_m = GPS_WANDER_M * sensors.noise();
        sensors.north_m = GPS_WANDER_M * sensors.noise();
        sensors.wave_phases_rad = std::array::from_fn(|_| sensors.rng.random_range(0.0..TAU));
        if spec.height_wander_m > 0.0 {
            sensors.height_m = spec.height_wander_m * sensors.noise();
        }
        sensors
    }

    fn noise(&mut self) -> f64 {
        StandardNormal.sample(&mut self.rng)
    }

    /// A wandering error that forgets itself over `memory_s` (first-order Gauss-Markov, exact at any step).
    fn wander(&mut self, value: f64, spread: f64, memory_s: f64) -> f64 {
        let keep = (-f64::from(self.spec.period_s) / memory_s).exp();
        keep * value + (1.0 - keep * keep).sqrt() * spread * self.noise()
    }

    fn read(&mut self, sample: &Sample, driver: &'static str, route: &'static str) -> Reading {
        self.east_m = self.wander(self.east_m, GPS_WANDER_M, GPS_WANDER_S);
        self.north_m = self.wander(self.north_m, GPS_WANDER_M, GPS_WANDER_S);
        if self.spec.height_wander_m > 0.0 {
            self.height_m = self.wander(self.height_m, self.spec.height_wander_m, HEIGHT_WANDER_S);
        }
        let east_m = sample.x_m + self.east_m + GPS_JITTER_M * self.noise();
        let north_m = sample.y_m + self.north_m + GPS_JITTER_M * self.noise();
        Reading {
            time_s: sample.time_s,
            speed_m_s: self.speed_m_s(sample),
            lat_lon_deg: (!sample.is_under_ground).then(|| lat_lon_deg(east_m, north_m)),
            height_m: sample.height_m + self.height_drift_m(sample.time_s) + HEIGHT_JITTER_M * self.noise(),
            soc_pct: Some(self.soc_pct(sample.soc_frac)),
            voltage_v: sample.voltage_v + VOLTAGE_NOISE_V * self.noise(),
            current_a: sample.current_a + self.spec.current_offset_a + CURRENT_NOISE_A * self.noise(),
            ambient_deg_c: sample.ambient_deg_c + 0.2 * self.noise(),
            odometer_m: sample.distance_m * self.spec.wheel_scale,
            payload_kg: sample.payload_kg,
            level: sample.level,
            driver,
            route,
            is_plugged: sample.is_plugged,
            is_key_on: sample.is_key_on,
        }
    }

    fn height_drift_m(&self, time_s: i64) -> f64 {
        let seconds = time_s.rem_euclid(86_400) as f64;
        let waves = HEIGHT_WAVE_PERIODS_S.iter().zip(self.wave_phases_rad);
        let sum: f64 = waves
            .map(|(period_s, phase_rad)| self.spec.height_wave_m * (TAU * seconds / period_s + phase_rad).sin())
            .sum();
        sum + self.height_m
    }

    /// Wheel speed: the tyre's scale and a little noise, silent at standstill.
    fn speed_m_s(&mut self, sample: &Sample) -> f64 {
        let noise_m_s = SPEED_NOISE_M_S * self.noise();
        if sample.speed_m_s < 0.05 {
            0.0
        } else {
            (sample.speed_m_s * self.spec.wheel_scale + noise_m_s).max(0.0)
        }
    }

    fn soc_pct(&self, soc_frac: f64) -> f64 {
        let steps = 100.0 * soc_frac / self.spec.soc_step_pct;
        let whole = match self.spec.soc_rounding {
            Rounding::Nearest => steps.round(),
            // The hair keeps a full battery from showing a step less by rounding of binary fractions.
            Rounding::Down => (steps + 1e-9).floor(),
        };
        (whole * self.spec.soc_step_pct).clamp(0.0, 100.0)
    }
}
