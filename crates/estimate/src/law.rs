//! How the battery's energy follows from the unknowns, and what is believed of them beforehand.

use backwatt_stats::nested::{Law, Normals};

use crate::features::{
    AERO, AUX_MOVING, AUX_STANDING, BATTERY_LOSS, BRAKED, BRAKING, BRAKING_AERO, BRAKING_ROLLING, BY_AERO,
    BY_MASS, BY_ROLLING, CONVERTED, DISTANCE, DRIVEN_EARLY, FED, HOURS, INERTIA, LOAD, LOAD_BACK, LOSS,
    OF_LEVEL, RECOVERING, ROLLING, SHARED, TAKEN, TAKEN_EARLY, UNSEEN, of_level,
};
use crate::learned::Z_90;
use crate::sheet::{TypeSheet, sd_of_reach};

/// Kinds of rows: drawn from the store by state of charge; net at the measured terminals; returned at the measured bus.
pub const BY_CHARGE: usize = 0;
pub const AT_TERMINALS: usize = 1;
pub const AT_BUS: usize = 2;
pub const KINDS: usize = 3;

/// Unknowns of a type, in this order; a share of each level follows.
pub const TYPE_NAMES: [&str; 10] = [
    "rolling_resistance",
    "drag_area",
    "drive_losses",
    "losses_with_force_squared",
    "losses_with_distance",
    "auxiliaries_moving",
    "auxiliaries_standing",
    "auxiliaries_beyond_sheet_kw",
    "drawn_key_off_kw",
    "share_arriving",
];
const OF_TYPE: usize = TYPE_NAMES.len();
/// Unknowns of a vehicle.
pub const VEHICLE_NAMES: [&str; 7] = [
    "capacity_inverse",
    "mass",
    "auxiliaries_of_vehicle_kw",
    "share_of_vehicle",
    "sensor_offset_kw",
    "braking_between_samples",
    "mass_falling_through_day",
];
/// Where the capacity's stands among a vehicle's.
pub const CAPACITY_INVERSE: usize = 0;
/// Unknowns of a day.
pub const OF_DAY: usize = 2;

/// The law of one vehicle type.
#[derive(Debug, Clone)]
pub struct EnergyLaw {
    pub slots: usize,
    /// Loss by the sheet per squared force, over all that was driven: [kWh / 1e9 N² s].
    pub load_scale: f64,
    /// The same per distance: [kWh/km].
    pub distance_scale: f64,
    /// Auxiliaries while moving, by log or sheet, on the mean. [kW]
    pub aux_kw: f64,
    /// Share of the bus energy that these auxiliaries take, on the mean.
    pub fed_share: f64,
}

/// The unknowns by name.
struct Unknowns<'u> {
    rolling: f64,
    drag: f64,
    losses: f64,
    squared: f64,
    turning: f64,
    aux_moving: f64,
    aux_standing: f64,
    /// Beyond the sheet, of type, vehicle and day. [kW]
    beyond_kw: f64,
    key_off_kw: f64,
    share: f64,
    levels: &'u [f64],
    capacity_inverse: f64,
    mass: f64,
    /// What the current sensor adds to discharge.
    offset_kw: f64,
    /// Braking energy that slow samples hide beyond what was made good, over what was.
    hidden: f64,
    /// What mass, or whatever else goes with it, is above its mean as the day begins and below as it ends.
    falling: f64,
}

impl Unknowns<'_> {
    /// Losses that stay a share of energy.
    fn proportional(&self) -> f64 {
        self.losses * (1.0 - self.squared - self.turning) * self.mass
    }
}

impl EnergyLaw {
    pub fn unknowns_of_type(&self) -> usize {
        OF_TYPE + self.slots
    }

    fn named<'u>(&self, u: &'u [f64]) -> Unknowns<'u> {
        let own = self.unknowns_of_type();
        let day = own + VEHICLE_NAMES.len();
        Unknowns {
            rolling: u[0],
            drag: u[1],
            losses: u[2],
            squared: u[3],
            turning: u[4],
            aux_moving: u[5],
            aux_standing: u[6],
            beyond_kw: u[7] + u[own + 2] + u[day],
            key_off_kw: u[8],
            share: u[9] + u[own + 3],
            levels: &u[OF_TYPE..own],
            capacity_inverse: u[own],
            mass: u[own + 1] + u[day + 1],
            offset_kw: u[own + 4],
            hidden: u[own + 5],
            falling: u[own + 6],
        }
    }

    /// Coefficients of what is returned at the bus.
    ///
    /// β_l [ C_l + (m-1) ∂C_l + (r-1) ∂C_l + (a-1) ∂C_l + f early_l - l ((1-u-w) m loss_l + u m² load_l + w distance_l) ]
    pub fn bus(&self, u: &[f64]) -> Vec<f64> {
        let u = self.named(u);
        let mut c = vec![0.0; SHARED + self.slots * OF_LEVEL];
        for slot in 0..self.slots {
            let share = (u.share + u.levels[slot]) * (1.0 + u.hidden);
            let mut set = |feature: usize, value: f64| c[of_level(slot, feature)] = share * value;
            set(TAKEN, 1.0);
            set(BY_MASS, u.mass - 1.0);
            set(BY_ROLLING, u.rolling - 1.0);
            set(BY_AERO, u.drag - 1.0);
            set(CONVERTED, -u.proportional());
            set(LOAD_BACK, -u.losses * u.squared * self.load_scale * u.mass * u.mass);
            set(BRAKED, -u.losses * u.turning * self.distance_scale);
            set(TAKEN_EARLY, u.falling);
        }
        c
    }

    /// Coefficients of what auxiliaries take of the return. With powers of return spread like an exponential, a load of
    /// a times the mean takes 1 - exp(-a) of it: derived; the shape is an assumption.
    fn fed(&self, u: &[f64]) -> Vec<f64> {
        let named = self.named(u);
        let beyond = if self.aux_kw > 0.0 { named.beyond_kw / self.aux_kw } else { 0.0 };
        let factor = (named.aux_moving + beyond).max(0.0);
        let taken = self.fed_share.clamp(1e-6, 0.99);
        let load = -(1.0 - taken).ln();
        let growth = (1.0 - (-load * factor).exp()) / taken;
        let mut c = vec![0.0; SHARED + self.slots * OF_LEVEL];
        for slot in 0..self.slots {
            c[of_level(slot, FED)] = growth * (named.share + named.levels[slot]);
        }
        c
    }

    /// Coefficients of what is recovered at the terminals: the return less what auxiliaries take of it.
    pub fn recovered(&self, u: &[f64]) -> Vec<f64> {
        self.bus(u).iter().zip(self.fed(u)).map(|(bus, fed)| bus - fed).collect()
    }

    /// Coefficients of net energy at the terminals: driving and auxiliaries less the return.
    pub fn net(&self, u: &[f64]) -> Vec<f64> {
        let named = self.named(u);
        let mut c: Vec<f64> = self.bus(u).iter().map(|bus| -bus).collect();
        c[INERTIA] = named.mass;
        c[ROLLING] = named.mass * named.rolling;
        c[AERO] = named.drag;
        c[LOSS] = named.proportional();
        c[LOAD] = named.losses * named.squared * self.load_scale * named.mass * named.mass;
        c[DISTANCE] = named.losses * named.turning * self.distance_scale;
        c[AUX_MOVING] = named.aux_moving;
        c[AUX_STANDING] = named.aux_standing;
        c[HOURS] = named.beyond_kw;
        c[DRIVEN_EARLY] = named.falling;
        // What was braked unseen was driven unseen.
        c[BRAKING] = named.hidden;
        c
    }

    /// Coefficients of gross discharge at the terminals.
    pub fn discharged(&self, u: &[f64]) -> Vec<f64> {
        self.net(u).iter().zip(self.recovered(u)).map(|(net, back)| net + back).collect()
    }
}

impl EnergyLaw {
    /// By how much braking energy at the wheels differs from the sheet's: it is inertia and grade, which go with mass, less
    /// the rolling and drag work done meanwhile.
    pub fn braking_beyond_sheet(&self, u: &[f64]) -> Vec<f64> {
        let u = self.named(u);
        let mut c = vec![0.0; SHARED + self.slots * OF_LEVEL];
        c[BRAKING] = u.mass - 1.0;
        c[BRAKING_ROLLING] = u.mass * (1.0 - u.rolling);
        c[BRAKING_AERO] = u.mass - u.drag;
        c
    }

    /// What the sensor's offset hides of a measured inflow.
    pub fn hidden_inflow(&self, u: &[f64]) -> Vec<f64> {
        let mut c = vec![0.0; SHARED + self.slots * OF_LEVEL];
        c[RECOVERING] = self.named(u).offset_kw;
        c
    }

    /// What the sensor's offset adds to a measured net discharge.
    pub fn false_net(&self, u: &[f64]) -> Vec<f64> {
        let mut c = vec![0.0; SHARED + self.slots * OF_LEVEL];
        c[HOURS] = self.named(u).offset_kw;
        c
    }
}

impl Law for EnergyLaw {
    fn coefficients(&self, kind: usize, u: &[f64]) -> Vec<f64> {
        let plus = |c: Vec<f64>, d: Vec<f64>, sign: f64| c.iter().zip(d).map(|(c, d)| c + sign * d).collect();
        match kind {
            AT_BUS => plus(self.bus(u), self.hidden_inflow(u), -1.0),
            AT_TERMINALS => plus(self.net(u), self.false_net(u), 1.0),
            _ => {
                let mut c = self.net(u);
                c[BATTERY_LOSS] = 1.0;
                c[UNSEEN] = self.named(u).key_off_kw;
                let inverse = self.named(u).capacity_inverse;
                c.iter_mut().for_each(|c| *c *= inverse);
                c
            }
        }
    }
}

/// What a sheet's one factor leaves open beyond its own reach: the shares of losses that go with force squared and with
/// distance, whatever the force. From memory.
const SQUARED: (f64, f64) = (0.35, 0.25);
const TURNING: (f64, f64) = (0.3, 0.2);
/// Current sensors rest some tenths of an ampere off. From memory. [kW]
const OFFSET_KW: f64 = 0.12;
/// Auxiliaries of the sheet, as factors; and what the sheet leaves out, chiefly cab climate. [kW] From memory.
const AUX_SD: f64 = 0.4;
const BEYOND_KW: (f64, f64) = (0.4, 0.8);
const BEYOND_VEHICLE_KW: f64 = 0.2;
/// Standby and what a delivery leaves on while the key is off. From memory. [kW]
const KEY_OFF_KW: (f64, f64) = (0.15, 0.2);
const BEYOND_DAY_KW: f64 = 0.5;
/// Share of what the model has returned that arrives: near all, stability control and derating taking some; levels and
/// fade speeds of a sheet are nominal. Wide enough to be wrong. From memory.
const SHARE: (f64, f64) = (0.95, 0.2);
const SHARE_LEVEL_SD: f64 = 0.1;
const SHARE_VEHICLE_SD: f64 = 0.03;
/// A payload that is logged: of the gross mass, by day.
const LOGGED_DAY_SD: f64 = 0.005;
/// A load that nobody logs goes out and comes back, or is handed out on the way, or anything between: about its mean it falls
/// by half of itself either way. Common practice, no source.
const LOAD_FALLS: (f64, f64) = (0.5, 0.5);
/// The load of one day against another's, where none is logged: what a sheet says of loads is about their mean. Common
/// practice, no source.
const LOAD_OF_DAY: f64 = 0.25;

/// A level that nobody names may be any.
const SHARE_UNNAMED_SD: f64 = 0.3;

/// `named`: as if every level were.
pub fn type_prior(sheet: &TypeSheet, named: bool) -> Normals {
    let mut prior = Normals::default();
    prior.push(1.0, sd_of_reach(sheet.reach.rolling_frac));
    prior.push(1.0, sd_of_reach(sheet.reach.drag_frac));
    prior.push(1.0, sd_of_reach(sheet.reach.losses_frac));
    prior.push(SQUARED.0, SQUARED.1);
    prior.push(TURNING.0, TURNING.1);
    prior.push(1.0, AUX_SD);
    prior.push(1.0, AUX_SD);
    prior.push(BEYOND_KW.0, BEYOND_KW.1);
    prior.push(KEY_OFF_KW.0, KEY_OFF_KW.1);
    prior.push(SHARE.0, SHARE.1);
    for slot in 0..sheet.level_slots() {
        let unnamed = slot == sheet.levels.len() && !named;
        prior.push(0.0, if unnamed { SHARE_UNNAMED_SD } else { SHARE_LEVEL_SD });
    }
    prior
}

/// `hidden_frac`: half-width of what sampling leaves open of the braking energy, over it.
pub fn vehicle_prior(sheet: &TypeSheet, payload_known: bool, hidden_frac: f64) -> Normals {
    let reach = &sheet.reach;
    let payload = if payload_known { 0.0 } else { sd_of_reach(reach.payload_frac) };
    let mut prior = Normals::default();
    prior.push(1.0, sd_of_reach(reach.capacity_frac));
    let beyond = if payload_known { 0.0 } else { reach.payload_beyond_frac };
    prior.push(1.0 + beyond, sd_of_reach(reach.mass_empty_frac).hypot(payload));
    prior.push(0.0, BEYOND_VEHICLE_KW);
    prior.push(0.0, SHARE_VEHICLE_SD);
    prior.push(0.0, OFFSET_KW);
    prior.push(0.0, hidden_frac / Z_90);
    let load = if payload_known { 0.0 } else { reach.load_frac };
    prior.push(LOAD_FALLS.0 * load, LOAD_FALLS.1 * load);
    prior
}

pub fn day_prior(sheet: &TypeSheet, payload_known: bool) -> Normals {
    let mut prior = Normals::default();
    prior.push(0.0, BEYOND_DAY_KW);
    let reach = &sheet.reach;
    let by_load = sd_of_reach(reach.payload_frac).max(LOAD_OF_DAY * reach.load_frac);
    prior.push(0.0, if payload_known { LOGGED_DAY_SD } else { by_load });
    prior
}
