//! Where the vehicle was at each knot: its fixes, and between two of them the straight line, by distance driven.

use std::ops::Range;

use h3o::LatLng;

use super::track::Track;

/// Fixes farther apart are not joined: a straight line says little of the road in between. A log of 60 s on a fast road
/// stays below. [m] Common practice, no source, as are the others here.
const JOINED_M: f64 = 2000.0;
/// A straight line is no longer than the way, but for the errors of both fixes and of the wheel speed.
const STRAIGHT_M: f64 = 100.0;
const STRAIGHT_FRAC: f64 = 1.2;
/// Nor is the way so much longer than the line: that was a loop nobody saw.
const WINDING_M: f64 = 500.0;
const WINDING_FRAC: f64 = 2.0;
/// A fix holds this far beyond, where no other follows. [m]
const HELD_M: f64 = 100.0;

/// Latitude and longitude in degrees.
pub type Position = (f64, f64);

/// The position at each knot, `None` where no fix is near. A fix that no neighbour agrees with is left out.
pub fn way(track: &Track) -> Vec<Option<Position>> {
    let mut way = vec![None; track.time_ns.len()];
    for span in &track.spans {
        fill(track, &span.knots, &mut way);
    }
    way
}

#[derive(Clone, Copy)]
struct Fix {
    knot: usize,
    at: Position,
    driven_m: f64,
}

fn fill(track: &Track, knots: &Range<usize>, way: &mut [Option<Position>]) {
    let driven: Vec<f64> = track.distances(knots).collect();
    let fixes = trusted(&fresh(track, knots, &driven));
    for pair in fixes.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        if !joined(a, b) {
            continue;
        }
        for knot in a.knot..=b.knot {
            let length = b.driven_m - a.driven_m;
            let share = if length > 0.0 { (driven[knot - knots.start] - a.driven_m) / length } else { 0.0 };
            way[knot] = Some(between(a.at, b.at, share));
        }
    }
    for fix in &fixes {
        way[fix.knot].get_or_insert(fix.at);
        let near = |knot: &usize| (driven[*knot - knots.start] - fix.driven_m).abs() <= HELD_M;
        let onward = (fix.knot + 1..knots.end).take_while(near);
        let open: Vec<usize> = onward.take_while(|knot| way[*knot].is_none()).collect();
        open.into_iter().for_each(|knot| way[knot] = Some(fix.at));
        let back = (knots.start..fix.knot).rev().take_while(near);
        let open: Vec<usize> = back.take_while(|knot| way[*knot].is_none()).collect();
        open.into_iter().for_each(|knot| way[knot] = Some(fix.at));
    }
}

/// Fixes without those a logger repeats: a position that stands still while the wheels turn is an old one.
fn fresh(track: &Track, knots: &Range<usize>, driven: &[f64]) -> Vec<Fix> {
    let mut fixes: Vec<Fix> = Vec::new();
    for knot in knots.clone() {
        let Some(at) = track.fixes[knot].filter(|(lat, lon)| LatLng::new(*lat, *lon).is_ok()) else { continue };
        if fixes.last().is_none_or(|last| last.at != at) {
            fixes.push(Fix { knot, at, driven_m: driven[knot - knots.start] });
        }
    }
    fixes
}

/// Without a fix that the next cannot be reached from, where the one before agrees with the one after.
fn trusted(fixes: &[Fix]) -> Vec<Fix> {
    let mut kept: Vec<Fix> = Vec::new();
    for (place, fix) in fixes.iter().enumerate() {
        let strays = kept.last().is_some_and(|before| {
            !joined(*before, *fix) && fixes.get(place + 1).is_some_and(|next| joined(*before, *next))
        });
        // The first has none before: its two followers agree and it does not.
        let strays_first = kept.is_empty()
            && fixes
                .get(place + 1)
                .zip(fixes.get(place + 2))
                .is_some_and(|(next, after)| !joined(*fix, *next) && joined(*next, *after));
        if !strays && !strays_first {
            kept.push(*fix);
        }
    }
    kept
}

fn joined(a: Fix, b: Fix) -> bool {
    let (Ok(here), Ok(there)) = (LatLng::new(a.at.0, a.at.1), LatLng::new(b.at.0, b.at.1)) else {
        return false;
    };
    let (line_m, way_m) = (here.distance_m(there), b.driven_m - a.driven_m);
    line_m <= JOINED_M
        && line_m <= STRAIGHT_FRAC * way_m + STRAIGHT_M
        && way_m <= WINDING_FRAC * line_m + WINDING_M
}

/// A point of the straight line, over the date line the short way.
pub fn between(a: Position, b: Position, share: f64) -> Position {
    let east = (b.1 - a.1 + 540.0).rem_euclid(360.0) - 180.0;
    let lon = (a.1 + east * share + 540.0).rem_euclid(360.0) - 180.0;
    // Rounding of the turn must not move a place that needs none.
    let lon = if (a.1 + east * share).abs() <= 180.0 { a.1 + east * share } else { lon };
    (a.0 + (b.0 - a.0) * share, lon)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::replay::track::{GradeBasis, Span};

    /// A drive north at 10 m/s with fixes at some knots, one second apart.
    fn drive(fixes: &[Option<Position>]) -> Track {
        let n = fixes.len();
        Track {
            time_ns: (0..n as i64).map(|s| s * 1_000_000_000).collect(),
            speed: vec![10.0; n],
            fixes: fixes.to_vec(),
            spans: vec![Span {
                knots: 0..n,
                grade: GradeBasis::None,
                grade_error: None,
                passes: None,
                gap_before_s: 0.0,
                frozen_before_s: 0.0,
            }],
            ..Track::default()
        }
    }

    /// Degrees of latitude per metre.
    const NORTH: f64 = 1.0 / 111_195.0;

    fn at(metres: f64) -> Position {
        (50.0 + metres * NORTH, 8.0)
    }

    #[test]
    fn held_fixes_give_way_to_the_line_between_fresh_ones() {
        let mut fixes = vec![Some(at(0.0)); 10];
        fixes.push(Some(at(100.0)));
        let way = way(&drive(&fixes));
        for (knot, place) in way.iter().enumerate() {
            let (lat, _) = place.expect("between two fixes");
            assert!((lat - at(10.0 * knot as f64).0).abs() < 1e-9, "{knot}: {lat}");
        }
    }

    #[test]
    fn a_stray_fix_is_left_out_and_no_fix_gives_no_position() {
        let mut fixes: Vec<_> = (0..21).map(|s| Some(at(10.0 * f64::from(s)))).collect();
        fixes[10] = Some((0.0, 0.0));
        let found = way(&drive(&fixes));
        assert!((found[10].expect("bridged").0 - at(100.0).0).abs() < 1e-9);
        assert!(way(&drive(&[None; 5])).iter().all(Option::is_none));
    }

    #[test]
    fn a_fix_does_not_hold_for_ever() {
        let mut fixes = vec![None; 60];
        fixes[0] = Some(at(0.0));
        let found = way(&drive(&fixes));
        assert!(found[10].is_some() && found[11].is_none());
    }

    #[test]
    fn the_line_crosses_the_date_line_the_short_way() {
        let (_, lon) = between((0.0, 179.9), (0.0, -179.9), 0.75);
        assert!((lon + 179.95).abs() < 1e-9, "{lon}");
    }
}
