//! Integrals over an interval of functions of speed that are smooth but for a few cuts.

use super::road_load::Interval;

/// Sums `each(speed, seconds)` over `part` of an interval, cut wherever `signature` changes.
///
/// The caller's signature says which branch of its formula holds; within one branch the integrand is a polynomial in
/// speed of the fifth degree at most, for which three-point Gauss is exact, or `curved` says it is not and the piece
/// is cut further, most finely at its ends: roots that vanish lie there or just beyond.
/// Shape    one interval; `part` in shares of its duration
/// Holds    speed linear in time; a branch shorter than 1/4 m/s, below `dense_below_m_s` than 1/16 m/s, may be missed
/// Source   Gauss-Legendre: Abramowitz and Stegun (1964), table 25.4. Cuts: derived
pub(crate) fn sum<S: PartialEq + Copy>(
    interval: &Interval,
    part: (f64, f64),
    dense_below_m_s: f64,
    signature: impl Fn(f64) -> S,
    curved: impl Fn(f64) -> bool,
    mut each: impl FnMut(f64, f64),
) {
    let mut whole = |from: f64, to: f64| {
        let fine =
            if curved(interval.speed_at(f64::midpoint(from, to))) { cuts(interval, from, to) } else { 1 };
        let cut = |at: usize| {
            let share = (1.0 - (std::f64::consts::PI * at as f64 / fine as f64).cos()) / 2.0;
            if at == fine { to } else { from + (to - from) * share }
        };
        let mut start = from;
        for end in (1..=fine).map(cut) {
            gauss(interval, start, end, &mut each);
            start = end;
        }
    };
    let change = interval.speed_end_m_s - interval.speed_start_m_s;
    let border = ((dense_below_m_s - interval.speed_start_m_s) / change).clamp(part.0, part.1);
    // Of a steady speed the border is no number, and one of the two is the whole part.
    let border = if border.is_nan() { part.1 } else { border };
    for (from, to) in [(part.0, border), (border, part.1)] {
        if to > from {
            let dense = interval.speed_at(f64::midpoint(from, to)) < dense_below_m_s;
            let looks_per_m_s = if dense { 16.0 } else { 4.0 };
            pieces(interval, (from, to), looks_per_m_s, &signature, &mut whole);
        }
    }
}

/// Into how many pieces a curved one is cut; speeds below half a metre per second hold no energy worth it.
fn cuts(interval: &Interval, from: f64, to: f64) -> usize {
    let (start, end) = (interval.speed_at(from), interval.speed_at(to));
    let least = start.min(end).max(0.5);
    (((end - start).abs() / (0.05 * least)).ceil() as usize).clamp(6, 64)
}

const GAUSS_NODES: [(f64, f64); 3] =
    [(-0.774_596_669_241_483_4, 5.0 / 9.0), (0.0, 8.0 / 9.0), (0.774_596_669_241_483_4, 5.0 / 9.0)];

/// Speeds change by less than this where one point stands for a stretch. [m/s]
const ONE_POINT_M_S: f64 = 2.0;

/// A sum over all of `part` without looking for cuts: at three points, or at the middle of a short one.
pub(crate) fn uncut(interval: &Interval, (from, to): (f64, f64), mut each: impl FnMut(f64, f64)) {
    let change = interval.speed_end_m_s - interval.speed_start_m_s;
    if change.abs() * (to - from) < ONE_POINT_M_S {
        each(interval.speed_at(f64::midpoint(from, to)), (to - from) * interval.duration_s);
    } else {
        gauss(interval, from, to, &mut each);
    }
}

fn gauss(interval: &Interval, from: f64, to: f64, each: &mut impl FnMut(f64, f64)) {
    let half = (to - from) / 2.0;
    for (node, weight) in GAUSS_NODES {
        each(interval.speed_at(from + half * (1.0 + node)), weight * half * interval.duration_s);
    }
}

/// The pieces within which the signature stays the same, in shares of the interval.
fn pieces<S: PartialEq + Copy>(
    interval: &Interval,
    part: (f64, f64),
    looks_per_m_s: f64,
    signature: impl Fn(f64) -> S,
    mut each: impl FnMut(f64, f64),
) {
    let change = interval.speed_end_m_s - interval.speed_start_m_s;
    if change == 0.0 {
        return each(part.0, part.1);
    }
    let signature = |share: f64| signature(interval.speed_at(share));
    let looks = ((change.abs() * (part.1 - part.0) * looks_per_m_s).ceil() as usize).clamp(2, 512);
    let mut start = part.0;
    let mut from = part.0;
    let mut before = signature(from);
    for look in 1..=looks {
        let to = part.0 + (part.1 - part.0) * look as f64 / looks as f64;
        let after = signature(to);
        while before != after {
            let (cut, beyond) = first_change(from, to, before, &signature);
            if cut <= from {
                break;
            }
            // A branch may begin right at a look, as it does at round speeds.
            each(start, cut.min(to));
            start = cut.min(to);
            if cut >= to {
                break;
            }
            (from, before) = (cut, beyond);
        }
        (from, before) = (to, after);
    }
    each(start, part.1);
}

/// The first change from `same`, which has to be looked for on this side of a change once that is found: where one
/// branch ends others may be short.
fn first_change<S: PartialEq + Copy>(from: f64, to: f64, same: S, signature: &impl Fn(f64) -> S) -> (f64, S) {
    let (cut, beyond) = bisect(from, to, same, signature);
    let probes = [0.25, 0.5, 0.75].map(|share| from + (cut - from) * share);
    match probes.into_iter().find(|probe| signature(*probe) != same) {
        Some(probe) => bisect(from, probe, same, signature),
        None => (cut, beyond),
    }
}

/// A place where the signature is no longer `same`, and the signature there.
fn bisect<S: PartialEq + Copy>(
    mut low: f64,
    mut high: f64,
    same: S,
    signature: &impl Fn(f64) -> S,
) -> (f64, S) {
    let mut beyond = signature(high);
    // To a ten-millionth of the stretch looked at: forces meet where limits cross, and what is booked on the wrong side
    // of such a cut goes with the square of its error.
    for _ in 0..24 {
        let middle = f64::midpoint(low, high);
        let here = signature(middle);
        if here == same {
            low = middle;
        } else {
            (high, beyond) = (middle, here);
        }
    }
    (high, beyond)
}
