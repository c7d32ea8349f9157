//! Each assumption of the plan against what the pilot has measured.

use std::collections::BTreeSet;

use arrow::array::RecordBatch;
use backwatt_schema::BatchError;
use backwatt_stats::Verdict;

use super::climate::ClimateSums;
use super::days::VehicleDay;
use super::judged::{Measured, Row, build, joined, judged};
use super::range::range;
use super::scale::Scale;
use super::settings::{Assumption, Covers, Kind, Measure, PlanSettings, TypePlan};
use super::spread::DayRatio;
use crate::recovery::{braking, evidence, recovered, relative};
use crate::tally::Sums;

/// Every assumption against every measure it can be read as, in the order of the plan.
pub fn plan_check(
    days: &[VehicleDay],
    types: &[TypePlan],
    settings: &PlanSettings,
) -> Result<RecordBatch, BatchError> {
    let rows: Vec<Row<'_>> =
        settings.assumptions.iter().flat_map(|of| rows(of, days, types, settings)).collect();
    build(&rows)
}

fn rows<'a>(
    of: &'a Assumption,
    days: &[VehicleDay],
    types: &[TypePlan],
    settings: &PlanSettings,
) -> Vec<Row<'a>> {
    let days: Vec<&VehicleDay> =
        days.iter().filter(|day| of.scope.takes_day(&day.vehicle_type, day.season)).collect();
    let mut rows = match of.kind {
        Kind::Energy(covers) => vec![energy(of, &days, covers)],
        Kind::Regen(Some(measure)) => vec![regen(of, &days, measure, true)],
        Kind::Regen(None) => Measure::ALL.into_iter().map(|measure| regen(of, &days, measure, false)).collect(),
        Kind::Climate => vec![climate(of, &days, types)],
        Kind::Range { packs } => vec![range(of, &days, types, packs, settings)],
    };
    rows.iter_mut().for_each(|row| of_several_types(row, &days));
    rows
}

/// Vehicles of unlike types spread as one more truck of either would not.
fn of_several_types(row: &mut Row<'_>, days: &[&VehicleDay]) {
    let types = days.iter().map(|day| day.vehicle_type.as_str()).collect::<BTreeSet<_>>().len();
    if types > 1 {
        row.caution = joined(
            &row.caution,
            "vehicle types together: what sets them apart counts as spread between vehicles",
        );
    }
}

fn energy<'a>(of: &'a Assumption, days: &[&VehicleDay], covers: Covers) -> Row<'a> {
    let of_sums = |sums: &Sums| match covers {
        Covers::Driving => (sums.net_driving_kwh, sums.distance_battery_mi),
        Covers::Trips => (sums.net_kwh, sums.distance_mi),
    };
    let (cells, sums) = cells(of, days);
    let rows = ratios(&cells, of_sums);
    let under: f64 = rows.iter().map(|row| row.under).sum();
    let measured = Measured {
        shared_half: if under > 0.0 { sums.net_errors.half_width() / under } else { 0.0 },
        rows,
        scale: Scale::Plain,
        distance_mi: sums.distance_mi,
        evidence: evidence(sums.moving_s, sums.measured_moving_s, sums.inferred_moving_s),
    };
    let measure = match covers {
        Covers::Driving => "consumption: net use while driving over distance",
        Covers::Trips => "net use while driving and at the stops of trips over distance",
    };
    judged(of, "energy per distance", measure.to_owned(), "kW.h/[mi_i]", &measured)
}

fn regen<'a>(of: &'a Assumption, days: &[&VehicleDay], measure: Measure, is_stated: bool) -> Row<'a> {
    let (cells, sums) = cells(of, days);
    let of_sums = |sums: &Sums| match measure {
        Measure::Braking => (sums.recovered_braking_kwh, sums.braking_paired_kwh),
        Measure::Use => (sums.recovered_kwh, sums.discharged_paired_kwh),
        Measure::NetUse => (sums.recovered_kwh, sums.net_paired_kwh),
        Measure::RangeGain => (sums.bus_paired_kwh, sums.net_paired_kwh),
    };
    let rows = ratios(&cells, of_sums);
    let (over, under) = rows.iter().fold((0.0, 0.0), |sum, row| (sum.0 + row.over, sum.1 + row.under));
    let braked = if measure == Measure::Braking { relative(braking(&sums)) } else { 0.0 };
    let share = (relative(recovered(&sums)).powi(2) + braked * braked).sqrt();
    let measured = Measured {
        shared_half: if under > 0.0 { over / under * share } else { 0.0 },
        rows,
        // Of braking or of gross discharge no more than all comes back; of net use it may be more.
        scale: match measure {
            Measure::Braking | Measure::Use => Scale::Share,
            Measure::NetUse | Measure::RangeGain => Scale::Positive,
        },
        distance_mi: sums.distance_paired_mi,
        evidence: evidence(sums.moving_paired_s, sums.measured_paired_s, sums.inferred_paired_s),
    };
    let mut row = judged(of, "regen share", measure.as_str().to_owned(), "1", &measured);
    if !is_stated {
        row.could_be = Some(match row.verdict {
            Verdict::Agrees => "yes",
            Verdict::Differs => "no",
            Verdict::CannotTell => "cannot tell",
        });
        row.caution = joined(&row.caution, "the plan names no denominator: one row for each it may mean");
    }
    row
}

fn climate<'a>(of: &'a Assumption, days: &[&VehicleDay], types: &[TypePlan]) -> Row<'a> {
    let (_, sums) = cells(of, days);
    let mut ends = [0.0; 3];
    let (mut is_measured, mut is_whole) = (true, true);
    let mut rows = Vec::new();
    for day in days {
        let Some(own) = types.iter().find(|own| own.name == day.vehicle_type) else { continue };
        let mut day_sums = ClimateSums::default();
        day.climate
            .iter()
            .filter(|((route, _), _)| of.scope.takes_route(route))
            .for_each(|(_, of)| day_sums.add(of));
        let Some(cab) = day_sums.cab(own.aux_w) else { continue };
        is_measured &= day_sums.cab_basis().1;
        is_whole &= day_sums.knows_others();
        ends.iter_mut().zip(cab).for_each(|(sum, kwh)| *sum += kwh);
        rows.push(DayRatio {
            over: cab[1],
            under: day_sums.discharged_kwh(),
            vehicle: &day.vehicle,
            day: &day.day,
        });
    }
    let under: f64 = rows.iter().map(|row| row.under).sum();
    let measured = Measured {
        shared_half: if under > 0.0 { (ends[2] - ends[0]) / 2.0 / under } else { 0.0 },
        rows,
        scale: Scale::Share,
        distance_mi: sums.distance_mi,
        evidence: if is_measured { "measured" } else { "modelled" },
    };
    let measure = "cab climate over gross discharge, in trips".to_owned();
    let mut row = judged(of, "climate share", measure, "1", &measured);
    if !is_whole {
        let alone = "the cab alone: battery climate and refrigeration are not logged, and a plan that counts them counts more";
        row.caution = joined(&row.caution, alone);
    }
    row
}

/// Sums of each vehicle-day over the routes an assumption speaks of, and of all of them.
fn cells<'d>(of: &Assumption, days: &[&'d VehicleDay]) -> (Vec<(&'d VehicleDay, Sums)>, Sums) {
    let mut whole = Sums::default();
    let mut cells = Vec::new();
    for day in days {
        let mut sums = Sums::default();
        day.routes.iter().filter(|(route, _)| of.scope.takes_route(route)).for_each(|(_, of)| sums.add(of));
        if sums.distance_mi > 0.0 {
            whole.add(&sums);
            cells.push((*day, sums));
        }
    }
    (cells, whole)
}

fn ratios<'d>(cells: &[(&'d VehicleDay, Sums)], of: impl Fn(&Sums) -> (f64, f64)) -> Vec<DayRatio<'d>> {
    let ratio = |(day, sums): &(&'d VehicleDay, Sums)| {
        let (over, under) = of(sums);
        DayRatio { over, under, vehicle: &day.vehicle, day: &day.day }
    };
    cells.iter().map(ratio).filter(|row| row.under > 0.0).collect()
}
