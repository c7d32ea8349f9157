//! How far the steps of the cascade move with each open value, summed over the segments of a trip that reports cut alike.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};

use super::{Found, kwh};
use crate::kernels::cascade::{STEPS, Swings};
use crate::replay::swings::open_names;

/// Trip, driver, route and level.
type Key<'a> = (usize, [Option<&'a str>; 3]);

impl Found<'_> {
    pub(super) fn step_swings(&self) -> Result<RecordBatch, BatchError> {
        let track = self.track;
        let mut sums: BTreeMap<Key<'_>, Swings> = BTreeMap::new();
        for segment in self.segments {
            let Some(trip) = segment.trip else { continue };
            let at = segment.knots.start;
            let names = [track.driver[at], track.route[at], track.level[at]].map(|name| track.name(name));
            sums.entry((trip, names)).or_default().add(&segment.ledger.swings);
        }
        let names: Vec<&'static str> = open_names(self.sheet).collect();
        let mut rows: Vec<(Key<'_>, &'static str, [[f64; STEPS]; 2])> = Vec::new();
        for (key, swings) in &sums {
            for (name, ends) in names.iter().zip(swings.by_value()) {
                if ends.iter().flatten().any(|moved| *moved != 0.0) {
                    rows.push((*key, name, *ends));
                }
            }
        }
        let text = |at: usize| rows.iter().map(move |(key, ..)| key.1[at]);
        let builder = BatchBuilder::new(&tables::STEP_SWINGS)
            .text("vehicle_id", self.vehicle(&rows))
            .text(
                "trip_id",
                rows.iter().map(|(key, ..)| self.trip_of(Some(key.0)).map(|trip| trip.id.as_str())),
            )
            .text("driver_id", text(0))
            .text("route_id", text(1))
            .text("regen_level", text(2))
            .text("value", rows.iter().map(|(_, name, _)| Some(*name)));
        tables::SWINGS
            .into_iter()
            .enumerate()
            .fold(builder, |builder, (step, ends)| {
                ends.into_iter().enumerate().fold(builder, |builder, (end, name)| {
                    builder.number(name, rows.iter().map(|(.., moved)| kwh(moved[end][step])))
                })
            })
            .finish()
    }
}
