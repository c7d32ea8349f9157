//! What is changed, and how it shows in a track.

use crate::replay::track::Track;
use crate::replay::weather::Air;

/// A value put in place of another, or laid upon it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amount {
    Set(f64),
    Add(f64),
    Times(f64),
}

impl Amount {
    pub fn of(self, value: f64) -> f64 {
        match self {
            Amount::Set(to) => to,
            Amount::Add(more) => value + more,
            Amount::Times(factor) => value * factor,
        }
    }
}

/// What the logs say otherwise than they did. What the sheet says is changed by the caller, in the changed sheet.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Change {
    /// The words it was asked for in.
    pub text: String,
    /// Regen level, as the sheet names it.
    pub level: Option<String>,
    pub payload_kg: Option<Amount>,
    /// Auxiliaries without cab, battery and load climate.
    pub aux_w: Option<Amount>,
    pub temperature: Option<Amount>,
    pub headwind: Option<Amount>,
    pub speed_cap_m_s: Option<f64>,
}

impl Change {
    /// The track as it would have been logged.
    pub(super) fn applied(&self, track: &Track) -> Track {
        let mut track = track.clone();
        if let Some(level) = &self.level {
            let number = track.number_of(level);
            track.level.fill(Some(number));
        }
        if let Some(payload) = self.payload_kg {
            let more: Vec<f64> =
                track.payload.iter().map(|p| p.map_or(0.0, |p| payload.of(p).max(0.0) - p)).collect();
            for (k, more) in more.into_iter().enumerate() {
                track.payload[k] = track.payload[k].map(|p| p + more);
                // Gross weight moves by what the payload moves by; unknown payload under it by what is added.
                let added = if let Amount::Add(kg) = payload { kg } else { more };
                track.gross[k] = track.gross[k].map(|gross| (gross + added).max(1.0));
            }
        }
        if let Some(aux) = self.aux_w {
            for power in track.aux.iter_mut().chain(&mut track.aux_standing).flatten() {
                *power = aux.of(*power).max(0.0);
            }
        }
        if let Some(temperature) = self.temperature {
            for k in 0..track.ambient.len() {
                let before = track.ambient[k];
                let after = match (before, temperature) {
                    (Some(before), _) => Some(temperature.of(before)),
                    (None, Amount::Set(to)) => Some(to),
                    (None, _) => None,
                };
                // A battery follows the air it stands in.
                let moved = before.zip(after).map_or(0.0, |(before, after)| after - before);
                track.battery[k] = track.battery[k].map(|battery| battery + moved);
                track.ambient[k] = after;
            }
            // Cold air is denser.
            track.air.density = (0..track.ambient.len()).map(|k| Air::density_at(&track, k)).collect();
        }
        if let Some(wind) = self.headwind {
            for headwind in &mut track.air.headwind {
                *headwind = Some(wind.of(headwind.unwrap_or(0.0)));
            }
        }
        if let Some(cap) = self.speed_cap_m_s {
            cap_speed(&mut track, cap);
        }
        track
    }
}

/// No faster than the cap, over the same way: each step takes the time its length asks for.
fn cap_speed(track: &mut Track, cap_m_s: f64) {
    let before = track.speed.clone();
    let times = track.time_ns.clone();
    track.speed.iter_mut().for_each(|speed| *speed = speed.min(cap_m_s));
    let mut later_ns = 0;
    for k in 1..times.len() {
        let step_ns = times[k] - times[k - 1];
        let (mean, capped) =
            (f64::midpoint(before[k - 1], before[k]), f64::midpoint(track.speed[k - 1], track.speed[k]));
        if capped > 0.0 && mean > capped {
            later_ns += ((mean / capped - 1.0) * step_ns as f64).round() as i64;
        }
        track.time_ns[k] = times[k] + later_ns;
    }
}
