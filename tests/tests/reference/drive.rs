//! A vehicle, a drive and its replay: the road from a table to the ledger's totals.

use arrow::array::RecordBatch;
use backwatt_physics::kernels::air::{DRY_AIR_J_KG_K, SEA_LEVEL_PA};
use backwatt_physics::kernels::road_load::Conditions;
use backwatt_physics::{
    Acceptance, Blending, Level, LiftOff, Losses, PowerBoundary, Replay, ReplaySettings, STANDARD_GRAVITY_M_S2,
    Sheet, SpeedReading, Truck, power_trace, replay,
};
use backwatt_schema::{JOULES_PER_KWH, tables};

use crate::batches::{Cells, filled, sum};

/// What the road-load checks ask of a vehicle.
#[derive(Debug, Clone, Copy)]
pub struct Vehicle {
    pub mass_kg: f64,
    pub rotating_mass_kg: f64,
    pub rolling_resistance: f64,
    pub drag_area_m2: f64,
    pub air_density_kg_m3: f64,
}

/// The made-up truck of the closed-form checks: rotating mass 5 %.
pub const TRUCK: Vehicle = Vehicle {
    mass_kg: 6600.0,
    rotating_mass_kg: 330.0,
    rolling_resistance: 0.0077,
    drag_area_m2: 5.0,
    air_density_kg_m3: 1.2,
};

impl Vehicle {
    pub fn conditions(&self) -> Conditions {
        Conditions {
            mass_kg: self.mass_kg,
            rotating_mass_kg: self.rotating_mass_kg,
            rolling_resistance: self.rolling_resistance,
            drag_area_m2: self.drag_area_m2,
            air_density_kg_m3: self.air_density_kg_m3,
            gravity_m_s2: STANDARD_GRAVITY_M_S2,
            headwind_m_s: 0.0,
        }
    }

    pub fn sheet(&self) -> Sheet {
        let level = Level {
            name: "only".to_owned(),
            lift_off: LiftOff::Deceleration { m_s2: 1.0, includes_road_load: false },
            fade_start_m_s: 1.0,
            fade_end_m_s: 3.0,
        };
        let truck = Truck {
            mass_empty_kg: self.mass_kg,
            payload_kg: 0.0,
            rotating_mass_kg: self.rotating_mass_kg,
            drag_area_m2: self.drag_area_m2,
            rolling_resistance: self.rolling_resistance,
            losses: Losses::Constant { efficiency: 0.86 },
            rolling_temperature: None,
            axle_limit_m_s2: 1.9,
            motor_force_max_n: 20e3,
            motor_power_max_w: 100e3,
            acceptance: Acceptance {
                power_max_w: 100e3,
                taper_start_soc: 0.9,
                cold_full_k: 283.15,
                cold_none_k: 253.15,
            },
            battery_warmth: 0.5,
            aux_power_w: 800.0,
            climate: None,
            blending: Blending::FrictionOnly,
            levels: vec![level],
            default_level: Some(0),
        };
        Sheet {
            nominal: truck.clone(),
            low: truck.clone(),
            high: truck,
            open: Vec::new(),
            power_boundary: PowerBoundary::Pack,
        }
    }

    /// Outside air at sea level that has the density asked for. [K]
    fn air_k(&self) -> f64 {
        SEA_LEVEL_PA / (DRY_AIR_J_KG_K * self.air_density_kg_m3)
    }
}

/// A log of speed and nothing else but, where it matters, grade.
#[derive(Debug, Clone, Default)]
pub struct Drive {
    pub time_s: Vec<f64>,
    pub speed_m_s: Vec<f64>,
    /// Grade from each sample to the next; empty where there is none.
    pub grade_frac: Vec<f64>,
}

impl Drive {
    /// Speeds at equal steps, flat.
    pub fn every(step_s: f64, speed_m_s: &[f64]) -> Self {
        let time_s = (0..speed_m_s.len()).map(|i| i as f64 * step_s).collect();
        Self { time_s, speed_m_s: speed_m_s.to_vec(), grade_frac: Vec::new() }
    }

    pub fn on_grade(mut self, grade_frac: f64) -> Self {
        self.grade_frac = vec![grade_frac; self.speed_m_s.len()];
        self
    }

    pub fn samples(&self, vehicle: &Vehicle) -> RecordBatch {
        let rows = self.speed_m_s.len();
        let known = |values: &[f64]| Cells::Numbers(values.iter().copied().map(Some).collect());
        let mut cells = vec![
            ("time_ns", Cells::Times(self.time_s.iter().map(|s| (s * 1e9).round() as i64).collect())),
            ("speed_m_s", known(&self.speed_m_s)),
            ("temperature_ambient_k", known(&vec![vehicle.air_k(); rows])),
        ];
        if !self.grade_frac.is_empty() {
            cells.push(("grade_frac", known(&self.grade_frac)));
        }
        filled(&tables::SAMPLES, rows, &cells)
    }

    pub fn replay(&self, vehicle: &Vehicle, settings: &ReplaySettings) -> Totals {
        self.replay_with(vehicle, &vehicle.sheet(), settings)
    }

    /// With a sheet of its own.
    pub fn replay_with(&self, vehicle: &Vehicle, sheet: &Sheet, settings: &ReplaySettings) -> Totals {
        let day = |_: i64| "2024-01-01".to_owned();
        let replay = replay("T1", &self.samples(vehicle), sheet, settings, &day);
        Totals { replay: replay.unwrap_or_else(|e| panic!("{e}")) }
    }

    /// Power from sample to sample.
    pub fn trace(&self, vehicle: &Vehicle, settings: &ReplaySettings) -> RecordBatch {
        let trace = power_trace("T1", &self.samples(vehicle), &vehicle.sheet(), settings);
        trace.unwrap_or_else(|e| panic!("{e}"))
    }

    /// Replayed with the product's own thresholds, the speed as given.
    pub fn totals(&self, vehicle: &Vehicle) -> Totals {
        self.replay(vehicle, &ReplaySettings { speed: SpeedReading::AsLogged, ..ReplaySettings::default() })
    }

    /// Replayed as the product does by default.
    pub fn smoothed(&self, vehicle: &Vehicle) -> Totals {
        self.replay(vehicle, &ReplaySettings::default())
    }
}

/// Sums over all segments, parked ones included.
pub struct Totals {
    pub replay: Replay,
}

impl Totals {
    /// A column of segments in its own unit.
    pub fn sum(&self, name: &str) -> f64 {
        sum(&tables::SEGMENTS, &self.replay.segments, name)
    }

    /// An energy column of segments. [J]
    pub fn joules(&self, name: &str) -> f64 {
        self.sum(name) * JOULES_PER_KWH
    }

    pub fn braking_j(&self) -> f64 {
        self.joules("energy_braking_kwh")
    }

    pub fn tractive_j(&self) -> f64 {
        self.joules("energy_tractive_kwh")
    }
}
