//! The truck on the road: forces at the wheels, and where each joule goes.

use super::account::Account;
use super::auxiliaries::Auxiliaries;
use super::battery::{Battery, BatteryStep};
use super::drivetrain::{BrakeSplit, Drivetrain, RegenLimits};
use crate::fleet::types::VehicleType;

const GRAVITY_M_S2: f64 = 9.80665;
/// Loss of rolling resistance per kelvin of warming; from memory, about 0.6 %.
pub const ROLLING_PER_K: f64 = 0.006;

/// The air the truck drives through.
#[derive(Clone, Copy)]
pub struct Air {
    pub temperature_deg_c: f64,
    pub density_kg_m3: f64,
    /// Wind against the truck.
    pub headwind_m_s: f64,
}

/// A short stretch driven with steady acceleration.
#[derive(Clone, Copy)]
pub struct Stretch {
    pub seconds: f64,
    pub from_m_s: f64,
    pub to_m_s: f64,
    pub distance_m: f64,
    pub climb_m: f64,
    pub air: Air,
    pub auxiliary_w: f64,
    pub level: usize,
    /// Stability control has taken regen away.
    pub is_regen_withheld: bool,
}

/// A truck with its load and its battery.
pub struct Truck {
    pub kind: &'static VehicleType,
    pub drivetrain: Drivetrain,
    pub battery: Battery,
    pub auxiliaries: Auxiliaries,
    pub payload_kg: f64,
}

impl Truck {
    pub fn mass_kg(&self) -> f64 {
        self.kind.mass_kg + self.payload_kg
    }

    pub fn effective_mass_kg(&self) -> f64 {
        self.mass_kg() + self.kind.rotating_mass_kg
    }

    /// Force needed to hold a speed on a slope (rise over road length).
    pub fn road_load_n(&self, speed_m_s: f64, slope: f64, air: Air) -> f64 {
        self.mass_kg() * GRAVITY_M_S2 * slope + self.rolling_n(slope, air) + self.aero_n(speed_m_s, air)
    }

    pub fn regen_limits(&self, level: usize, auxiliary_w: f64) -> RegenLimits {
        RegenLimits { link_power_w: self.battery.acceptance_w() + auxiliary_w, level }
    }

    /// Drives a stretch and books it. Newton's second law along the road, as energy over the stretch.
    pub fn drive(&mut self, stretch: &Stretch, book: &mut Account) -> BatteryStep {
        let speed_m_s = (stretch.from_m_s + stretch.to_m_s) / 2.0;
        let wheel_j = self.book_road(stretch, speed_m_s, book);
        let force_n = wheel_j / stretch.distance_m;
        let split = if force_n < 0.0 {
            self.book_braking(-force_n, speed_m_s, stretch, book)
        } else {
            BrakeSplit::default()
        };
        let motor_n = force_n.max(0.0) - split.regen_n;
        let drive_w = motor_n * speed_m_s + self.drivetrain.loss_w(motor_n, speed_m_s);
        book.drive_electric_j += drive_w * stretch.seconds;
        book.returned_j += (-drive_w).max(0.0) * stretch.seconds;
        book.auxiliary_j += stretch.auxiliary_w * stretch.seconds;
        let power_w = drive_w + stretch.auxiliary_w;
        book.recovered_j += (-power_w).max(0.0) * stretch.seconds;
        self.draw(power_w, stretch.seconds, stretch.air.temperature_deg_c, book)
    }

    /// Stands with a load on the battery.
    pub fn stand(
        &mut self,
        load_w: f64,
        seconds: f64,
        deg_c: f64,
        is_key_on: bool,
        book: &mut Account,
    ) -> BatteryStep {
        let load_j = load_w * seconds;
        if is_key_on {
            book.auxiliary_j += load_j;
        } else {
            book.auxiliary_key_off_j += load_j;
        }
        self.draw(load_w, seconds, deg_c, book)
    }

    fn draw(&mut self, power_w: f64, seconds: f64, deg_c: f64, book: &mut Account) -> BatteryStep {
        let step = self.battery.step(power_w, seconds, deg_c);
        book.discharge_j += power_w.max(0.0) * seconds;
        book.chemical_j += step.chemical_j;
        book.battery_heat_j += step.heat_j;
        step
    }

    /// Work at the wheels over a stretch, by cause. Kinetic and grade work are exact; drag is taken at the mean speed.
    fn book_road(&self, stretch: &Stretch, speed_m_s: f64, book: &mut Account) -> f64 {
        let slope = stretch.climb_m / stretch.distance_m;
        let kinetic_j = self.effective_mass_kg() * (stretch.to_m_s - stretch.from_m_s) * speed_m_s;
        let grade_j = self.mass_kg() * GRAVITY_M_S2 * stretch.climb_m;
        let rolling_j = self.rolling_n(slope, stretch.air) * stretch.distance_m;
        let aero_j = self.aero_n(speed_m_s, stretch.air) * stretch.distance_m;
        let wheel_j = kinetic_j + grade_j + rolling_j + aero_j;
        book.distance_m += stretch.distance_m;
        book.moving_s += stretch.seconds;
        book.payload_distance_kg_m += self.payload_kg * stretch.distance_m;
        book.kinetic_j += kinetic_j;
        book.grade_j += grade_j;
        book.rolling_j += rolling_j;
        book.aero_j += aero_j;
        book.tractive_j += wheel_j.max(0.0);
        book.braking_j += (-wheel_j).max(0.0);
        wheel_j
    }

    fn book_braking(&self, demand_n: f64, speed_m_s: f64, stretch: &Stretch, book: &mut Account) -> BrakeSplit {
        let limits = self.regen_limits(stretch.level, stretch.auxiliary_w);
        let able = self.drivetrain.split(demand_n, speed_m_s, limits);
        let returned_w = able.regen_n * speed_m_s - self.drivetrain.loss_w(-able.regen_n, speed_m_s);
        book.recoverable_j += (returned_w - stretch.auxiliary_w).max(0.0) * stretch.seconds;
        let split =
            if stretch.is_regen_withheld { BrakeSplit { regen_n: 0.0, friction_n: demand_n } } else { able };
        book.regen_wheel_j += split.regen_n * stretch.distance_m;
        book.friction_j += split.friction_n * stretch.distance_m;
        split
    }

    fn rolling_n(&self, slope: f64, air: Air) -> f64 {
        let coefficient = self.kind.rolling_resistance * (1.0 + ROLLING_PER_K * (20.0 - air.temperature_deg_c));
        self.mass_kg() * GRAVITY_M_S2 * coefficient * (1.0 - slope * slope).max(0.0).sqrt()
    }

    /// F = ½·ρ·CdA·w·|w| with w the air speed along the truck (textbook drag).
    fn aero_n(&self, speed_m_s: f64, air: Air) -> f64 {
        let wind_m_s = speed_m_s + air.headwind_m_s;
        0.5 * air.density_kg_m3 * self.kind.drag_area_m2 * wind_m_s * wind_m_s.abs()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fleet::types::LIGHT;

    const CALM: Air = Air { temperature_deg_c: 15.0, density_kg_m3: 1.225, headwind_m_s: 0.0 };

    fn light_truck(soc_frac: f64) -> Truck {
        Truck {
            kind: &LIGHT,
            drivetrain: Drivetrain::new(&LIGHT, false),
            battery: Battery::new(3.0, 1.0, LIGHT.charge_power_max_w, soc_frac, 20.0),
            auxiliaries: Auxiliaries::new(&LIGHT, false),
            payload_kg: 800.0,
        }
    }

    /// Brakes from 30 mph at a steady rate on the flat.
    fn stop_from_30_mph(truck: &mut Truck, slowing_m_s2: f64) -> Account {
        let mut book = Account::default();
        let mut speed_m_s = 13.4112;
        while speed_m_s > 0.0 {
            let next = (speed_m_s - slowing_m_s2 * 0.1_f64).max(0.0);
            let seconds = (speed_m_s - next) / slowing_m_s2;
            let stretch = Stretch {
                seconds,
                from_m_s: speed_m_s,
                to_m_s: next,
                distance_m: (speed_m_s + next) / 2.0 * seconds,
                climb_m: 0.0,
                air: CALM,
                auxiliary_w: 500.0,
                level: 3,
                is_regen_withheld: false,
            };
            truck.drive(&stretch, &mut book);
            speed_m_s = next;
        }
        book
    }

    #[test]
    fn a_stop_from_30_mph_gives_back_less_than_its_kinetic_energy() {
        let mut truck = light_truck(0.5);
        let kinetic_j = 0.5 * truck.effective_mass_kg() * 13.4112_f64.powi(2);
        let book = stop_from_30_mph(&mut truck, 1.0);
        assert!((book.kinetic_j + kinetic_j).abs() < 1e-6 * kinetic_j);
        assert!((0.75..0.95).contains(&(book.braking_j / kinetic_j)), "{}", book.braking_j / kinetic_j);
        let recapture = book.recovered_j / book.braking_j;
        assert!((0.6..0.88).contains(&recapture), "{recapture}");
        assert!(book.recovered_j < book.returned_j && book.returned_j < book.regen_wheel_j);
        assert!((book.regen_wheel_j + book.friction_j - book.braking_j).abs() < 1e-6 * book.braking_j);
    }

    #[test]
    fn a_full_battery_recovers_nothing_from_the_same_stop() {
        let book = stop_from_30_mph(&mut light_truck(1.0), 1.0);
        assert!(book.recovered_j < 2000.0 && book.friction_j > 0.8 * book.braking_j);
    }

    #[test]
    fn a_harder_stop_uses_more_friction() {
        let gentle = stop_from_30_mph(&mut light_truck(0.5), 0.9);
        let hard = stop_from_30_mph(&mut light_truck(0.5), 2.2);
        assert!(hard.friction_j > 3.0 * gentle.friction_j && hard.recovered_j < gentle.recovered_j);
    }
}
