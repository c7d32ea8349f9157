//! What was found, as Arrow batches. Joules become kilowatt hours here, once.

mod approaches;
mod crossings;
mod events;
mod segments;
mod stands;
mod step_swings;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, JOULES_PER_KWH, tables};

use crate::kernels::cascade::{Cascade, Limit};
use crate::replay::approaches::Approach;
use crate::replay::crossings::Crossing;
use crate::replay::events::Event;
use crate::replay::ledger::Ledger;
use crate::replay::nodes::Node;
use crate::replay::pieces::Segment;
use crate::replay::track::Track;
use crate::replay::trips::Trip;
use crate::replay::{PhysicsError, Replay, levels};
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
    pub crossings: &'a [Crossing],
}

pub(super) fn kwh(joules: f64) -> f64 {
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
            crossings: self.crossings()?,
            step_swings: self.step_swings()?,
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
            .text(
                "route_basis",
                each().map(|t| t.route.map(|_| if t.route_matched { "map" } else { "logged" })),
            )
            .number("lat_start_deg", each().map(|t| self.lat(t.ends.0)))
            .number("lon_start_deg", each().map(|t| self.lon(t.ends.0)))
            .number("lat_end_deg", each().map(|t| self.lat(t.ends.1)))
            .number("lon_end_deg", each().map(|t| self.lon(t.ends.1)))
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
            .text("speed_library", each().map(|t| self.library_of(&t.ledger)))
            .number(
                "energy_braking_imputation_sd_kwh",
                each().map(|t| imputation_sd_kwh(&t.ledger).map(|sd| sd.0)),
            )
            .number(
                "energy_recoverable_imputation_sd_kwh",
                each().map(|t| imputation_sd_kwh(&t.ledger).map(|sd| sd.1)),
            )
            .finish()
    }

    fn library_of(&self, ledger: &Ledger) -> Option<&str> {
        let between = self.track.between.as_ref().filter(|_| ledger.filled_s > 0.0)?;
        Some(between.library().name())
    }
}

/// What the draws leave open of braking and of recoverable energy, where the speed was imputed.
fn imputation_sd_kwh(ledger: &Ledger) -> Option<(f64, f64)> {
    let sd = |variance_j2: f64| kwh(variance_j2.sqrt());
    (ledger.filled_s > 0.0).then(|| (sd(ledger.braking_draws_j2), sd(ledger.recoverable_draws_j2)))
}

pub(super) fn evidence(coverage: f64) -> &'static str {
    if coverage >= MEASURED_SHARE { "measured" } else { "modelled" }
}

pub(super) fn is_measured(ledger: &Ledger) -> bool {
    ledger.coverage() >= MEASURED_SHARE
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

pub(super) fn cascade_columns<'a>(
    builder: BatchBuilder,
    rows: impl Iterator<Item = &'a Cascade>,
) -> BatchBuilder {
    let steps: Vec<_> = rows.map(Cascade::steps).collect();
    tables::CASCADE
        .into_iter()
        .enumerate()
        .fold(builder, |builder, (step, name)| builder.number(name, steps.iter().map(|steps| kwh(steps[step]))))
}

/// The cascade, and what lifting each of its limits would bring.
fn braking_columns<'a>(builder: BatchBuilder, rows: impl Iterator<Item = &'a Ledger>) -> BatchBuilder {
    let rows: Vec<&Ledger> = rows.collect();
    let builder = cascade_columns(builder, rows.iter().map(|l| &l.cascade))
        .number("gain_remainder_kwh", rows.iter().map(|l| kwh(l.gains.remainder_j(&l.cascade))));
    tables::GAINS.into_iter().zip(Limit::ALL).fold(builder, |builder, (name, limit)| {
        builder.number(name, rows.iter().map(|l| kwh(l.gains.without_j(limit))))
    })
}
