//! What lies along one round: customers, traffic lights, lower limits, the depot's gate.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use crate::place::routes::Route;

/// Nobody looks further ahead.
const SIGHT_M: f64 = 260.0;
/// A light that turns too late to stop for is driven through on amber.
const AMBER_M_S2: f64 = 2.6;
const VISIT_SHARE: f64 = 0.85;

/// What a stop was made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StopKind {
    Customer,
    Light,
    Depot,
}

enum Kind {
    Stop(StopKind),
    /// Red from when it is seen at `seen_m`, for `red_s`; `until_s` once seen.
    RedLight {
        seen_m: f64,
        red_s: f64,
        until_s: Option<f64>,
    },
    Slow {
        speed_m_s: f64,
    },
}

struct Event {
    at_m: f64,
    kind: Kind,
}

/// What a driver sees ahead.
#[derive(Clone, Copy)]
pub struct Ahead {
    pub needed_m_s2: f64,
    /// The next place to stand at and how far it is.
    pub stop: Option<(StopKind, f64)>,
}

/// The events of one round in the order in which they are met.
pub struct Round {
    events: Vec<Event>,
    next: usize,
    /// The stop that was nearest at the last look.
    at_hand: usize,
    pub customers: usize,
}

impl Round {
    /// Draws which customers are served and which lights are red today.
    pub fn new(route: &Route, speed_share: f64, rng: &mut ChaCha8Rng) -> Round {
        let mut events = Vec::new();
        for &at_m in &route.customers_m {
            if rng.random_bool(VISIT_SHARE) {
                events.push(Event { at_m, kind: Kind::Stop(StopKind::Customer) });
            }
        }
        let customers = events.len();
        for &at_m in &route.lights_m {
            if let Some(kind) = draw_light(rng) {
                events.push(Event { at_m, kind });
            }
        }
        for drop in &route.road.drops {
            let speed_m_s = drop.speed_m_s * speed_share;
            events.push(Event { at_m: drop.at_m, kind: Kind::Slow { speed_m_s } });
        }
        events.push(Event { at_m: route.road.length_m() - 1.0, kind: Kind::Stop(StopKind::Depot) });
        events.sort_by(|a, b| a.at_m.total_cmp(&b.at_m));
        Round { events, next: 0, at_hand: 0, customers }
    }

    /// Looks ahead from a place at a time, letting go of what has been passed or has turned green.
    pub fn look(&mut self, along_m: f64, speed_m_s: f64, now_s: f64) -> Ahead {
        while self.events.get(self.next).is_some_and(|event| is_passed(event, along_m, now_s)) {
            self.next += 1;
        }
        let mut ahead = Ahead { needed_m_s2: 0.0, stop: None };
        for (index, event) in self.events.iter_mut().enumerate().skip(self.next) {
            let away_m = event.at_m - along_m;
            if away_m > SIGHT_M {
                break;
            }
            let (end_m_s, stop) = match &mut event.kind {
                Kind::Stop(kind) => (0.0, Some(*kind)),
                Kind::Slow { speed_m_s } => (*speed_m_s, None),
                Kind::RedLight { seen_m, red_s, until_s } => {
                    if until_s.is_none() && away_m < *seen_m {
                        let too_late = speed_m_s * speed_m_s / (2.0 * away_m.max(0.5)) > AMBER_M_S2;
                        *until_s = Some(if too_late { now_s } else { now_s + *red_s });
                    }
                    match until_s {
                        Some(until_s) if *until_s > now_s => (0.0, Some(StopKind::Light)),
                        _ => continue,
                    }
                }
            };
            let spare = (speed_m_s * speed_m_s - end_m_s * end_m_s) / (2.0 * away_m.max(0.3));
            ahead.needed_m_s2 = ahead.needed_m_s2.max(spare);
            if let (Some(kind), None) = (stop, ahead.stop) {
                ahead.stop = Some((kind, away_m));
                self.at_hand = index;
            }
        }
        ahead
    }

    /// The stop at hand has been made: drops it. Says how long a light stays red.
    pub fn finish_stop(&mut self, now_s: f64) -> f64 {
        match self.events.remove(self.at_hand).kind {
            Kind::RedLight { until_s: Some(until_s), .. } => (until_s - now_s).max(0.0),
            _ => 0.0,
        }
    }
}

/// Most lights are green on arrival; some turn red in good time, some late.
fn draw_light(rng: &mut ChaCha8Rng) -> Option<Kind> {
    let red_s = rng.random_range(6.0..42.0);
    match rng.random_range(0.0..1.0) {
        share if share < 0.48 => None,
        share if share < 0.85 => {
            Some(Kind::RedLight { seen_m: rng.random_range(90.0..230.0), red_s, until_s: None })
        }
        _ => Some(Kind::RedLight { seen_m: rng.random_range(32.0..60.0), red_s, until_s: None }),
    }
}

fn is_passed(event: &Event, along_m: f64, now_s: f64) -> bool {
    match event.kind {
        Kind::Stop(_) => false,
        Kind::Slow { .. } => along_m > event.at_m,
        Kind::RedLight { until_s: Some(until_s), .. } => until_s <= now_s,
        Kind::RedLight { until_s: None, .. } => along_m > event.at_m,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn round(events: Vec<Event>) -> Round {
        Round { events, next: 0, at_hand: 0, customers: 0 }
    }

    fn light(at_m: f64, seen_m: f64) -> Event {
        Event { at_m, kind: Kind::RedLight { seen_m, red_s: 20.0, until_s: None } }
    }

    #[test]
    fn a_light_seen_in_time_is_a_stop_until_it_turns_green() {
        let mut round = round(vec![light(200.0, 150.0)]);
        assert!(round.look(0.0, 10.0, 0.0).stop.is_none());
        let ahead = round.look(100.0, 10.0, 10.0);
        assert!((ahead.needed_m_s2 - 0.5).abs() < 1e-12 && ahead.stop == Some((StopKind::Light, 100.0)));
        assert!((round.finish_stop(25.0) - 5.0).abs() < 1e-12);
        assert!(round.look(100.0, 10.0, 26.0).stop.is_none());
    }

    #[test]
    fn a_light_that_turns_too_late_is_driven_through() {
        let mut round = round(vec![light(200.0, 30.0)]);
        assert!(round.look(180.0, 14.0, 10.0).stop.is_none());
    }

    #[test]
    fn the_sharpest_need_ahead_counts() {
        let slow = Event { at_m: 50.0, kind: Kind::Slow { speed_m_s: 5.0 } };
        let stop = Event { at_m: 200.0, kind: Kind::Stop(StopKind::Customer) };
        let ahead = round(vec![slow, stop]).look(0.0, 10.0, 0.0);
        assert!((ahead.needed_m_s2 - 0.75).abs() < 1e-12);
        assert_eq!(ahead.stop, Some((StopKind::Customer, 200.0)));
    }
}
