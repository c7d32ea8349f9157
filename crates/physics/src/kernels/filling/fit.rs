//! A drawn window, made to meet the gap it stands in for.

use super::library::Library;
use super::windows::{Gap, STANDING_M_S};

/// Most by which the middle of a window is made faster or slower as a share before all of it is moved instead.
const BEND: f64 = 0.6;

/// The speeds of a window that begin and end as the gap does and go as far. [m/s]
///
/// v(s) = w(s) + a(s) (v0 - w0) + b(s) (v1 - w1), s from 0 to 1;  a falls from 1 to 0 and b rises from 0 to 1, each over
/// the part of the window that lies on its side of a standstill within;  then v (1 + β 4 s (1 - s)) with β so that the
/// distance is met. Where |β| > 0.6 would be needed, what is still missing is added as γ s (1 - s), or what is too much
/// taken from every speed within by one factor.
/// Shape    one more speed than the window has seconds, evenly over the gap
/// Sign     0 or more; a standstill within stays one unless the distance forbids it
/// Missing  way unknown -> only the ends are met
/// Errors   none. A way shorter than that of standing between the ends cannot be met: the speeds within are 0 then
/// Holds    speed linear over each step
/// Source   derived. Check: tests below
pub fn fit(library: &Library, number: u32, gap: &Gap, way_m: Option<f64>) -> Vec<f64> {
    let Some(seconds) = gap.seconds() else { return vec![gap.start_m_s, gap.end_m_s] };
    let window = library.window(number, seconds);
    let mut speeds = meet_ends(window, gap.start_m_s, gap.end_m_s);
    if let Some(way_m) = way_m {
        meet_distance(&mut speeds, way_m * seconds as f64 / gap.duration_s);
    }
    speeds
}

fn meet_ends(window: &[f32], start: f64, end: f64) -> Vec<f64> {
    let last = window.len() - 1;
    let (more_start, more_end) = (start - f64::from(window[0]), end - f64::from(window[last]));
    let stands = |k: &usize| f64::from(window[*k]) <= STANDING_M_S;
    // Where it stands within, the start is moved before that and the end after it.
    let first_stand = (1..last).find(stands).unwrap_or(last) as f64;
    let last_stand = (1..last).rev().find(stands).unwrap_or(0) as f64;
    let fitted = |k: usize| {
        let at = k as f64;
        let a = (1.0 - at / first_stand).max(0.0);
        let b = ((at - last_stand) / (last as f64 - last_stand)).max(0.0);
        (f64::from(window[k]) + a * more_start + b * more_end).max(0.0)
    };
    let mut speeds: Vec<f64> = (0..=last).map(fitted).collect();
    (speeds[0], speeds[last]) = (start, end);
    speeds
}

/// Trapezoids of unit length.
fn distance(speeds: &[f64]) -> f64 {
    let last = speeds.len() - 1;
    speeds[1..last].iter().sum::<f64>() + f64::midpoint(speeds[0], speeds[last])
}

fn meet_distance(speeds: &mut [f64], wanted: f64) {
    let last = speeds.len() - 1;
    if last < 2 {
        return;
    }
    let arch = |k: usize| {
        let s = k as f64 / last as f64;
        4.0 * s * (1.0 - s)
    };
    let missing = wanted - distance(speeds);
    let bent: f64 = (1..last).map(|k| arch(k) * speeds[k]).sum();
    if bent > 0.0 {
        let beta = (missing / bent).clamp(-BEND, BEND);
        (1..last).for_each(|k| speeds[k] *= 1.0 + beta * arch(k));
    }
    let missing = wanted - distance(speeds);
    if missing > 0.0 {
        let arches: f64 = (1..last).map(arch).sum();
        (1..last).for_each(|k| speeds[k] += missing / arches * arch(k));
    } else {
        let inner: f64 = speeds[1..last].iter().sum();
        if inner > 0.0 {
            let factor = (1.0 + missing / inner).max(0.0);
            speeds[1..last].iter_mut().for_each(|speed| *speed *= factor);
        }
    }
}
