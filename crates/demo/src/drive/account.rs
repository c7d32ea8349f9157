//! Energy accounts of the inner model: the truth that an analysis of the logs should find again.

use std::ops::AddAssign;

/// Sums over a day, or over the part of a day driven at one regen level.
#[derive(Clone, Copy, Default)]
pub struct Account {
    pub distance_m: f64,
    pub moving_s: f64,
    /// Payload times distance, for a mean over distance.
    pub payload_distance_kg_m: f64,
    pub tractive_j: f64,
    pub braking_j: f64,
    pub friction_j: f64,
    pub regen_wheel_j: f64,
    /// What the level as set could have brought to the terminals.
    pub recoverable_j: f64,
    /// Given back by the inverter to the dc link.
    pub returned_j: f64,
    /// Arrived at the terminals while moving.
    pub recovered_j: f64,
    /// Left the terminals, not plugged in.
    pub discharge_j: f64,
    pub auxiliary_j: f64,
    pub auxiliary_key_off_j: f64,
    /// Electrical power of the drive, drawn positive and returned negative.
    pub drive_electric_j: f64,
    pub kinetic_j: f64,
    pub grade_j: f64,
    pub rolling_j: f64,
    pub aero_j: f64,
    /// Into the pack at its terminals, on the plug.
    pub plug_j: f64,
    pub plug_logged_j: f64,
    pub wall_j: f64,
    /// Open-circuit voltage times current: what the chemistry gave.
    pub chemical_j: f64,
    pub battery_heat_j: f64,
}

impl AddAssign for Account {
    fn add_assign(&mut self, other: Account) {
        self.distance_m += other.distance_m;
        self.moving_s += other.moving_s;
        self.payload_distance_kg_m += other.payload_distance_kg_m;
        self.tractive_j += other.tractive_j;
        self.braking_j += other.braking_j;
        self.friction_j += other.friction_j;
        self.regen_wheel_j += other.regen_wheel_j;
        self.recoverable_j += other.recoverable_j;
        self.returned_j += other.returned_j;
        self.recovered_j += other.recovered_j;
        self.discharge_j += other.discharge_j;
        self.auxiliary_j += other.auxiliary_j;
        self.auxiliary_key_off_j += other.auxiliary_key_off_j;
        self.drive_electric_j += other.drive_electric_j;
        self.kinetic_j += other.kinetic_j;
        self.grade_j += other.grade_j;
        self.rolling_j += other.rolling_j;
        self.aero_j += other.aero_j;
        self.plug_j += other.plug_j;
        self.plug_logged_j += other.plug_logged_j;
        self.wall_j += other.wall_j;
        self.chemical_j += other.chemical_j;
        self.battery_heat_j += other.battery_heat_j;
    }
}
