//! Visits by spot: counts and whole numbers, so that they add up to the same in any order.

use std::collections::{BTreeMap, BTreeSet};

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, tables, text_at};

use super::{Position, SPOT, Visit, point, visits};

/// Lengths are counted in classes, each twice as long as the one before, from one minute to 32 days.
const CLASSES: usize = 16;
const SHORTEST_CLASS_S: f64 = 60.0;

/// One spot and who stood there.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Spot {
    pub visits: u64,
    pub nights: u64,
    pub trip_ends: u64,
    pub vehicles: BTreeSet<String>,
    /// Milliseconds, so that sums do not depend on their order.
    standing_ms: u64,
    /// Sums of positions in 1e-7 degree, about a centimetre.
    lat_sum: i64,
    lon_sum: i64,
    lengths: [u64; CLASSES],
}

/// Where vehicles stood. Grows with the spots, not with the visits.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Dwells {
    pub(super) spots: BTreeMap<u64, Spot>,
}

impl Dwells {
    /// The visits of one vehicle.
    pub fn of(trips: &RecordBatch, stops: &RecordBatch) -> Result<Self, BatchError> {
        let vehicles = BatchView::new(&tables::TRIPS, trips).texts("vehicle_id")?;
        let mut dwells = Self::default();
        for visit in visits(trips, stops)? {
            if let Some(place) = point(visit.at) {
                dwells.spots.entry(u64::from(place.to_cell(SPOT))).or_default().visit(&visit);
            }
        }
        if let Some(vehicle) = (trips.num_rows() > 0).then(|| text_at(vehicles, 0)).flatten() {
            dwells.spots.values_mut().for_each(|spot| spot.vehicles = BTreeSet::from([vehicle.to_owned()]));
        }
        Ok(dwells)
    }

    pub fn add(&mut self, other: &Self) {
        for (cell, spot) in &other.spots {
            self.spots.entry(*cell).or_default().add(spot);
        }
    }
}

impl Spot {
    fn visit(&mut self, visit: &Visit) {
        self.visits += 1;
        self.nights += u64::from(visit.is_night);
        self.trip_ends += u64::from(visit.ends_trip);
        self.lat_sum += (visit.at.0 * 1e7).round() as i64;
        self.lon_sum += (visit.at.1 * 1e7).round() as i64;
        if let Some(length_s) = visit.length_s {
            self.standing_ms += (length_s * 1e3).round() as u64;
            let class = (length_s / SHORTEST_CLASS_S).max(1.0).log2() as usize;
            self.lengths[class.min(CLASSES - 1)] += 1;
        }
    }

    pub fn add(&mut self, other: &Self) {
        self.visits += other.visits;
        self.nights += other.nights;
        self.trip_ends += other.trip_ends;
        self.vehicles.extend(other.vehicles.iter().cloned());
        self.standing_ms += other.standing_ms;
        self.lat_sum += other.lat_sum;
        self.lon_sum += other.lon_sum;
        self.lengths.iter_mut().zip(other.lengths).for_each(|(sum, count)| *sum += count);
    }

    /// Mean position of the visits.
    pub fn middle(&self) -> Position {
        let visits = self.visits.max(1) as f64;
        (self.lat_sum as f64 / visits * 1e-7, self.lon_sum as f64 / visits * 1e-7)
    }

    pub fn standing_s(&self) -> f64 {
        self.standing_ms as f64 * 1e-3
    }

    /// Median length, in the middle of its class. [s]
    pub fn median_s(&self) -> Option<f64> {
        let known: u64 = self.lengths.iter().sum();
        let mut below = 0;
        for (class, count) in self.lengths.iter().enumerate() {
            below += count;
            if *count > 0 && 2 * below >= known {
                return Some(SHORTEST_CLASS_S * f64::from(1 << class) * std::f64::consts::SQRT_2);
            }
        }
        None
    }
}

#[cfg(test)]
impl Spot {
    /// Visited so often, for no known time.
    pub fn visited(at: Position, visits: u64) -> Self {
        let mut spot = Self::default();
        let visit = Visit { at, length_s: None, is_night: false, ends_trip: true, trip: 0 };
        (0..visits).for_each(|_| spot.visit(&visit));
        spot
    }
}
