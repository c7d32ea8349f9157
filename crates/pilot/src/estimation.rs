//! What estimation has to be told of a vehicle type, out of its resolved sheet.

use backwatt_estimate::{LevelSheet, Reach, TypeSheet};
use backwatt_physics::{LiftOff, Truck};

use crate::VehicleType;

/// How far losses of a stated law may lie from it. Common practice, no source.
const LOSSES_FRAC: f64 = 0.2;

/// A load that neither log nor sheet names: anything from nothing to twice this share of the mass. Common practice, no
/// source.
const UNSTATED_LOAD: f64 = 0.1;

impl VehicleType {
    /// The sheet of the type called `name` as estimation needs it.
    pub fn estimation(&self, name: &str) -> TypeSheet {
        let (nominal, high) = (&self.sheet.nominal, &self.sheet.high);
        let low = &self.sheet.low;
        let beside = |of: fn(&Truck) -> f64| {
            let middle = of(nominal);
            if middle > 0.0 { (of(high) - of(low)).abs() / (2.0 * middle) } else { 0.0 }
        };
        let stated = high.payload_kg > 0.0;
        let gross_kg = nominal.mass_empty_kg + nominal.payload_kg;
        TypeSheet {
            name: name.to_owned(),
            battery: self.battery,
            levels: nominal
                .levels
                .iter()
                .map(|level| LevelSheet {
                    name: level.name.clone(),
                    holds_deceleration: matches!(level.lift_off, LiftOff::Deceleration { .. }),
                })
                .collect(),
            default_level: nominal.default_level,
            reach: Reach {
                mass_empty_frac: beside(|truck| truck.mass_empty_kg),
                payload_frac: if stated {
                    (high.payload_kg - low.payload_kg).abs() / (2.0 * gross_kg)
                } else {
                    UNSTATED_LOAD
                },
                // What nobody states may be a driver and a bag: it stays aboard.
                load_frac: if stated { nominal.payload_kg / gross_kg } else { 0.0 },
                payload_beyond_frac: if stated { 0.0 } else { UNSTATED_LOAD },
                rolling_frac: beside(|truck| truck.rolling_resistance),
                drag_frac: beside(|truck| truck.drag_area_m2),
                losses_frac: LOSSES_FRAC,
                capacity_frac: self.capacity_error_frac,
            },
        }
    }
}
