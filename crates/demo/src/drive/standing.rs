//! A truck at rest: standing with the key on or off, charging, and what its logger sees.

use rand::RngExt;

use super::battery::BatteryStep;
use super::run::{Run, TICK_S, TICKS_PER_S};
use super::sample::Sample;

/// Alternating-current power of the depot's plugs.
pub const PLUG_W: f64 = 19_200.0;
const CHARGER_EFFICIENCY: f64 = 0.92;
/// Charger's fans and contactors, fed before the battery.
const CHARGER_OWN_W: f64 = 140.0;
const LOGGED_CHARGE_S: u64 = 1200;
const UNLOGGED_CHARGE_STEP_S: f64 = 30.0;

impl Run<'_> {
    pub fn stand_logged(&mut self, shortest_s: f64, longest_s: f64) {
        let seconds = self.rng.random_range(shortest_s..longest_s);
        self.stand_key_on(seconds);
    }

    /// Stands with the key on, in steps that end on whole seconds.
    pub fn stand_key_on(&mut self, seconds: f64) {
        let until = self.tick + (seconds.max(0.0) * TICKS_PER_S as f64) as u64;
        while self.tick < until {
            let ticks = TICKS_PER_S - self.tick % TICKS_PER_S;
            self.renew_surroundings();
            let (load_w, deg_c) = (self.auxiliary_w, self.air.temperature_deg_c);
            let step = self.truck.stand(load_w, ticks as f64 * TICK_S, deg_c, true, &mut self.standing);
            self.tick += ticks;
            self.log(step);
        }
    }

    /// Stands with the key off: nobody logs, the battery feeds what is left.
    pub fn stand_key_off(&mut self, shortest_s: f64, longest_s: f64) {
        let seconds = self.rng.random_range(shortest_s..longest_s) as u64;
        for _ in 0..seconds {
            let deg_c = self.ambient_deg_c();
            let load_w = self.truck.auxiliaries.key_off_w(deg_c, self.since_start_s());
            self.truck.stand(load_w, 1.0, deg_c, false, &mut self.standing);
            self.tick += TICKS_PER_S;
        }
        self.is_key_turned = true;
    }

    /// Charges overnight at the depot's plug; some loggers stay awake for the first twenty minutes.
    pub fn charge(&mut self, target_frac: f64) {
        self.is_plugged = true;
        if self.is_logging_charge {
            for _ in 0..LOGGED_CHARGE_S {
                let (step, taken_j) = self.charge_step(1.0);
                self.standing.plug_logged_j += taken_j;
                self.tick += TICKS_PER_S;
                self.log(step);
            }
        }
        while self.truck.battery.soc_frac < target_frac - 5e-4 {
            self.charge_step(UNLOGGED_CHARGE_STEP_S);
            self.tick += TICKS_PER_S * UNLOGGED_CHARGE_STEP_S as u64;
        }
    }

    /// One step on the plug; near full the battery takes less, but never less than a trickle.
    fn charge_step(&mut self, seconds: f64) -> (BatteryStep, f64) {
        let direct_w = PLUG_W * CHARGER_EFFICIENCY - CHARGER_OWN_W;
        let taken_w = direct_w.min(self.truck.battery.acceptance_w()).max(900.0);
        let ambient_deg_c = self.ambient_deg_c();
        let step = self.truck.battery.step(-taken_w, seconds, ambient_deg_c);
        let taken_j = taken_w * seconds;
        self.standing.plug_j += taken_j;
        self.standing.wall_j += (taken_w + CHARGER_OWN_W) / CHARGER_EFFICIENCY * seconds;
        self.standing.chemical_j += step.chemical_j;
        self.standing.battery_heat_j += step.heat_j;
        (step, taken_j)
    }

    pub fn log(&mut self, step: BatteryStep) {
        let here = self.route.road.at(self.along_m);
        let tunnel = self.route.tunnel_m;
        self.samples.push(Sample {
            time_s: self.now_utc_s(),
            x_m: here.x_m,
            y_m: here.y_m,
            height_m: here.height_m,
            speed_m_s: self.speed_m_s,
            distance_m: self.distance_m,
            soc_frac: self.truck.battery.soc_frac,
            voltage_v: step.voltage_v,
            current_a: step.current_a,
            ambient_deg_c: self.ambient_deg_c(),
            payload_kg: self.truck.payload_kg,
            level: self.level,
            is_plugged: self.is_plugged,
            is_key_on: std::mem::take(&mut self.is_key_turned),
            is_under_ground: tunnel.is_some_and(|(from_m, to_m)| (from_m..to_m).contains(&self.along_m)),
        });
    }
}
