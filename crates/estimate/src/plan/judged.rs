//! One assumption against one measure: interval, verdict, and what would bring one.

use std::collections::BTreeSet;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};
use backwatt_stats::{Equivalence, Verdict};

use super::scale::{OnScale, Scale};
use super::scope::Season;
use super::settings::Assumption;
use super::spread::{DayRatio, Spread, in_words, spread};

/// What one assumption is measured by.
pub(super) struct Measured<'d> {
    pub rows: Vec<DayRatio<'d>>,
    /// 90 % half-width of the ratio that all days share.
    pub shared_half: f64,
    pub scale: Scale,
    pub distance_mi: f64,
    pub evidence: &'static str,
}

pub(super) struct Row<'a> {
    pub of: &'a Assumption,
    pub assumption: &'static str,
    pub measure: String,
    pub unit: &'static str,
    pub margin: (f64, f64),
    pub value: Option<f64>,
    pub interval: Option<(f64, f64)>,
    pub verdict: Verdict,
    pub test: Option<(Equivalence, f64)>,
    pub spread: Option<Spread>,
    /// The unit of the row for each unit of the ratio; a range goes with one over its use.
    pub shared_half: f64,
    pub distance_mi: f64,
    pub more_days: Option<u64>,
    pub more_vehicles: Option<u64>,
    pub could_be: Option<&'static str>,
    pub evidence: &'static str,
    pub why: String,
    pub caution: String,
}

pub(super) fn margin(of: &Assumption) -> (f64, f64) {
    (of.value * (1.0 - of.tolerance_frac), of.value * (1.0 + of.tolerance_frac))
}

pub(super) fn judged<'a>(
    of: &'a Assumption,
    assumption: &'static str,
    measure: String,
    unit: &'static str,
    measured: &Measured<'_>,
) -> Row<'a> {
    judged_within(of, assumption, measure, unit, measured, margin(of))
}

/// Of a share: nothing below none of it is possible, or beyond all of it.
const NEARLY_ALL: f64 = 0.8;

pub(super) fn judged_within<'a>(
    of: &'a Assumption,
    assumption: &'static str,
    measure: String,
    unit: &'static str,
    measured: &Measured<'_>,
    margin: (f64, f64),
) -> Row<'a> {
    let rows = &measured.rows;
    let (over, under) = rows.iter().fold((0.0, 0.0), |sum, row| (sum.0 + row.over, sum.1 + row.under));
    let spread = spread(rows);
    let scale = measured.scale;
    let on_scale = spread.as_ref().and_then(|spread| scale.of(spread, margin, measured.shared_half));
    let test = on_scale.as_ref().and_then(|OnScale { spread, margin, shared_half }| {
        let (test, degrees) = spread.against(*margin, *shared_half)?;
        let interval = (scale.back(test.interval.0), scale.back(test.interval.1));
        Some((Equivalence { interval, ..test }, degrees))
    });
    let verdict = test.map_or(Verdict::CannotTell, |(test, _)| test.verdict);
    let open = on_scale.as_ref().filter(|_| verdict == Verdict::CannotTell);
    let more_days = open.and_then(|on| on.spread.more_days(on.margin, on.shared_half));
    let more_vehicles = open.and_then(|on| on.spread.more_vehicles(on.margin, on.shared_half));
    let mut row = Row {
        of,
        assumption,
        measure,
        unit,
        margin,
        value: (under > 0.0).then(|| over / under),
        interval: test.map(|(test, _)| test.interval),
        verdict,
        test,
        caution: match test {
            Some((test, _)) if scale == Scale::Share && test.interval.1 - test.interval.0 > NEARLY_ALL => {
                joined(
                    &caution(rows, spread.as_ref()),
                    "nearly every share is left open: these logs cannot tell",
                )
            }
            None if spread.is_some() => {
                joined(&caution(rows, spread.as_ref()), "no interval: the share found is none, or all, of it")
            }
            _ => caution(rows, spread.as_ref()),
        },
        spread,
        shared_half: measured.shared_half,
        distance_mi: measured.distance_mi,
        more_days,
        more_vehicles,
        could_be: None,
        evidence: if rows.is_empty() { "none" } else { measured.evidence },
        why: String::new(),
    };
    row.why = in_short(&row);
    row
}

fn caution(rows: &[DayRatio<'_>], spread: Option<&Spread>) -> String {
    let vehicles = rows.iter().map(|row| row.vehicle).collect::<BTreeSet<_>>().len();
    match (rows.len(), spread) {
        (0, _) => "nothing driven or claimed that it speaks of".to_owned(),
        (1, _) => "one vehicle-day has no spread".to_owned(),
        (_, None) => "no spread can be found".to_owned(),
        _ if vehicles == 1 => "one vehicle: it says nothing of how others differ".to_owned(),
        (_, Some(found)) if found.sd_vehicle.is_none() => {
            "too few days to tell vehicles apart: the interval is of days alone".to_owned()
        }
        _ => String::new(),
    }
}

pub(super) fn joined(first: &str, more: &str) -> String {
    if first.is_empty() { more.to_owned() } else { format!("{first}; {more}") }
}

/// What decided the verdict.
pub(super) fn in_short(row: &Row<'_>) -> String {
    let (Some(value), Some((low, high)), Some(spread)) = (row.value, row.interval, &row.spread) else {
        return "no interval: nothing is claimed".to_owned();
    };
    let where_it_lies = match row.verdict {
        Verdict::Agrees => "lies inside",
        Verdict::Differs => "lies wholly outside",
        Verdict::CannotTell => "reaches across an end of",
    };
    let text = format!(
        "{value:.3} ({low:.3} to {high:.3}) {where_it_lies} {:.3} to {:.3}; {} vehicle-days of {} vehicles",
        row.margin.0, row.margin.1, spread.days, spread.vehicles
    );
    match (row.verdict, row.more_days, row.more_vehicles) {
        (Verdict::CannotTell, Some(days), _) => format!("{text}; some {days} more vehicle-days would tell"),
        (Verdict::CannotTell, None, Some(vehicles)) => {
            format!("{text}; more days of these vehicles would not tell, some {vehicles} more vehicles would")
        }
        (Verdict::CannotTell, None, None) => {
            format!(
                "{text}; neither more days nor more vehicles would tell: what all days share leaves too much open"
            )
        }
        _ => text,
    }
}

pub(super) fn build(rows: &[Row<'_>]) -> Result<RecordBatch, BatchError> {
    let each = || rows.iter();
    let has = |row: &&Row<'_>| row.test.is_some();
    let sure = |of: fn(&Row<'_>) -> Option<f64>| {
        each().map(move |row| Some(row).filter(has).and_then(of)).collect::<Vec<_>>()
    };
    BatchBuilder::new(&tables::PLAN_CHECK)
        .text("assumption", each().map(|row| Some(row.assumption)))
        .text("vehicle_type", each().map(|row| row.of.scope.vehicle_type.as_deref()))
        .text("route", each().map(|row| row.of.scope.route.as_deref()))
        .text("season", each().map(|row| row.of.scope.season.map(Season::as_str)))
        .text("measure", each().map(|row| Some(row.measure.as_str())))
        .text("unit", each().map(|row| Some(row.unit)))
        .number("plan_value", each().map(|row| row.of.value))
        .number("margin_low", each().map(|row| row.margin.0))
        .number("margin_high", each().map(|row| row.margin.1))
        .number("value_p05", each().map(|row| row.interval.map(|ends| ends.0)))
        .number("value_p50", each().map(|row| row.value))
        .number("value_p95", each().map(|row| row.interval.map(|ends| ends.1)))
        .text("verdict", each().map(|row| Some(in_words(row.verdict))))
        .number("probability_below_margin", sure(|row| row.test.map(|(test, _)| test.p_low)))
        .number("probability_above_margin", sure(|row| row.test.map(|(test, _)| test.p_high)))
        .number("degrees_of_freedom", sure(|row| row.test.map(|(_, degrees)| degrees)))
        .number("sd_between_vehicles", sure(|row| row.spread.as_ref().and_then(|spread| spread.sd_vehicle)))
        .number(
            "sd_between_days",
            sure(|row| row.spread.as_ref().map(|spread| spread.sd_day.hypot(spread.sd_date))),
        )
        .number("half_width_shared", sure(|row| Some(row.shared_half)))
        .count("vehicles", each().map(|row| row.spread.as_ref().map_or(0, |spread| spread.vehicles as u64)))
        .count("vehicle_days", each().map(|row| row.spread.as_ref().map_or(0, |spread| spread.days as u64)))
        .number("distance_mi", each().map(|row| row.distance_mi))
        .count("more_vehicle_days", each().map(|row| row.more_days))
        .count("more_vehicles", each().map(|row| row.more_vehicles))
        .text("could_be_true_of", each().map(|row| row.could_be))
        .text("evidence", each().map(|row| Some(row.evidence)))
        .text("why", each().map(|row| Some(row.why.as_str())))
        .text("caution", each().map(|row| Some(row.caution.as_str())))
        .finish()
}
