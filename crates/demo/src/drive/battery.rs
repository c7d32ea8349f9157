//! The battery: open-circuit voltage, internal resistance, coulomb counting, warmth and charge acceptance.

/// Nominal energy of a pack as sold.
pub const PACK_ENERGY_KWH: f64 = 20.0;
/// Share of a pack's energy between the 0 % and the 100 % that the dash shows.
pub const WINDOW_FRAC: f64 = 0.9;
/// Charge held back below the dash's 0 %.
const FLOOR_FRAC: f64 = 0.05;
/// Acceptance falls linearly from here to nothing at a full display.
const TAPER_START_FRAC: f64 = 0.91;
const ACCEPTANCE_FULL_DEG_C: f64 = 11.0;
const ACCEPTANCE_NONE_DEG_C: f64 = -18.0;
/// One pack at 25 degC; packs are in parallel.
const PACK_RESISTANCE_OHM: f64 = 0.115;
/// Growth of resistance per kelvin below 25 degC; from memory, typical of lithium-ion cells.
const RESISTANCE_PER_K: f64 = 0.028;
const PACK_HEAT_CAPACITY_J_K: f64 = 135_000.0;
const COOLING_TIME_S: f64 = 6.0 * 3600.0;

/// What a step did to the battery.
#[derive(Clone, Copy, Default)]
pub struct BatteryStep {
    pub voltage_v: f64,
    pub current_a: f64,
    pub chemical_j: f64,
    pub heat_j: f64,
}

/// State of a battery of several packs in parallel.
pub struct Battery {
    packs: f64,
    charge_power_max_w: f64,
    capacity_a_s: f64,
    /// State of charge as an ideal dash would show it: 0 to 1 over the usable window.
    pub soc_frac: f64,
    pub temperature_deg_c: f64,
}

impl Battery {
    pub fn new(packs: f64, health_frac: f64, charge_power_max_w: f64, soc_frac: f64, deg_c: f64) -> Battery {
        let energy_j = packs * PACK_ENERGY_KWH * 3.6e6 * health_frac;
        // The mean of the open-circuit voltage over all charge turns energy into charge.
        let capacity_a_s = energy_j / mean_open_circuit_v();
        Battery { packs, charge_power_max_w, capacity_a_s, soc_frac, temperature_deg_c: deg_c }
    }

    /// Usable energy between a full and an empty display at open circuit.
    #[cfg(test)]
    fn usable_j(&self) -> f64 {
        let charge_a_s = self.capacity_a_s * WINDOW_FRAC;
        (0..1000).map(|i| open_circuit_v((f64::from(i) + 0.5) / 1000.0) * charge_a_s / 1000.0).sum()
    }

    /// Power that the battery takes in at its terminals now. A straight taper near full, a straight ramp in the cold.
    pub fn acceptance_w(&self) -> f64 {
        let taper = ((1.0 - self.soc_frac) / (1.0 - TAPER_START_FRAC)).clamp(0.0, 1.0);
        let warmth = ((self.temperature_deg_c - ACCEPTANCE_NONE_DEG_C)
            / (ACCEPTANCE_FULL_DEG_C - ACCEPTANCE_NONE_DEG_C))
            .clamp(0.0, 1.0);
        self.charge_power_max_w * taper * warmth
    }

    /// Holds a terminal power for a while; positive leaves the battery.
    ///
    /// P = U·I with U = V_oc − R·I (Ohm), so I is the smaller root of R·I² − V_oc·I + P = 0.
    pub fn step(&mut self, power_w: f64, seconds: f64, ambient_deg_c: f64) -> BatteryStep {
        let open_v = open_circuit_v(self.soc_frac);
        let resistance_ohm = self.resistance_ohm();
        let root = (open_v * open_v - 4.0 * resistance_ohm * power_w).max(0.0).sqrt();
        let current_a = (open_v - root) / (2.0 * resistance_ohm);
        let heat_w = resistance_ohm * current_a * current_a;
        self.soc_frac -= current_a * seconds / (self.capacity_a_s * WINDOW_FRAC);
        let cooling_k_s = (ambient_deg_c - self.temperature_deg_c) / COOLING_TIME_S;
        let heating_k_s = heat_w / (self.packs * PACK_HEAT_CAPACITY_J_K);
        self.temperature_deg_c += (cooling_k_s + heating_k_s) * seconds;
        BatteryStep {
            voltage_v: open_v - resistance_ohm * current_a,
            current_a,
            chemical_j: open_v * current_a * seconds,
            heat_j: heat_w * seconds,
        }
    }

    fn resistance_ohm(&self) -> f64 {
        PACK_RESISTANCE_OHM / self.packs * (RESISTANCE_PER_K * (25.0 - self.temperature_deg_c)).exp()
    }
}

/// Open-circuit voltage by displayed state of charge: a gentle slope with a knee at the empty end.
/// Made up; the span of about a tenth is typical of lithium-ion packs.
fn open_circuit_v(soc_frac: f64) -> f64 {
    let charge = FLOOR_FRAC + WINDOW_FRAC * soc_frac;
    324.0 + 33.0 * charge + 8.0 * charge * charge - 24.0 * (-charge / 0.06).exp()
}

/// Closed-form mean of the open-circuit voltage from an empty to a full pack.
fn mean_open_circuit_v() -> f64 {
    324.0 + 33.0 / 2.0 + 8.0 / 3.0 - 24.0 * 0.06 * (1.0 - (-1.0_f64 / 0.06).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn battery(soc_frac: f64, deg_c: f64) -> Battery {
        Battery::new(3.0, 1.0, 60_000.0, soc_frac, deg_c)
    }

    #[test]
    fn terminal_power_plus_heat_is_what_the_chemistry_gave() {
        let mut cell = battery(0.6, 15.0);
        for power_w in [40_000.0, -25_000.0, 800.0, -60_000.0] {
            let step = cell.step(power_w, 0.1, 10.0);
            assert!((step.voltage_v * step.current_a - power_w).abs() < 1e-6);
            assert!((step.chemical_j - step.heat_j - power_w * 0.1).abs() < 1e-6);
        }
    }

    #[test]
    fn chemistry_matches_the_integral_of_open_circuit_voltage_over_charge() {
        let mut cell = battery(0.9, 15.0);
        let before = cell.soc_frac;
        let chemical_j: f64 = (0..36_000).map(|_| cell.step(18_000.0, 0.1, 15.0).chemical_j).sum();
        let (steps, charge_a_s) = (20_000, (before - cell.soc_frac) * cell.capacity_a_s * WINDOW_FRAC);
        let by_charge_j: f64 = (0..steps)
            .map(|i| cell.soc_frac + (before - cell.soc_frac) * (f64::from(i) + 0.5) / f64::from(steps))
            .map(|soc_frac| open_circuit_v(soc_frac) * charge_a_s / f64::from(steps))
            .sum();
        assert!((chemical_j / by_charge_j - 1.0).abs() < 1e-5);
    }

    #[test]
    fn three_packs_hold_54_kwh_between_full_and_empty() {
        assert!((battery(1.0, 20.0).usable_j() / 3.6e6 - 54.0).abs() < 0.6);
    }

    #[test]
    fn a_full_or_frozen_battery_takes_nothing() {
        assert!(battery(1.0, 20.0).acceptance_w() < 1.0);
        assert!(battery(0.5, -18.0).acceptance_w() < 1.0);
        assert!((battery(0.5, 20.0).acceptance_w() - 60_000.0).abs() < 1.0);
    }
}
