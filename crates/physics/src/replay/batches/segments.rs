//! Segments, with the ledger as their columns.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};

use super::{Found, braking_columns, evidence, imputation_sd_kwh, is_measured, kwh};
use crate::replay::auxiliaries::{AuxBasis, Loads};
use crate::replay::ledger::Ledger;
use crate::replay::pieces::Segment;
use crate::replay::track::GradeBasis;
use crate::replay::trips::explained;
use crate::replay::weather::Air;

impl Found<'_> {
    pub(super) fn segments(
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
            .number("soc_end_frac", each().map(|s| track.soc_at_end(s.knots.end)))
            .number("soc_step_wait_s", each().map(|s| track.soc_step_wait_s[s.knots.start]))
            .text("evidence", each().map(|s| Some(evidence(s.ledger.coverage()))));
        let builder = self.segment_sums(builder);
        let sd = |pick: fn((f64, f64)) -> f64| each().map(move |s| imputation_sd_kwh(&s.ledger).map(pick));
        self.segment_battery(builder)
            .text("speed_library", each().map(|s| self.library_of(&s.ledger)))
            .number("energy_braking_imputation_sd_kwh", sd(|(braking, _)| braking))
            .number("energy_recoverable_imputation_sd_kwh", sd(|(_, recoverable)| recoverable))
            .finish()
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
            .number("energy_aero_braking_kwh", of(|l| kwh(l.shares.aero_braking_j)))
            .number("energy_rolling_braking_kwh", of(|l| kwh(l.shares.rolling_braking_j)))
            .number("force_squared_tractive_n2_s", of(|l| l.shares.force_squared_tractive_n2_s))
            .number("braking_taken_whole_kwh", of(|l| kwh(l.cascade.taken_whole_j)))
            .number("force_squared_captured_n2_s", of(|l| l.cascade.force_squared_n2_s))
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
            .number("battery_recovering_s", of(|l| l.battery.recovering_s))
            .number("energy_returned_bus_kwh", of(|l| kwh(l.battery.bus_j)))
            .number("braking_refused_full_kwh", of(|l| kwh(l.refused_full_j)))
            .number("braking_refused_cold_kwh", of(|l| kwh(l.refused_cold_j)));
        braking_columns(builder, self.segments.iter().map(|s| &s.ledger))
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
