//! The comparison as an Arrow batch. Joules become kilowatt hours here.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, JOULES_PER_KWH, METRES_PER_MILE, tables};

use super::model::Modelled;
use super::{Change, Pair};
use crate::replay::track::Track;
use crate::replay::trips::Trip;

pub struct Found<'a> {
    pub vehicle_id: &'a str,
    pub track: &'a Track,
    pub trips: &'a [Trip],
    pub change: &'a Change,
    pub nominal: &'a [Pair],
    pub ends: &'a [Vec<Pair>],
    pub lost_coasting_j: &'a [Option<f64>],
    pub capacities_j: (Option<f64>, Option<f64>),
}

impl Found<'_> {
    pub fn build(&self) -> Result<RecordBatch, BatchError> {
        let trips = || self.trips.iter();
        let driven = |of: fn(&Modelled) -> f64| self.nominal.iter().map(move |p| of(&p.0) / JOULES_PER_KWH);
        let changed = |of: fn(&Modelled) -> f64| self.nominal.iter().map(move |p| of(&p.1) / JOULES_PER_KWH);
        let low = |of: fn(&Modelled) -> f64| self.ends_of(of, f64::min);
        let high = |of: fn(&Modelled) -> f64| self.ends_of(of, f64::max);
        let kinematics = if self.change.speed_cap_m_s.is_some() { "re-timed" } else { "as driven" };
        BatchBuilder::new(&tables::WHAT_IF)
            .text("vehicle_id", trips().map(|_| Some(self.vehicle_id)))
            .text("trip_id", trips().map(|t| Some(t.id.as_str())))
            .time("time_start_ns", trips().map(|t| self.track.time_ns[t.ends.0]))
            .flag("clock_relative", trips().map(|t| self.track.relative[t.ends.0]))
            .text("driver_id", trips().map(|t| self.track.name(t.driver)))
            .text("route_id", trips().map(|t| self.track.name(t.route)))
            .text("change", trips().map(|_| Some(self.change.text.as_str())))
            .text("kinematics", trips().map(|_| Some(kinematics)))
            .number("distance_m", trips().map(|t| t.ledger.distance_m))
            .number("duration_driven_s", self.nominal.iter().map(|p| p.0.duration_s))
            .number("duration_changed_s", self.nominal.iter().map(|p| p.1.duration_s))
            .number("energy_tractive_driven_kwh", driven(|m| m.tractive_j))
            .number("energy_tractive_changed_kwh", changed(|m| m.tractive_j))
            .number("energy_braking_driven_kwh", driven(|m| m.braking_j))
            .number("energy_braking_changed_kwh", changed(|m| m.braking_j))
            .number("energy_recovered_driven_kwh", driven(|m| m.recovered_j))
            .number("energy_recovered_changed_kwh", changed(|m| m.recovered_j))
            .number("energy_recovered_change_low_kwh", low(|m| m.recovered_j))
            .number("energy_recovered_change_high_kwh", high(|m| m.recovered_j))
            .number("energy_auxiliary_driven_kwh", driven(|m| m.aux_j))
            .number("energy_auxiliary_changed_kwh", changed(|m| m.aux_j))
            .number("energy_net_driven_kwh", driven(|m| m.net_j))
            .number("energy_net_changed_kwh", changed(|m| m.net_j))
            .number("energy_net_change_low_kwh", low(|m| m.net_j))
            .number("energy_net_change_high_kwh", high(|m| m.net_j))
            .number(
                "energy_lost_coasting_kwh",
                self.lost_coasting_j.iter().map(|j| j.map(|j| j / JOULES_PER_KWH)),
            )
            .number("consumption_driven_kwh_mi", self.consumption(|p| p.0.net_j))
            .number("consumption_changed_kwh_mi", self.consumption(|p| p.1.net_j))
            .number("infeasible_s", self.nominal.iter().map(|p| p.1.infeasible_s))
            .number("soc_end_driven_frac", self.with_soc(|p| p.0.soc_end))
            .number("soc_end_changed_frac", self.with_soc(|p| p.1.soc_end))
            .number("soc_least_changed_frac", self.with_soc(|p| p.1.soc_least))
            .number("range_driven_mi", self.range(self.capacities_j.0, |p| p.0.net_j))
            .number("range_changed_mi", self.range(self.capacities_j.1, |p| p.1.net_j))
            .finish()
    }

    /// The difference changed less driven at the end that `pick` picks. [kWh]
    fn ends_of(&self, of: fn(&Modelled) -> f64, pick: fn(f64, f64) -> f64) -> Vec<f64> {
        let difference = |pair: &Pair| (of(&pair.1) - of(&pair.0)) / JOULES_PER_KWH;
        let trip = |(at, pair): (usize, &Pair)| {
            self.ends.iter().map(|end| difference(&end[at])).fold(difference(pair), pick)
        };
        self.nominal.iter().enumerate().map(trip).collect()
    }

    fn with_soc(&self, of: fn(&Pair) -> Option<f64>) -> Vec<Option<f64>> {
        let known = self.capacities_j.0.is_some() && self.capacities_j.1.is_some();
        self.nominal.iter().map(|pair| of(pair).filter(|_| known)).collect()
    }

    fn consumption(&self, of: fn(&Pair) -> f64) -> Vec<Option<f64>> {
        let miles = self.trips.iter().map(|trip| trip.ledger.distance_m / METRES_PER_MILE);
        let each = self.nominal.iter().zip(miles);
        each.map(|(pair, miles)| (miles > 0.0).then(|| of(pair) / JOULES_PER_KWH / miles)).collect()
    }

    fn range(&self, capacity_j: Option<f64>, of: fn(&Pair) -> f64) -> Vec<Option<f64>> {
        let miles = |consumption: &Option<f64>| {
            let (consumption, capacity) = ((*consumption)?, capacity_j? / JOULES_PER_KWH);
            (consumption > 0.0 && capacity > 0.0).then(|| capacity / consumption)
        };
        self.consumption(of).iter().map(miles).collect()
    }
}
