//! How much of a fast log's braking energy is noise of its speed.
//!
//! Braking energy sums one sign only, so zero-mean noise never cancels: it adds. The faster the log, the more, since
//! the same speed error over a tenth of the time is ten times the acceleration. Compared is the flat-road braking
//! energy of the speed as logged with that of its mean over a second, which costs a true stop next to nothing.

use super::track::Track;
use crate::STANDARD_GRAVITY_M_S2;
use crate::kernels::road_load::{Conditions, Interval, integrate};
use crate::truck::Truck;

/// Logs at least this fast are looked at; at 1 Hz the mean over a second is the sample itself. [s]
const FAST_S: f64 = 0.6;
/// Half of the second that is averaged over. [ns]
const HALF_NS: i64 = 500_000_001;

/// Braking energy as logged over that of the one-second mean, for fast logs; 1 where there is nothing to braking.
pub fn ratio(track: &Track, ends: (usize, usize), interval_s: f64, truck: &Truck) -> Option<f64> {
    if interval_s > FAST_S {
        return None;
    }
    let conditions = Conditions {
        mass_kg: truck.mass_empty_kg + truck.payload_kg,
        rotating_mass_kg: truck.rotating_mass_kg,
        rolling_resistance: truck.rolling_resistance,
        drag_area_m2: truck.drag_area_m2,
        air_density_kg_m3: 1.2,
        gravity_m_s2: STANDARD_GRAVITY_M_S2,
        headwind_m_s: 0.0,
    };
    let (mut logged_j, mut smooth_j) = (0.0, 0.0);
    for span in &track.spans {
        let (from, to) = (span.knots.start.max(ends.0), span.knots.end.min(ends.1 + 1));
        if from + 1 < to {
            let smooth = second_means(&track.time_ns[from..to], &track.speed[from..to]);
            logged_j += braking(&track.time_ns[from..to], &track.speed[from..to], &conditions);
            smooth_j += braking(&track.time_ns[from..to], &smooth, &conditions);
        }
    }
    Some(if smooth_j > 0.0 { (logged_j / smooth_j).max(1.0) } else { 1.0 })
}

fn braking(times: &[i64], speeds: &[f64], conditions: &Conditions) -> f64 {
    let steps = times.windows(2).zip(speeds.windows(2));
    steps
        .map(|(time, speed)| {
            let interval = Interval {
                duration_s: (time[1] - time[0]) as f64 * 1e-9,
                speed_start_m_s: speed[0],
                speed_end_m_s: speed[1],
                rise_m: 0.0,
            };
            integrate(conditions, &interval).braking_j
        })
        .sum()
}

/// Means over a second around each sample; a standstill stays one.
fn second_means(times: &[i64], speeds: &[f64]) -> Vec<f64> {
    let (mut first, mut next, mut sum) = (0, 0, 0.0);
    let mut means = Vec::with_capacity(speeds.len());
    for (at, time) in times.iter().enumerate() {
        while next < times.len() && times[next] - time <= HALF_NS {
            sum += speeds[next];
            next += 1;
        }
        while time - times[first] > HALF_NS {
            sum -= speeds[first];
            first += 1;
        }
        means.push(if speeds[at] > 0.0 { (sum / (next - first) as f64).max(0.0) } else { 0.0 });
    }
    means
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_of_a_steady_and_a_rising_speed() {
        let times: Vec<i64> = (0..50).map(|i| i * 100_000_000).collect();
        assert!(second_means(&times, &[7.0; 50]).iter().all(|v| (v - 7.0).abs() < 1e-12));
        let rising: Vec<f64> = (1..=50).map(f64::from).collect();
        let means = second_means(&times, &rising);
        assert!((means[25] - rising[25]).abs() < 1e-12, "a symmetric mean keeps a ramp");
    }
}
