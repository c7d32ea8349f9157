//! What was driven on each route: whole numbers, so that they add up to the same in any order.

use std::collections::{BTreeMap, BTreeSet};

use super::assign::Verdict;
use super::found::Routes;
use super::rounds::Round;
use crate::places::{Ends, Places};

/// Lengths of rounds are counted in classes of 2 %.
const CLASS: f64 = 1.02;

/// By number of the route. Grows with routes, not with trips.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Driven {
    pub(super) routes: BTreeMap<usize, OnRoute>,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct OnRoute {
    pub rounds: u64,
    pub trips: u64,
    pub trips_found: u64,
    pub days: u64,
    pub vehicles: u64,
    /// 1e-6 mile.
    distance: u64,
    lengths: BTreeMap<i32, u64>,
    /// 1e-9.
    likeness: u64,
    compared: u64,
    starts: BTreeMap<usize, u64>,
    ends: BTreeMap<usize, u64>,
}

impl Driven {
    pub(super) fn of(
        routes: &Routes,
        rounds: &[Round<'_>],
        verdicts: &[Verdict],
        ends: &Ends<'_>,
        places: &Places,
    ) -> Self {
        let mut driven = Self::default();
        let mut days: BTreeMap<usize, BTreeSet<&str>> = BTreeMap::new();
        for (round, verdict) in rounds.iter().zip(verdicts) {
            let Some(route) = verdict.route.filter(|route| *route < routes.routes.len()) else { continue };
            let on = driven.routes.entry(route).or_default();
            on.vehicles = 1;
            on.rounds += 1;
            on.trips += round.trips.len() as u64;
            on.trips_found += if verdict.basis == "log" { 0 } else { round.trips.len() as u64 };
            on.distance += (round.distance_mi.max(0.0) * 1e6).round() as u64;
            let class = (round.distance_mi.max(1e-3).ln() / CLASS.ln()).floor() as i32;
            *on.lengths.entry(class).or_default() += 1;
            if let Some(likeness) = verdict.likeness {
                on.likeness += (likeness * 1e9).round() as u64;
                on.compared += 1;
            }
            let place = |at: Option<_>| at.and_then(|at| places.at(at));
            let (first, last) = (round.trips.start, round.trips.end.saturating_sub(1));
            place(ends.start[first]).into_iter().for_each(|at| *on.starts.entry(at).or_default() += 1);
            place(ends.end[last]).into_iter().for_each(|at| *on.ends.entry(at).or_default() += 1);
            match round.day {
                Some(day) => {
                    days.entry(route).or_default().insert(day);
                }
                None => on.days += 1,
            }
        }
        for (route, days) in days {
            driven.routes.entry(route).or_default().days += days.len() as u64;
        }
        driven
    }

    pub fn add(&mut self, other: &Self) {
        for (route, on) in &other.routes {
            self.routes.entry(*route).or_default().add(on);
        }
    }
}

impl OnRoute {
    fn add(&mut self, other: &Self) {
        self.rounds += other.rounds;
        self.trips += other.trips;
        self.trips_found += other.trips_found;
        self.days += other.days;
        self.vehicles += other.vehicles;
        self.distance += other.distance;
        self.likeness += other.likeness;
        self.compared += other.compared;
        let counts = |sums: &mut BTreeMap<usize, u64>, more: &BTreeMap<usize, u64>| {
            more.iter().for_each(|(at, count)| *sums.entry(*at).or_default() += count);
        };
        counts(&mut self.starts, &other.starts);
        counts(&mut self.ends, &other.ends);
        other.lengths.iter().for_each(|(class, count)| *self.lengths.entry(*class).or_default() += count);
    }

    pub fn distance_mi(&self) -> f64 {
        self.distance as f64 * 1e-6
    }

    /// In the middle of its class.
    pub fn round_median_mi(&self) -> Option<f64> {
        let mut below = 0;
        for (class, count) in &self.lengths {
            below += count;
            if 2 * below >= self.rounds {
                return Some(CLASS.powf(f64::from(*class) + 0.5));
            }
        }
        None
    }

    pub fn likeness(&self) -> Option<f64> {
        (self.compared > 0).then(|| self.likeness as f64 * 1e-9 / self.compared as f64)
    }

    /// The place most rounds begin at, the first of equals.
    pub fn start(&self) -> Option<usize> {
        most(&self.starts)
    }

    pub fn end(&self) -> Option<usize> {
        most(&self.ends)
    }
}

fn most(counts: &BTreeMap<usize, u64>) -> Option<usize> {
    counts.iter().max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0))).map(|(at, _)| *at)
}
