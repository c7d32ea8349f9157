//! What a perfect logger would see, once a second.

/// The true state at one whole second.
#[derive(Clone, Copy)]
pub struct Sample {
    /// Seconds since 1970-01-01 UTC.
    pub time_s: i64,
    pub x_m: f64,
    pub y_m: f64,
    pub height_m: f64,
    pub speed_m_s: f64,
    /// Since the day began.
    pub distance_m: f64,
    pub soc_frac: f64,
    pub voltage_v: f64,
    /// Positive leaves the battery.
    pub current_a: f64,
    pub ambient_deg_c: f64,
    pub payload_kg: f64,
    pub level: usize,
    pub is_plugged: bool,
    /// The key was just turned.
    pub is_key_on: bool,
    pub is_under_ground: bool,
}
