//! The six trucks, and more like them, their loggers, and what those loggers leave out.

use super::types::{LIGHT, MEDIUM, VehicleType};
use crate::Size;

/// Which of the two file formats a truck's logger writes.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Commas, one file a day.
    Harbour,
    /// Semicolons and decimal commas, one file a week.
    Upland,
}

/// What a logger says about the battery besides its state of charge.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum BatterySignal {
    VoltageAndCurrent,
    /// Pack power, positive while charging.
    Power,
    None,
}

/// How a display turns a state of charge into steps.
#[derive(Clone, Copy)]
pub enum Rounding {
    Nearest,
    Down,
}

/// A truck: its logger, and where it departs from its type.
#[derive(Clone, Copy)]
pub struct Truck {
    pub id: &'static str,
    pub kind: &'static VehicleType,
    pub format: Format,
    pub period_s: u32,
    pub battery: BatterySignal,
    pub soc_step_pct: f64,
    pub soc_rounding: Rounding,
    pub has_level_column: bool,
    pub has_payload_column: bool,
    /// The logger stays awake for the first twenty minutes on the plug.
    pub logs_charging: bool,
    pub has_firmware_update: bool,
    pub has_refrigeration: bool,
    /// Usable energy now over nominal.
    pub state_of_health_frac: f64,
    /// Logged speed and distance over true ones: tyre wear and dash scale.
    pub wheel_scale: f64,
    pub current_offset_a: f64,
    pub odometer_start_m: f64,
    /// Amplitude of each of the slow waves by which logged height drifts.
    pub height_wave_m: f64,
    /// Standard deviation of what it wanders over a minute.
    pub height_wander_m: f64,
}

/// What most harbour trucks have in common.
pub const HARBOUR: Truck = Truck {
    id: "",
    kind: &LIGHT,
    format: Format::Harbour,
    period_s: 1,
    battery: BatterySignal::VoltageAndCurrent,
    soc_step_pct: 0.5,
    soc_rounding: Rounding::Nearest,
    has_level_column: true,
    has_payload_column: true,
    logs_charging: true,
    has_firmware_update: false,
    has_refrigeration: false,
    state_of_health_frac: 0.97,
    wheel_scale: 1.0,
    current_offset_a: 0.0,
    odometer_start_m: 0.0,
    // Some 5 m in all.
    height_wave_m: 4.1,
    height_wander_m: 0.0,
};

/// What most upland trucks have in common.
const UPLAND: Truck = Truck {
    format: Format::Upland,
    period_s: 5,
    battery: BatterySignal::None,
    soc_step_pct: 1.0,
    soc_rounding: Rounding::Down,
    has_payload_column: false,
    logs_charging: false,
    ..HARBOUR
};

pub const TRUCKS: [Truck; 6] = [
    Truck { id: "H11", wheel_scale: 1.004, current_offset_a: 0.4, odometer_start_m: 18_240_300.0, ..HARBOUR },
    Truck {
        id: "H12",
        has_payload_column: false,
        logs_charging: false,
        has_firmware_update: true,
        state_of_health_frac: 0.95,
        wheel_scale: 0.992,
        current_offset_a: -0.6,
        odometer_start_m: 31_902_700.0,
        ..HARBOUR
    },
    Truck {
        id: "H13",
        kind: &MEDIUM,
        has_firmware_update: true,
        has_refrigeration: true,
        state_of_health_frac: 0.98,
        wheel_scale: 1.011,
        current_offset_a: 0.7,
        odometer_start_m: 9_480_100.0,
        ..HARBOUR
    },
    Truck {
        id: "U21",
        kind: &MEDIUM,
        battery: BatterySignal::Power,
        soc_step_pct: 0.4,
        has_payload_column: true,
        logs_charging: true,
        state_of_health_frac: 0.96,
        wheel_scale: 0.997,
        odometer_start_m: 40_118_000.0,
        ..UPLAND
    },
    Truck {
        id: "U22",
        has_firmware_update: true,
        state_of_health_frac: 0.99,
        wheel_scale: 1.006,
        odometer_start_m: 5_770_400.0,
        ..UPLAND
    },
    Truck {
        id: "U23",
        kind: &MEDIUM,
        period_s: 10,
        has_level_column: false,
        state_of_health_frac: 0.94,
        wheel_scale: 0.989,
        odometer_start_m: 52_630_900.0,
        ..UPLAND
    },
];

/// Names of the trucks that the large pilot has beyond the six, each one more of the six in turn.
const MORE: [&str; 14] =
    ["H14", "H15", "H16", "U24", "U25", "U26", "H17", "H18", "H19", "U27", "U28", "U29", "H20", "H21"];

/// Every truck of a pilot of this size.
pub fn fleet(size: Size) -> Vec<Truck> {
    let more = MORE.iter().enumerate().map(|(at, id)| {
        let lap = at / TRUCKS.len() + 1;
        let like = TRUCKS[at % TRUCKS.len()];
        Truck { id, state_of_health_frac: like.state_of_health_frac - 0.004 * lap as f64, ..like }
    });
    let beyond = if size == Size::Large { MORE.len() } else { 0 };
    TRUCKS.into_iter().chain(more.take(beyond)).collect()
}
