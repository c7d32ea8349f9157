//! What physics has to be told of a vehicle.

use crate::kernels::climate::Climate;
use crate::kernels::losses::Losses;

/// One vehicle type: as believed, and with every uncertain value at the end that is unfavourable or favourable to
/// recovery. The ends bound a figure; they are no probability interval.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    pub nominal: Truck,
    pub low: Truck,
    pub high: Truck,
    /// Each value that is not certain, or group of values that err together.
    pub open: Vec<Open>,
    pub power_boundary: PowerBoundary,
}

/// A value that is not certain, and the truck with that one alone at its unfavourable and at its favourable end.
#[derive(Debug, Clone, PartialEq)]
pub struct Open {
    pub name: &'static str,
    pub ends: [Truck; 2],
}

impl Sheet {
    /// Every truck it is made of, to change them alike.
    pub fn trucks_mut(&mut self) -> impl Iterator<Item = &mut Truck> {
        let open = self.open.iter_mut().flat_map(|open| &mut open.ends);
        [&mut self.nominal, &mut self.low, &mut self.high].into_iter().chain(open)
    }
}

/// What a logged battery power means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PowerBoundary {
    /// The battery terminals.
    Pack,
    /// The whole vehicle, overhead line or several stores included: what flows back has an unknown store.
    Vehicle,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Truck {
    pub mass_empty_kg: f64,
    /// Carried where no log says otherwise.
    pub payload_kg: f64,
    pub rotating_mass_kg: f64,
    pub drag_area_m2: f64,
    pub rolling_resistance: f64,
    /// Wheel to dc link and back.
    pub losses: Losses,
    /// How rolling resistance follows the outside air; `None`: it does not.
    pub rolling_temperature: Option<RollingTemperature>,
    /// Deceleration the driven axle is trusted with in a recoverable claim. [m/s²]
    pub axle_limit_m_s2: f64,
    /// Most the motor takes while braking, as it acts at the wheels.
    pub motor_force_max_n: f64,
    pub motor_power_max_w: f64,
    pub acceptance: Acceptance,
    /// Where no battery temperature is logged it lies this share of the way from the outside air to 20 °C.
    pub battery_warmth: f64,
    pub aux_power_w: f64,
    /// Climate of the cab where no log says it; `None`: not modelled.
    pub climate: Option<Climate>,
    pub blending: Blending,
    /// Never empty.
    pub levels: Vec<Level>,
    /// Taken where the log names no level; `None`: unknown, the middle one stands in and bounds are printed.
    pub default_level: Option<usize>,
}

/// `rolling_resistance` holds at the reference; see [`crate::kernels::rolling`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RollingTemperature {
    pub per_k: f64,
    pub reference_k: f64,
}

/// Power the battery accepts: full in the middle, tapering to nothing at full charge and in the cold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Acceptance {
    pub power_max_w: f64,
    /// Falls linearly from here to nothing at 1.
    pub taper_start_soc: f64,
    pub cold_full_k: f64,
    pub cold_none_k: f64,
}

/// How the brake pedal shares its work with the motor. A property of the vehicle, not of the driver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Blending {
    /// The pedal moves friction brakes only; regen is what lifting off gives.
    FrictionOnly,
    /// The motor takes this share of what the pedal asks beyond lift-off.
    Parallel { pedal_share: f64 },
    /// The motor takes all it can, friction the rest.
    Series,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    pub name: String,
    pub lift_off: LiftOff,
    /// No regen below, full effect above. [m/s]
    pub fade_start_m_s: f64,
    pub fade_end_m_s: f64,
}

/// What a level holds fixed when the accelerator is released.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LiftOff {
    /// Deceleration on the flat: the heavier truck is braked harder.
    Deceleration { m_s2: f64, includes_road_load: bool },
    /// Force at the wheels: the heavier truck slows less.
    Force { n: f64 },
}

/// The working point at which a loss law is summed up as one efficiency: pulling away in town, half a newton per
/// kilogram at 10 m/s. Common practice, no source.
const WORKING_ACCELERATION_M_S2: f64 = 0.5;
const WORKING_SPEED_M_S: f64 = 10.0;

impl Truck {
    /// One-way efficiency from dc link to wheel, at the working point where the law is no constant.
    pub fn drive_efficiency(&self) -> f64 {
        let force = (self.mass_empty_kg + self.payload_kg) * WORKING_ACCELERATION_M_S2;
        force * WORKING_SPEED_M_S / self.losses.drawn(force, WORKING_SPEED_M_S)
    }

    /// The level of this name, ignoring case.
    pub fn level_named(&self, name: &str) -> Option<usize> {
        self.levels.iter().position(|level| level.name.eq_ignore_ascii_case(name.trim()))
    }

    /// The level that stands in where none is known: the default, else the middle of the list by strength.
    pub fn stand_in_level(&self) -> usize {
        self.default_level.unwrap_or_else(|| {
            let mut order: Vec<usize> = (0..self.levels.len()).collect();
            order.sort_by(|&a, &b| self.strength(a).total_cmp(&self.strength(b)));
            order[order.len() / 2]
        })
    }

    /// Lift-off force of a level on the flat at standstill, to order levels by. [N]
    pub fn strength(&self, level: usize) -> f64 {
        match self.levels[level].lift_off {
            LiftOff::Force { n } => n,
            LiftOff::Deceleration { m_s2, .. } => self.mass_moved_kg() * m_s2,
        }
    }

    /// The same as a deceleration, whatever the road takes: what drivers of unlike trucks feel alike. [m/s²]
    pub fn lift_off_m_s2(&self, level: usize) -> f64 {
        self.strength(level) / self.mass_moved_kg()
    }

    fn mass_moved_kg(&self) -> f64 {
        self.mass_empty_kg + self.payload_kg + self.rotating_mass_kg
    }
}
