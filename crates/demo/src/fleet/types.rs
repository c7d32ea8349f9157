//! The two vehicle types as they truly are. The pilot file states them as a user would know them,
//! rounded and partly wrong.

/// Regen levels, weakest first; the index is used all over this crate.
pub const LEVEL_NAMES: [&str; 4] = ["off", "low", "medium", "high"];

/// What the regen levels do: a lift-off force at the wheels, the same at any payload, that fades at low speed.
#[derive(Clone, Copy)]
pub struct RegenMap {
    pub force_n: [f64; 4],
    /// No regen below, full regen above; a straight ramp between.
    pub fade_start_m_s: f64,
    pub fade_end_m_s: f64,
}

/// What the brake pedal does with regen.
#[derive(Clone, Copy)]
pub enum Pedal {
    /// The pedal works the friction brakes only.
    FrictionOnly,
    /// The pedal adds this share of what it asks for as regen.
    Parallel(f64),
}

/// Loss of motor, inverter and gears, as a law of load:
/// P = p0 + p1·ω + p2·ω² + p3·T² + mesh·|T·ω|, with ω and T at the motor.
#[derive(Clone, Copy)]
pub struct LossLaw {
    pub constant_w: f64,
    pub per_speed_w_s_rad: f64,
    pub per_speed_squared_w_s2_rad2: f64,
    pub per_torque_squared_w_n2_m2: f64,
    pub mesh_frac: f64,
}

/// A vehicle type.
pub struct VehicleType {
    pub id: &'static str,
    /// Empty, with driver.
    pub mass_kg: f64,
    pub rotating_mass_kg: f64,
    pub drag_area_m2: f64,
    /// At 20 degC.
    pub rolling_resistance: f64,
    pub payload_start_kg: (f64, f64),
    pub gear_ratio: f64,
    pub tyre_radius_m: f64,
    pub drive_force_max_n: f64,
    pub drive_power_max_w: f64,
    pub regen_force_max_n: f64,
    pub regen_power_max_w: f64,
    pub charge_power_max_w: f64,
    pub packs: f64,
    pub aux_base_w: f64,
    pub climate_w_per_k: f64,
    pub pedal: Pedal,
    pub regen: RegenMap,
    pub regen_after_update: RegenMap,
    pub loss: LossLaw,
}

/// A light truck with three packs.
pub const LIGHT: VehicleType = VehicleType {
    id: "light3",
    mass_kg: 3960.0,
    rotating_mass_kg: 238.0,
    drag_area_m2: 4.0,
    rolling_resistance: 0.0079,
    payload_start_kg: (500.0, 1500.0),
    gear_ratio: 9.0,
    tyre_radius_m: 0.36,
    drive_force_max_n: 13_500.0,
    drive_power_max_w: 115_000.0,
    regen_force_max_n: 8600.0,
    regen_power_max_w: 75_000.0,
    charge_power_max_w: 62_000.0,
    packs: 3.0,
    aux_base_w: 420.0,
    climate_w_per_k: 115.0,
    pedal: Pedal::FrictionOnly,
    regen: RegenMap { force_n: [0.0, 1900.0, 3600.0, 6100.0], fade_start_m_s: 1.6, fade_end_m_s: 4.2 },
    regen_after_update: RegenMap {
        force_n: [0.0, 1900.0, 4400.0, 6400.0],
        fade_start_m_s: 0.9,
        fade_end_m_s: 2.7,
    },
    loss: LossLaw {
        constant_w: 190.0,
        per_speed_w_s_rad: 1.15,
        per_speed_squared_w_s2_rad2: 0.0031,
        per_torque_squared_w_n2_m2: 0.060,
        mesh_frac: 0.026,
    },
};

/// A medium truck with five packs.
pub const MEDIUM: VehicleType = VehicleType {
    id: "medium5",
    mass_kg: 5480.0,
    rotating_mass_kg: 352.0,
    drag_area_m2: 5.25,
    rolling_resistance: 0.0078,
    payload_start_kg: (900.0, 2800.0),
    gear_ratio: 10.2,
    tyre_radius_m: 0.40,
    drive_force_max_n: 19_500.0,
    drive_power_max_w: 160_000.0,
    regen_force_max_n: 12_400.0,
    regen_power_max_w: 112_000.0,
    charge_power_max_w: 104_000.0,
    packs: 5.0,
    aux_base_w: 560.0,
    climate_w_per_k: 140.0,
    pedal: Pedal::Parallel(0.45),
    regen: RegenMap { force_n: [0.0, 2700.0, 5200.0, 8600.0], fade_start_m_s: 1.4, fade_end_m_s: 3.8 },
    regen_after_update: RegenMap {
        force_n: [0.0, 2700.0, 6300.0, 9000.0],
        fade_start_m_s: 0.8,
        fade_end_m_s: 2.4,
    },
    loss: LossLaw {
        constant_w: 240.0,
        per_speed_w_s_rad: 1.5,
        per_speed_squared_w_s2_rad2: 0.0036,
        per_torque_squared_w_n2_m2: 0.044,
        mesh_frac: 0.028,
    },
};
