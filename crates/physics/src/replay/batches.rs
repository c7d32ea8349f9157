//! What was found, as Arrow batches. Joules become kilowatt hours here, once.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, JOULES_PER_KWH, tables};

use super::approaches::{Approach, Place};
use super::auxiliaries::{AuxBasis, Loads};
use super::events::Event;
use super::ledger::Ledger;
use super::motion::Kind;
use super::nodes::Node;
use super::pieces::Segment;
use super::track::{GradeBasis, Track};
use super::trips::{Trip, explained};
use super::weather::Air;
use super::{PhysicsError, Replay, levels};
use crate::kernels::cascade::{Cascade, Limit};
use crate::truck::Sheet;

/// Battery power must be known for this share of a stretch to call its figures measured.
const MEASURED_SHARE: f64 = 0.95;

pub struct Found<'a> {
    pub vehicle_id: &'a str,
    pub track: &'a Track,
    pub sheet: &'a Sheet,
    pub segments: &'a [Segment],
    pub events: &'a [Event],
    pub trips: &'a [Trip],
    pub approaches: &'a [Approach],
    pub nodes: &'a [Node],
    pub level_fits: &'a [levels::Level],
}

fn kwh(joules: f64) -> f64 {
    // Adding zero turns a negative zero into zero, which prints better and means the same.
    joules / JOULES_PER_KWH + 0.0
}

impl Found<'_> {
    pub fn build(&self, service_day: &dyn Fn(i64) -> String) -> Result<Replay, PhysicsError> {
        let day = |knot: usize| (!self.track.relative[knot]).then(|| service_day(self.track.time_ns[knot]));
        let trip_days: Vec<Option<String>> = self.trips.iter().map(|trip| day(trip.ends.0)).collect();
        Ok(Replay {
            trips: self.trips(&trip_days)?,
            segments: self.segments(&trip_days, &day)?,
            braking_events: self.braking_events()?,
            stops: self.stops()?,
            charges: self.charges()?,
            approaches: self.approaches()?,
            level_fits: levels::batch(self.vehicle_id, self.level_fits)?,
        })
    }

    fn trip_of(&self, number: Option<usize>) -> Option<&Trip> {
        self.trips.get(number?)
    }

    fn vehicle<T>(&self, rows: &[T]) -> Vec<Option<&str>> {
        vec![Some(self.vehicle_id); rows.len()]
    }

    fn lat(&self, knot: usize) -> Option<f64> {
        self.track.position[knot].map(|p| p.0)
    }

    fn lon(&self, knot: usize) -> Option<f64> {
        self.track.position[knot].map(|p| p.1)
    }

    fn trips(&self, days: &[Option<String>]) -> Result<RecordBatch, BatchError> {
        let (track, trips) = (self.track, self.trips);
        let each = || trips.iter();
        let ledgers = |pick: fn(&Ledger) -> f64| each().map(move |t| pick(&t.ledger)).collect::<Vec<_>>();
        let band: Vec<_> = each().map(|t| t.claim.band(kwh(t.ledger.road.braking_j))).collect();
        BatchBuilder::new(&tables::TRIPS)
            .text("vehicle_id", self.vehicle(trips))
            .text("trip_id", each().map(|t| Some(t.id.as_str())))
            .time("time_start_ns", each().map(|t| track.time_ns[t.ends.0]))
            .time("time_end_ns", each().map(|t| track.time_ns[t.ends.1]))
            .flag("clock_relative", each().map(|t| track.relative[t.ends.0]))
            .text("service_day", days.iter().map(Option::as_deref))
            .text("driver_id", each().map(|t| track.name(t.driver)))
            .text("route_id", each().map(|t| track.name(t.route)))
            .number("duration_s", each().map(|t| track.seconds(t.ends.0, t.ends.1)))
            .number("logged_s", ledgers(|l| l.duration_s))
            .number("moving_s", ledgers(|l| l.moving_s))
            .count("stops", each().map(|t| t.stops))
            .number("distance_m", ledgers(|l| l.distance_m))
            .number("odometer_m", each().map(|t| odometer(track, t.ends)))
            .number("speed_max_m_s", each().map(|t| t.speed_max_m_s))
            .number("sample_interval_s", each().map(|t| t.sample_interval_s))
            .number("gap_s", each().map(|t| t.gap_s))
            .number("frozen_s", each().map(|t| t.frozen_s))
            .number("mass_kg", ledgers(|l| l.mass_kg_s / l.duration_s))
            .number("mass_estimated_kg", each().map(|t| t.mass.map(|m| m.mass_kg)))
            .number("mass_estimated_low_kg", each().map(|t| t.mass.map(|m| m.low_kg)))
            .number("mass_estimated_high_kg", each().map(|t| t.mass.map(|m| m.high_kg)))
            .text("mass_estimate_basis", each().map(|t| t.mass.map(|m| m.basis)))
            .number("energy_tractive_kwh", ledgers(|l| kwh(l.road.tractive_j)))
            .number("energy_braking_kwh", ledgers(|l| kwh(l.road.braking_j)))
            .number("energy_braking_low_kwh", band.iter().map(|b| b.map(|b| b.0)))
            .number("energy_braking_high_kwh", band.iter().map(|b| b.map(|b| b.1)))
            .text("braking_claim", each().map(|t| Some(t.claim.as_str())))
            .number("ledger_residual_frac", ledgers(|l| l.road.residual()))
            .number("energy_braking_raw_kwh", ledgers(|l| kwh(l.braking_raw_j)))
            .number("energy_braking_debiased_kwh", ledgers(|l| kwh(l.road.braking_j + l.braking_uncertainty_j)))
            .number("braking_noise_ratio_frac", each().map(|t| t.noise.map(|n| n.raw_over_smoothed)))
            .number("speed_error_m_s", each().map(|_| track.speed_error))
            .text("evidence", each().map(|t| Some(evidence(t.coverage()))))
            .number("battery_coverage_frac", each().map(Trip::coverage))
            .text("recovery_check", each().map(|t| Some(t.recovery_check)))
            .number("soc_start_frac", each().map(|t| track.soc[t.ends.0]))
            .number("soc_end_frac", each().map(|t| track.soc[t.ends.1]))
            .number("soc_step_frac", each().map(|t| soc_step(track, t.ends)))
            .number(
                "speed_interpolated_share_frac",
                each().map(|t| {
                    (t.ledger.duration_s > 0.0).then(|| t.ledger.interpolated_s / t.ledger.duration_s)
                }),
            )
            .text("grade_basis", each().map(|t| Some(t.grade)))
            .number("grade_error_frac", each().map(|t| t.grade_error))
            .count("height_passes", each().map(|t| t.passes.map(|mean| mean.round() as u64)))
            .finish()
    }

    fn segments(
        &self,
        trip_days: &[Option<String>],
        day: &dyn Fn(usize) -> Option<String>,
    ) -> Result<RecordBatch, BatchError> {
        let (track, segments) = (self.track, self.segments);
        let each = || segments.iter();
        let days: Vec<Option<String>> = each()
            .map(|s| match s.trip {
                Some(trip) => trip_days.get(trip).cloned().flatten(),
                None => day(s.knots.start),
            })
            .collect();
        let air: Vec<String> = each().map(|s| Air::basis(track, s.knots.start)).collect();
        let builder = BatchBuilder::new(&tables::SEGMENTS)
            .text("vehicle_id", self.vehicle(segments))
            .order("segment_order", 0..segments.len() as u32)
            .text("trip_id", each().map(|s| self.trip_of(s.trip).map(|t| t.id.as_str())))
            .text("kind", each().map(|s| Some(s.kind.as_str())))
            .time("time_start_ns", each().map(|s| track.time_ns[s.knots.start]))
            .time("time_end_ns", each().map(|s| track.time_ns[s.knots.end]))
            .flag("clock_relative", each().map(|s| track.relative[s.knots.start]))
            .text("service_day", days.iter().map(Option::as_deref))
            .text("driver_id", each().map(|s| track.name(track.driver[s.knots.start])))
            .text("route_id", each().map(|s| track.name(track.route[s.knots.start])))
            .text("node", each().map(|s| s.node.and_then(|node| self.nodes.get(node)).map(|n| n.name.as_str())))
            .text("regen_level", each().map(|s| track.name(track.level[s.knots.start])))
            .text("level_basis", each().map(|s| Some(self.level_basis(s))))
            .text("grade_basis", each().map(|s| Some(s.grade.as_str())))
            .text("mass_basis", each().map(|s| Some(mass_basis(&s.ledger))))
            .text("aux_basis", each().map(|s| Some(self.aux_basis(s).as_str())))
            .text("air_basis", air.iter().map(|basis| Some(basis.as_str())))
            .text("wind_basis", each().map(|s| Some(Air::wind_basis(track, s.knots.start))))
            .number("speed_start_m_s", each().map(|s| track.speed[s.knots.start]))
            .number("speed_end_m_s", each().map(|s| track.speed[s.knots.end]))
            .number("lat_start_deg", each().map(|s| self.lat(s.knots.start)))
            .number("lon_start_deg", each().map(|s| self.lon(s.knots.start)))
            .number("soc_start_frac", each().map(|s| track.soc[s.knots.start]))
            .number("soc_end_frac", each().map(|s| track.soc[s.knots.end]))
            .text("evidence", each().map(|s| Some(evidence(s.ledger.coverage()))));
        let builder = self.segment_sums(builder);
        self.segment_battery(builder).finish()
    }

    fn segment_sums(&self, builder: BatchBuilder) -> BatchBuilder {
        let of =
            |pick: fn(&Ledger) -> f64| self.segments.iter().map(move |s| pick(&s.ledger)).collect::<Vec<_>>();
        let mean = |sum: fn(&Ledger) -> f64, time: fn(&Ledger) -> f64| {
            let one = move |s: &Segment| (time(&s.ledger) > 0.0).then(|| sum(&s.ledger) / time(&s.ledger));
            self.segments.iter().map(one).collect::<Vec<_>>()
        };
        let grade =
            self.segments.iter().map(|s| (s.grade != GradeBasis::None).then(|| kwh(s.ledger.road.grade_j)));
        let known = |pick: fn(&Ledger) -> Option<f64>| {
            self.segments.iter().map(move |s| pick(&s.ledger)).collect::<Vec<_>>()
        };
        let builder = builder
            .number("duration_s", of(|l| l.duration_s))
            .number("moving_s", of(|l| l.moving_s))
            .number("distance_m", of(|l| l.distance_m))
            .number("distance_unclamped_m", of(|l| l.distance_unclamped_m))
            .number("speed_interpolated_s", of(|l| l.interpolated_s))
            .number("temperature_ambient_k", known(|l| l.ambient.mean()))
            .number("air_density_kg_m3", mean(|l| l.density_s, |l| l.duration_s))
            .number("headwind_m_s", known(|l| l.headwind.mean()))
            .number("mass_kg", mean(|l| l.mass_kg_s, |l| l.duration_s))
            .number("payload_kg", known(|l| l.payload.mean()))
            .number("energy_kinetic_kwh", of(|l| kwh(l.road.kinetic_j)))
            .number("energy_grade_kwh", grade)
            .number("energy_rolling_kwh", of(|l| kwh(l.road.rolling_j)))
            .number("energy_aero_kwh", of(|l| kwh(l.road.aero_j)))
            .number("energy_tractive_kwh", of(|l| kwh(l.road.tractive_j)))
            .number("energy_braking_kwh", of(|l| kwh(l.road.braking_j)))
            .number("energy_drive_dc_kwh", of(|l| kwh(l.drive_dc_j)))
            .number("losses_beyond_map_s", of(|l| l.beyond_map_s))
            .number("energy_recoverable_low_kwh", of(|l| kwh(l.recoverable_low_j)))
            .number("energy_recoverable_high_kwh", of(|l| kwh(l.recoverable_high_j)))
            .number("energy_attainable_kwh", of(|l| kwh(l.attainable_j)))
            .number("braking_speed_above_fade_kwh", of(|l| kwh(l.braking_above_fade_j)))
            .number("energy_auxiliary_kwh", of(|l| kwh(l.aux_j)))
            .number("energy_aux_base_kwh", of(|l| kwh(l.aux_base_j)))
            .number("energy_cab_climate_kwh", known(|l| l.cab.total().map(kwh)))
            .number("energy_battery_thermal_kwh", known(|l| l.battery_thermal.total().map(kwh)))
            .number("energy_refrigeration_kwh", known(|l| l.refrigeration.total().map(kwh)))
            .number("battery_measured_s", of(|l| l.measured_s))
            .number("energy_returned_bus_kwh", of(|l| kwh(l.battery.bus_j)));
        cascade_columns(builder, self.segments.iter().map(|s| &s.ledger))
    }

    fn segment_battery(&self, builder: BatchBuilder) -> BatchBuilder {
        let measured = |pick: &dyn Fn(&Segment) -> f64| {
            let one = |s: &Segment| is_measured(&s.ledger).then(|| kwh(pick(s)));
            self.segments.iter().map(one).collect::<Vec<_>>()
        };
        // An inflow that braking cannot explain is an account of its own, for the whole trip.
        let open = |s: &Segment| self.trip_of(s.trip).is_none_or(explained);
        let recovered = |s: &Segment| if open(s) { s.ledger.battery.recovered_j } else { 0.0 };
        let recovered_high = |s: &Segment| if open(s) { s.ledger.battery.recovered_high_j } else { 0.0 };
        let unbraked = |s: &Segment| {
            s.ledger.battery.unbraked_j + if open(s) { 0.0 } else { s.ledger.battery.recovered_j }
        };
        let from_battery =
            |s: &Segment| is_measured(&s.ledger) && s.ledger.engine_s == 0.0 && s.ledger.overhead_s == 0.0;
        let basis = |s: &Segment| match (from_battery(s), self.aux_basis(s)) {
            (true, AuxBasis::Logged | AuxBasis::LoggedAndModel) => "battery, auxiliaries logged",
            (true, AuxBasis::Standing) => "battery, auxiliaries inferred from standing",
            (true, AuxBasis::Model) => "battery, auxiliaries modelled",
            (true, AuxBasis::Sheet) => "battery, auxiliaries from sheet",
            (false, _) => "model",
        };
        builder
            .number("energy_discharged_kwh", measured(&|s| s.ledger.battery.discharged_j))
            .number("energy_discharged_driving_kwh", measured(&|s| s.ledger.battery.discharged_driving_j))
            .number("energy_recovered_kwh", measured(&recovered))
            .number("energy_recovered_high_kwh", measured(&recovered_high))
            .number("energy_returned_unknown_store_kwh", measured(&|s| s.ledger.battery.unknown_store_j))
            .number("energy_unbraked_inflow_kwh", measured(&unbraked))
            .number("energy_plugged_kwh", measured(&|s| s.ledger.battery.plugged_j))
            .number("energy_unexplained_kwh", measured(&|s| s.ledger.battery.unexplained_j))
            .text("bus_basis", self.segments.iter().map(|s| Some(basis(s))))
    }

    fn level_basis(&self, segment: &Segment) -> &'static str {
        match (self.track.level[segment.knots.start], segment.level) {
            (Some(_), Some(_)) => "logged",
            (None, Some(_)) => "sheet",
            (_, None) => "bounds",
        }
    }

    fn aux_basis(&self, segment: &Segment) -> AuxBasis {
        Loads::at(self.track, segment.knots.start, &self.sheet.nominal).basis
    }

    fn braking_events(&self) -> Result<RecordBatch, BatchError> {
        let (track, events) = (self.track, self.events);
        let each = || events.iter();
        let of = |pick: fn(&Ledger) -> f64| each().map(move |e| pick(&e.ledger)).collect::<Vec<_>>();
        let seconds = |e: &Event| track.seconds(e.knots.start, e.knots.end);
        let lost = |e: &Event| track.speed[e.knots.start] - track.speed[e.knots.end];
        let recovered = |e: &Event| {
            let open = self.trip_of(Some(e.trip)).is_none_or(explained);
            (is_measured(&e.ledger) && open).then(|| kwh(e.ledger.battery.recovered_j))
        };
        let pedal = |e: &Event| match e.pedal {
            Some(true) => "used",
            Some(false) => "not used",
            None => "unknown",
        };
        let builder = BatchBuilder::new(&tables::BRAKING_EVENTS)
            .text("vehicle_id", self.vehicle(events))
            .text("trip_id", each().map(|e| self.trip_of(Some(e.trip)).map(|t| t.id.as_str())))
            .order("event_order", each().map(|e| e.order))
            .time("time_start_ns", each().map(|e| track.time_ns[e.knots.start]))
            .time("time_end_ns", each().map(|e| track.time_ns[e.knots.end]))
            .number("duration_s", each().map(seconds))
            .number("distance_m", of(|l| l.distance_m))
            .number("speed_start_m_s", each().map(|e| track.speed[e.knots.start]))
            .number("speed_end_m_s", each().map(|e| track.speed[e.knots.end]))
            .number("decel_mean_m_s2", each().map(|e| lost(e) / seconds(e)))
            .number("decel_peak_m_s2", each().map(|e| e.peak_m_s2))
            .number("lat_deg", each().map(|e| self.lat(e.knots.start)))
            .number("lon_deg", each().map(|e| self.lon(e.knots.start)))
            .text("regen_level", each().map(|e| track.name(track.level[e.knots.start])))
            .text("driver_id", each().map(|e| track.name(track.driver[e.knots.start])))
            .text("route_id", each().map(|e| track.name(track.route[e.knots.start])))
            .text("pedal", each().map(|e| Some(pedal(e))))
            .number("energy_braking_kwh", of(|l| kwh(l.road.braking_j)))
            .number("energy_attainable_kwh", of(|l| kwh(l.attainable_j)))
            .number("energy_recovered_kwh", each().map(recovered))
            .text("evidence", each().map(|e| Some(evidence(e.ledger.coverage()))));
        cascade_columns(builder, each().map(|e| &e.ledger)).finish()
    }

    fn stops(&self) -> Result<RecordBatch, BatchError> {
        let rows: Vec<Stand> = self.stands();
        let each = || rows.iter();
        BatchBuilder::new(&tables::STOPS)
            .text("vehicle_id", self.vehicle(&rows))
            .text("trip_id", each().map(|s| self.trip_of(s.trip).map(|t| t.id.as_str())))
            .text("kind", each().map(|s| Some(if s.trip.is_some() { "stop" } else { "parked" })))
            .time("time_start_ns", each().map(|s| self.track.time_ns[s.knots.0]))
            .time("time_end_ns", each().map(|s| self.track.time_ns[s.knots.1]))
            .number("duration_s", each().map(|s| self.track.seconds(s.knots.0, s.knots.1)))
            .number("lat_deg", each().map(|s| self.lat(s.knots.0)))
            .number("lon_deg", each().map(|s| self.lon(s.knots.0)))
            .number(
                "energy_discharged_kwh",
                each().map(|s| is_measured(&s.ledger).then(|| kwh(s.ledger.battery.discharged_j))),
            )
            .finish()
    }

    fn approaches(&self) -> Result<RecordBatch, BatchError> {
        let track = self.track;
        let rows: Vec<(&Approach, &Place)> =
            self.approaches.iter().flat_map(|a| a.places.iter().map(move |place| (a, place))).collect();
        let each = || rows.iter().map(|(approach, _)| *approach);
        let places = || rows.iter().map(|(_, place)| *place);
        let last = |a: &Approach| a.knots.end - 1;
        BatchBuilder::new(&tables::APPROACHES)
            .text("vehicle_id", self.vehicle(&rows))
            .text("trip_id", each().map(|a| self.trip_of(Some(a.trip)).map(|t| t.id.as_str())))
            .time("time_stop_ns", each().map(|a| track.time_ns[a.knots.end]))
            .flag("clock_relative", each().map(|a| track.relative[a.knots.end]))
            .text("driver_id", each().map(|a| track.name(track.driver[last(a)])))
            .text("route_id", each().map(|a| track.name(track.route[last(a)])))
            .text("regen_level", each().map(|a| track.name(track.level[last(a)])))
            .number("lat_deg", each().map(|a| self.lat(a.knots.end)))
            .number("lon_deg", each().map(|a| self.lon(a.knots.end)))
            .number("bearing_deg", each().map(|a| self.bearing(a.knots.start, a.knots.end)))
            .number("slowing_m", each().map(|a| a.slowing_m))
            .number("distance_to_stop_m", places().map(|p| p.distance_m))
            .number("speed_m_s", places().map(|p| p.speed_m_s))
            .number("rise_to_stop_m", rows.iter().map(|(a, p)| a.grade_known.then_some(p.rise_m)))
            .number("duration_to_stop_s", places().map(|p| p.duration_s))
            .number("energy_driven_kwh", places().map(|p| kwh(p.driven_j)))
            .number("energy_reference_kwh", places().map(|p| kwh(p.reference_j)))
            .finish()
    }

    /// Direction from one knot to another, clockwise from north: good for the few hundred metres of an approach.
    fn bearing(&self, from: usize, to: usize) -> Option<f64> {
        let ((lat, lon), (lat_to, lon_to)) = (self.track.position[from]?, self.track.position[to]?);
        let (north, east) = (lat_to - lat, (lon_to - lon) * lat.to_radians().cos());
        (north != 0.0 || east != 0.0).then(|| east.atan2(north).to_degrees().rem_euclid(360.0))
    }

    /// Segments of one standstill joined again: they were cut where evidence, driver or level changed.
    fn stands(&self) -> Vec<Stand> {
        let mut stands: Vec<Stand> = Vec::new();
        for segment in self.segments.iter().filter(|s| s.kind != Kind::Driving) {
            match stands.last_mut() {
                Some(last) if last.knots.1 == segment.knots.start && last.trip == segment.trip => {
                    last.knots.1 = segment.knots.end;
                    last.ledger.add(&segment.ledger);
                }
                _ => stands.push(Stand {
                    knots: (segment.knots.start, segment.knots.end),
                    trip: segment.trip,
                    ledger: segment.ledger.clone(),
                }),
            }
        }
        stands.retain(|stand| self.track.seconds(stand.knots.0, stand.knots.1) >= 3.0);
        stands
    }

    fn charges(&self) -> Result<RecordBatch, BatchError> {
        let track = self.track;
        let rows: Vec<(Stand, &'static str)> = self
            .stands()
            .into_iter()
            .filter_map(|stand| Some((stand.clone(), self.charge_basis(&stand)?)))
            .collect();
        let each = || rows.iter().map(|(stand, _)| stand);
        BatchBuilder::new(&tables::CHARGES)
            .text("vehicle_id", self.vehicle(&rows))
            .time("time_start_ns", each().map(|s| track.time_ns[s.knots.0]))
            .time("time_end_ns", each().map(|s| track.time_ns[s.knots.1]))
            .number("duration_s", each().map(|s| track.seconds(s.knots.0, s.knots.1)))
            .number(
                "energy_plugged_kwh",
                each().map(|s| is_measured(&s.ledger).then(|| kwh(s.ledger.battery.plugged_j))),
            )
            .number("soc_start_frac", each().map(|s| track.soc[s.knots.0]))
            .number("soc_end_frac", each().map(|s| track.soc[s.knots.1]))
            .number("lat_deg", each().map(|s| self.lat(s.knots.0)))
            .number("lon_deg", each().map(|s| self.lon(s.knots.0)))
            .text("basis", rows.iter().map(|(_, basis)| Some(*basis)))
            .finish()
    }

    /// What says that a standstill was a charge: the log's own flag, an inflow of note, or a rise of state of charge
    /// larger than a battery's settling.
    fn charge_basis(&self, stand: &Stand) -> Option<&'static str> {
        let (from, to) = stand.knots;
        let rise = self.track.soc[from].zip(self.track.soc[to]).map(|(a, b)| b - a);
        if self.track.plugged[from..=to].iter().any(|on| *on) {
            Some("flag")
        } else if stand.ledger.battery.plugged_j > 0.05 * JOULES_PER_KWH {
            Some("inflow")
        } else if rise.is_some_and(|rise| rise > 0.02) {
            Some("soc")
        } else {
            None
        }
    }
}

#[derive(Clone)]
struct Stand {
    knots: (usize, usize),
    trip: Option<usize>,
    ledger: Ledger,
}

fn evidence(coverage: f64) -> &'static str {
    if coverage >= MEASURED_SHARE { "measured" } else { "modelled" }
}

fn is_measured(ledger: &Ledger) -> bool {
    ledger.coverage() >= MEASURED_SHARE
}

fn mass_basis(ledger: &Ledger) -> &'static str {
    if ledger.gross_s > 0.5 * ledger.duration_s {
        "gross weight logged"
    } else if ledger.manifest_s > 0.5 * ledger.duration_s {
        "payload manifest"
    } else if ledger.payload.seconds > 0.5 * ledger.duration_s {
        "payload logged"
    } else {
        "sheet"
    }
}

fn odometer(track: &Track, ends: (usize, usize)) -> Option<f64> {
    let mut known = track.odometer[ends.0..=ends.1].iter().flatten();
    let first = known.next()?;
    Some(known.next_back().unwrap_or(first) - first)
}

/// Smallest change of the reported state of charge. Differences below 1e-9 are rounding of its unit.
fn soc_step(track: &Track, ends: (usize, usize)) -> Option<f64> {
    let known: Vec<f64> = track.soc[ends.0..=ends.1].iter().flatten().copied().collect();
    known.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|step| *step > 1e-9).min_by(f64::total_cmp)
}

fn cascade_columns<'a>(builder: BatchBuilder, rows: impl Iterator<Item = &'a Ledger>) -> BatchBuilder {
    let rows: Vec<&Ledger> = rows.collect();
    let of = |pick: fn(&Cascade) -> f64| rows.iter().map(move |l| kwh(pick(&l.cascade))).collect::<Vec<_>>();
    let builder = builder
        .number("braking_beyond_axle_kwh", of(|c| c.beyond_axle_j))
        .number("braking_in_fade_kwh", of(|c| c.in_fade_j))
        .number("braking_beyond_level_kwh", of(|c| c.beyond_level_j))
        .number("braking_beyond_torque_kwh", of(|c| c.beyond_torque_j))
        .number("braking_beyond_power_kwh", of(|c| c.beyond_power_j))
        .number("braking_beyond_acceptance_kwh", of(|c| c.beyond_acceptance_j))
        .number("braking_converted_kwh", of(|c| c.converted_j))
        .number("braking_to_auxiliaries_kwh", of(|c| c.to_auxiliaries_j))
        .number("energy_recoverable_kwh", of(|c| c.recoverable_j))
        .number("gain_remainder_kwh", rows.iter().map(|l| kwh(l.gains.remainder_j(&l.cascade))));
    tables::GAINS.into_iter().zip(Limit::ALL).fold(builder, |builder, (name, limit)| {
        builder.number(name, rows.iter().map(|l| kwh(l.gains.without_j(limit))))
    })
}
