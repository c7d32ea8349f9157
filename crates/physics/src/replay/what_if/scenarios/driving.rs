//! Speed and stops as a plan has them, over the way that was driven.

use super::Sums;
use super::window::{Stretch, Window};
use crate::kernels::road_load::Interval;
use crate::replay::what_if::model::{Driven, Modelled};

/// Driving as a plan sees it: equal legs from stop to stop, each speeding up, holding and slowing at fixed rates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Driving {
    pub cruise_m_s: f64,
    pub stops_per_m: f64,
    pub accel_m_s2: f64,
    pub decel_m_s2: f64,
    /// Standing at each stop; `None`: standing stays as driven.
    pub stop_s: Option<f64>,
}

impl Driving {
    /// The way of one trip from stop to stop, in steps of a second.
    pub(super) fn drive(&self, driven: Driven<'_>, window: &Window, is_level_road: bool, sums: &mut Sums) {
        let way: Vec<&Stretch> = window.intervals.iter().filter(|stretch| stretch.is_driving).collect();
        let total_m: f64 = way.iter().map(|stretch| stretch.line.distance_m()).sum();
        if total_m <= 0.0 {
            return;
        }
        let legs = (total_m * self.stops_per_m).round().max(1.0);
        let mut along = Along { way: &way, is_level_road, at: 0, into_m: 0.0 };
        let (mut total, mut driving_s) = (Modelled::default(), 0.0);
        for _ in 0..legs as usize {
            for (duration_s, from, to) in self.leg(total_m / legs) {
                let distance_m = f64::midpoint(from, to) * duration_s;
                let (knot, rise_m) = along.advance(distance_m);
                driving_s += duration_s;
                let interval = Interval { duration_s, speed_start_m_s: from, speed_end_m_s: to, rise_m };
                let setting = driven.setting(knot);
                total.add(&driven.drive(knot, &interval, &setting, 1.0));
            }
            if let (Some(stop_s), Some(stretch)) = (self.stop_s, way.get(along.at.min(way.len() - 1))) {
                let setting = driven.setting(stretch.knot);
                total.duration_s += stop_s;
                sums.standing_j += setting.loads.total_w() * stop_s;
            }
        }
        sums.driving_s = driving_s;
        sums.driving_j = total.net_j;
        sums.recovered_j = total.recovered_j;
    }

    /// Stretches of linear speed of one leg: duration, speed at the start, speed at the end. None longer than a second.
    fn leg(&self, length_m: f64) -> Vec<(f64, f64, f64)> {
        let (up, down) = (self.accel_m_s2, self.decel_m_s2);
        let top = self.cruise_m_s.min((2.0 * length_m * up * down / (up + down)).sqrt());
        let ramps_m = top * top / 2.0 * (1.0 / up + 1.0 / down);
        let phases =
            [(top / up, 0.0, top), ((length_m - ramps_m).max(0.0) / top, top, top), (top / down, top, 0.0)];
        let mut pieces = Vec::new();
        for (duration_s, from, to) in phases {
            let count = duration_s.ceil().max(1.0);
            let speed = |at: f64| from + (to - from) * at / count;
            let piece = |at: u32| (duration_s / count, speed(f64::from(at)), speed(f64::from(at + 1)));
            pieces.extend((0..count as u32).map(piece).filter(|(duration_s, ..)| *duration_s > 0.0));
        }
        pieces
    }
}

/// A place along the driven way.
struct Along<'w> {
    way: &'w [&'w Stretch],
    is_level_road: bool,
    at: usize,
    into_m: f64,
}

impl Along<'_> {
    /// Goes on by a distance: the knot it began at, and the height gained.
    fn advance(&mut self, mut distance_m: f64) -> (usize, f64) {
        let knot = self.way[self.at.min(self.way.len() - 1)].knot;
        let mut rise_m = 0.0;
        while let Some(stretch) = self.way.get(self.at) {
            let length_m = stretch.line.distance_m();
            let left_m = length_m - self.into_m;
            let taken_m = distance_m.min(left_m);
            if length_m > 0.0 && !self.is_level_road {
                rise_m += stretch.line.rise_m * taken_m / length_m;
            }
            distance_m -= taken_m;
            if taken_m < left_m {
                self.into_m += taken_m;
                break;
            }
            (self.at, self.into_m) = (self.at + 1, 0.0);
        }
        (knot, rise_m)
    }
}
