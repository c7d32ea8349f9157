//! The weather of a day: eight weeks of mild winter with a cold spell in weeks four and five.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// One day's weather.
#[derive(Clone, Copy)]
pub struct Weather {
    pub mean_temperature_deg_c: f64,
    pub wind_east_m_s: f64,
    pub wind_north_m_s: f64,
}

impl Weather {
    /// The weather of day `day` (0 is the first Monday); the same for all trucks.
    pub fn of_day(seed: u64, day: usize) -> Weather {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(0x5765_0000 + day as u64);
        let mean_temperature_deg_c = match day / 7 {
            3 | 4 => rng.random_range(-6.5..-1.0),
            5.. => rng.random_range(8.0..13.5),
            _ => rng.random_range(7.5..12.0),
        };
        let wind_m_s: f64 = rng.random_range(0.0..5.0);
        let heading_rad: f64 = rng.random_range(0.0..std::f64::consts::TAU);
        Weather {
            mean_temperature_deg_c,
            wind_east_m_s: wind_m_s * heading_rad.cos(),
            wind_north_m_s: wind_m_s * heading_rad.sin(),
        }
    }

    /// Warmest in mid-afternoon, coldest before dawn.
    pub fn temperature_deg_c(&self, local_hour: f64) -> f64 {
        self.mean_temperature_deg_c + 2.2 * ((local_hour - 9.0) / 12.0 * std::f64::consts::PI).sin()
    }

    /// Below freezing, with ice about.
    pub fn is_frosty(&self) -> bool {
        self.mean_temperature_deg_c < 0.0
    }
}

/// Density of dry air by temperature and height: the ideal gas law with an exponential atmosphere
/// (scale height 8.4 km, common practice).
pub fn air_density_kg_m3(temperature_deg_c: f64, height_m: f64) -> f64 {
    101_325.0 * (-height_m / 8434.0).exp() / (287.05 * (temperature_deg_c + 273.15))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cold_air_is_thicker() {
        // Standard atmosphere at sea level, 15 degC: 1.225 kg/m3.
        assert!((air_density_kg_m3(15.0, 0.0) - 1.225).abs() < 1e-3);
        assert!(air_density_kg_m3(-8.0, 0.0) > 1.32);
    }

    #[test]
    fn the_cold_spell_is_in_weeks_four_and_five() {
        let coldest = |from: usize, to: usize| {
            (from..to).map(|day| Weather::of_day(7, day).temperature_deg_c(7.0)).fold(f64::INFINITY, f64::min)
        };
        assert!(coldest(21, 35) < -3.0);
        assert!(coldest(0, 21) > 4.0 && coldest(35, 56) > 4.0);
    }
}
