//! Everything the battery feeds besides the drive.

use crate::fleet::types::VehicleType;

/// Cab heating stops here.
const CAB_TARGET_DEG_C: f64 = 17.0;
const CAB_HEAT_MAX_W: f64 = 4800.0;
/// A cold cab is heated harder at first, by this share, fading over this time.
const WARM_UP_SHARE: f64 = 0.6;
const WARM_UP_TIME_S: f64 = 900.0;
/// The refrigeration unit's compressor, and how long its cycle takes.
const REFRIGERATION_W: f64 = 2100.0;
const REFRIGERATION_CYCLE_S: f64 = 540.0;
const STANDBY_W: f64 = 28.0;

/// A truck's auxiliary loads.
pub struct Auxiliaries {
    pub base_w: f64,
    pub climate_w_per_k: f64,
    pub has_refrigeration: bool,
}

impl Auxiliaries {
    pub fn new(kind: &VehicleType, has_refrigeration: bool) -> Auxiliaries {
        Auxiliaries { base_w: kind.aux_base_w, climate_w_per_k: kind.climate_w_per_k, has_refrigeration }
    }

    /// Load with the key on, `since_start_s` after the day's first key-on.
    pub fn key_on_w(&self, ambient_deg_c: f64, since_start_s: f64) -> f64 {
        let cold_k = (CAB_TARGET_DEG_C - ambient_deg_c).max(0.0);
        let warm_up = 1.0 + WARM_UP_SHARE * (-since_start_s / WARM_UP_TIME_S).exp();
        let heat_w = (cold_k * self.climate_w_per_k * warm_up).min(CAB_HEAT_MAX_W);
        self.base_w + heat_w + self.refrigeration_w(ambient_deg_c, since_start_s)
    }

    /// Load with the key off: the box stays cold.
    pub fn key_off_w(&self, ambient_deg_c: f64, since_start_s: f64) -> f64 {
        STANDBY_W + self.refrigeration_w(ambient_deg_c, since_start_s)
    }

    /// Runs in cycles, longer when it is warm outside.
    fn refrigeration_w(&self, ambient_deg_c: f64, since_start_s: f64) -> f64 {
        let on_share = (0.42 + 0.014 * ambient_deg_c).clamp(0.25, 0.8);
        let is_on = since_start_s % REFRIGERATION_CYCLE_S < on_share * REFRIGERATION_CYCLE_S;
        if self.has_refrigeration && is_on { REFRIGERATION_W } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fleet::types::LIGHT;

    #[test]
    fn cold_costs_heat_and_mild_weather_little() {
        let loads = Auxiliaries::new(&LIGHT, false);
        assert!(loads.key_on_w(-8.0, 7200.0) > 3000.0);
        assert!((loads.key_on_w(17.0, 7200.0) - 420.0).abs() < 1e-9);
    }
}
