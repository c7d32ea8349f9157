//! The what-if asked for last, beside the trip as driven.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, tables};

use super::bins::{Bins, rows_of};
use super::facts::KWH_DIGITS;
use super::pack::Packer;
use super::view::{Batches, OfTrip};
use crate::figure::{fixed, markup, name};

/// Steps of an energy: tenths of a watt hour.
pub const PER_KWH: u32 = 10_000;
/// Sums of intervals against the table's row: rounding, in kWh.
const SAME_KWH: f64 = 1e-6;

const QUANTITIES: [(&str, &str); 5] = [
    ("net", "net use at the battery"),
    ("recovered", "into the battery while braking"),
    ("braking", "braking energy at the wheels"),
    ("tractive", "tractive energy at the wheels"),
    ("auxiliary", "auxiliaries"),
];

/// One row of the comparison, as markup.
pub struct WhatIfRow {
    pub quantity: &'static str,
    pub label: &'static str,
    pub driven: String,
    pub changed: String,
    /// Least and most of the difference, where the table has them.
    pub bounds: String,
}

pub struct WhatIf {
    pub change: String,
    pub remarks: Vec<String>,
    pub rows: Vec<WhatIfRow>,
}

/// Packs the changed trip beside the driven one; `None` where no what-if was asked for or where it is of other logs.
pub fn pack(
    batches: &Batches<'_>,
    trip_id: &str,
    bins: &Bins,
    packer: &mut Packer,
) -> Result<Option<WhatIf>, BatchError> {
    let (Some(table), Some(trace)) = (&batches.what_if, &batches.traces.what_if) else { return Ok(None) };
    let of_trip = OfTrip::new(&tables::WHAT_IF, table, trip_id)?;
    let Some(row) = of_trip.rows.first().copied() else { return Ok(None) };
    let Some(sums) = sums(batches, trace, trip_id, bins)? else { return Ok(None) };
    for ((quantity, side), sum) in &sums.energies {
        let stated = of_trip.number(&column(quantity, side), row)?.unwrap_or(f64::NAN);
        let same = (stated - sum.last().copied().unwrap_or(0.0)).abs() <= SAME_KWH;
        if !same {
            return Ok(None);
        }
    }
    for ((quantity, side), sum) in &sums.energies {
        packer.numbers(&format!("what_if.{quantity}.{side}"), PER_KWH, sum);
    }
    packer.numbers("what_if.duration.changed", 1000, &sums.duration_changed_s);
    packer.known("what_if.soc", 10_000, &sums.soc);
    Ok(Some(WhatIf {
        change: markup(&name(of_trip.text("change", row)?.unwrap_or(""))),
        remarks: remarks(&of_trip, row)?,
        rows: QUANTITIES
            .iter()
            .map(|(quantity, label)| told(&of_trip, row, quantity, label))
            .collect::<Result<_, _>>()?,
    }))
}

struct Sums {
    energies: Vec<((&'static str, &'static str), Vec<f64>)>,
    duration_changed_s: Vec<f64>,
    soc: Vec<Option<f64>>,
}

/// Running sums over the bins; `None` where the intervals are not those of the ledger.
fn sums(
    batches: &Batches<'_>,
    trace: &RecordBatch,
    trip_id: &str,
    bins: &Bins,
) -> Result<Option<Sums>, BatchError> {
    let rows = rows_of(&tables::WHAT_IF_TRACE, trace, trip_id)?;
    let view = BatchView::new(&tables::WHAT_IF_TRACE, trace);
    let (times, ledger_times) = (
        view.times("time_start_ns")?.values(),
        BatchView::new(&tables::LEDGER_TRACE, &batches.traces.ledger).times("time_start_ns")?.values(),
    );
    let Some(first) = bins.rows.first().map(|bin| bin.start) else { return Ok(None) };
    let Some(end) = bins.rows.last().map(|bin| bin.end) else { return Ok(None) };
    if times[rows.clone()] != ledger_times[first..end] {
        return Ok(None);
    }
    let shift = |row: usize| row - first + rows.start;
    let running = |name: &str| -> Result<Vec<f64>, BatchError> {
        let values = view.numbers(name)?;
        let mut sum = 0.0;
        let add = |bin: &std::ops::Range<usize>| {
            sum += bin.clone().map(|row| values.value(shift(row))).sum::<f64>();
            sum
        };
        Ok(bins.rows.iter().map(add).collect())
    };
    let mut energies = Vec::new();
    for (quantity, _) in QUANTITIES {
        for side in ["driven", "changed"] {
            energies.push(((quantity, side), running(&column(quantity, side))?));
        }
    }
    let soc = view.numbers("soc_end_changed_frac")?;
    let soc = bins.rows.iter().map(|bin| backwatt_schema::number_at(soc, shift(bin.end - 1))).collect();
    Ok(Some(Sums { energies, duration_changed_s: running("duration_changed_s")?, soc }))
}

fn column(quantity: &str, side: &str) -> String {
    format!("energy_{quantity}_{side}_kwh")
}

fn told(
    of_trip: &OfTrip<'_>,
    row: usize,
    quantity: &'static str,
    label: &'static str,
) -> Result<WhatIfRow, BatchError> {
    let shown = |side| -> Result<String, BatchError> {
        let value = of_trip.number(&column(quantity, side), row)?;
        Ok(value.map_or("–".to_owned(), |v| fixed(v, KWH_DIGITS)))
    };
    let bounded = matches!(quantity, "net" | "recovered");
    let end = |end: &str| of_trip.number(&format!("energy_{quantity}_change_{end}_kwh"), row);
    let bounds = match (bounded.then(|| end("low")), bounded.then(|| end("high"))) {
        (Some(low), Some(high)) => low?
            .zip(high?)
            .map(|(low, high)| format!("{} to {}", fixed(low, KWH_DIGITS), fixed(high, KWH_DIGITS))),
        _ => None,
    };
    Ok(WhatIfRow {
        quantity,
        label,
        driven: shown("driven")?,
        changed: shown("changed")?,
        bounds: bounds.unwrap_or("–".to_owned()),
    })
}

fn remarks(of_trip: &OfTrip<'_>, row: usize) -> Result<Vec<String>, BatchError> {
    let mut remarks = vec![if of_trip.text("kinematics", row)? == Some("re-timed") {
        "The speed cap re-times the trip over the same road; it is drawn at the places where it was driven."
            .to_owned()
    } else {
        "Speeds stay as driven: what the driver would do otherwise is not in it.".to_owned()
    }];
    if let Some(lost) = of_trip.number("energy_lost_coasting_kwh", row)? {
        remarks.push(format!(
            "If the driver let the stronger level slow the truck instead of coasting, stops would cost up to {lost:.3} kWh more. \
             On slippery roads the manufacturer's instruction decides on the level."
        ));
    }
    let infeasible = of_trip.number("infeasible_s", row)?.unwrap_or(0.0);
    if infeasible > 0.0 {
        remarks.push(format!("For {infeasible:.0} s the change asks more of the motor than the sheet's limits and than was ever driven."));
    }
    if of_trip.number("soc_least_changed_frac", row)?.is_some_and(|soc| soc <= 0.0) {
        remarks.push("The battery would have run empty on this trip.".to_owned());
    }
    Ok(remarks)
}
