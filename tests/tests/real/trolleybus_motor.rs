//! Trolleybus: what the motors did at the wheels, and the vehicle as light and as heavy as it may have been.
//!
//! Motor work is the integral of `traction_tractionForce` times speed, power on a straight line between samples.

use backwatt_testkit::{fixture, shared};

use crate::set::{Set, linear_inflow_kwh};

pub const DATA: &str = "ztbus-zurich";
pub const VEHICLE: &str = "B183";

/// Friction lines below this are released. [Pa] The same 0.1 bar as in the ledger.
const RELEASED_PA: f64 = 1e4;
/// The halt brake closes in the last metre per second and stays at 2.4 to 2.6 bar while the bus stands (data README).
/// Below it pressure is not looked at: 20.5 t at 1 m/s hold 0.003 kWh. [m/s]
const HALT_M_S: f64 = 1.0;

/// The vehicle as light and as heavy as it may have been: 19 t is "about" that (data README), so half a tonne either
/// way; passengers weigh 60 to 80 kg.
pub const LIGHT: [(&str, &str); 3] = [
    ("mass = \"19000 kg\"", "mass = \"18500 kg\""),
    ("scale = 70", "scale = 60"),
    ("\"1400 kg\"", "\"1200 kg\""),
];
pub const HEAVY: [(&str, &str); 3] = [
    ("mass = \"19000 kg\"", "mass = \"19500 kg\""),
    ("scale = 70", "scale = 80"),
    ("\"1400 kg\"", "\"1600 kg\""),
];
/// The pilot file with words replaced; each has to be there.
pub fn run(changes: &[(&str, &str)]) -> Option<Set> {
    let logs = shared(&format!("data/{DATA}"))?;
    let file = fixture("real/trolleybus/pilot.toml");
    let mut text = std::fs::read_to_string(file).expect("the fixture has a pilot file");
    for (from, to) in changes {
        assert!(text.contains(from), "{from:?} is in the pilot file");
        text = text.replacen(from, to, 1);
    }
    Some(Set::run_text(&text, &logs))
}

/// What the motors did at the wheels, sample by sample.
pub struct Motor {
    pub times_ns: Vec<i64>,
    pub speed: Vec<Option<f64>>,
    pub watts: Vec<Option<f64>>,
    pub force: Vec<Option<f64>>,
    pressure: Vec<Option<f64>>,
}

impl Motor {
    pub fn of(set: &Set) -> Self {
        let samples = &set.samples[VEHICLE];
        let speed = samples.numbers("speed_m_s");
        let force = samples.numbers("wheel_force_n");
        let watts = force.iter().zip(&speed).map(|(force, speed)| Some((*force)? * (*speed)?)).collect();
        let pressure = samples.numbers("brake_pressure_pa");
        Self { times_ns: samples.times("time_ns"), speed, watts, force, pressure }
    }

    pub fn rows(&self, from_ns: i64, to_ns: i64) -> std::ops::RangeInclusive<usize> {
        let row = |time: i64| self.times_ns.partition_point(|at| *at < time);
        row(from_ns)..=row(to_ns)
    }

    /// Work between two samples by sign: what flows in against `sign` times the power. [kWh]
    pub fn work(&self, from_ns: i64, to_ns: i64, sign: f64) -> f64 {
        let rows = self.rows(from_ns, to_ns);
        (rows.start() + 1..=*rows.end())
            .filter_map(|row| {
                let (before, now) = (sign * self.watts[row - 1]?, sign * self.watts[row]?);
                Some(linear_inflow_kwh(before, now, self.times_ns[row] - self.times_ns[row - 1]))
            })
            .sum()
    }

    pub fn braking_kwh(&self, from_ns: i64, to_ns: i64) -> f64 {
        self.work(from_ns, to_ns, 1.0)
    }

    pub fn is_released(&self, from_ns: i64, to_ns: i64) -> bool {
        self.rows(from_ns, to_ns).all(|row| {
            let slow = self.speed[row].is_some_and(|speed| speed <= HALT_M_S);
            slow || self.pressure[row].is_some_and(|pressure| pressure < RELEASED_PA)
        })
    }
}
