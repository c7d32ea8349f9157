//! Which open value moves recoverable energy most, type by type.

use std::collections::HashMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, tables};
use polars::prelude::DataFrame;

use crate::ReportError;
use crate::balance::VALUE;
use crate::frame::to_kwh;

const AT_ENDS: [&str; 2] = ["energy_recoverable_at_low_kwh", "energy_recoverable_at_high_kwh"];

struct Row {
    vehicle_type: String,
    value: String,
    braking_kwh: f64,
    /// With the value at either end. [kWh]
    moved: [f64; 2],
}

/// From sums by group: energies, and what each value moves.
pub fn of_types(energies: &DataFrame, swings: &DataFrame) -> Result<RecordBatch, ReportError> {
    let (groupings, groups) = (energies.column("grouping")?.str()?, energies.column("group")?.str()?);
    let sums = energies.column("energy_braking_kwh")?.i64()?;
    let of_type = |row: &usize| groupings.get(*row) == Some("vehicle_type");
    let braking: HashMap<&str, f64> = (0..energies.height())
        .filter(of_type)
        .filter_map(|row| Some((groups.get(row)?, to_kwh(sums.get(row)?))))
        .filter(|(_, kwh)| *kwh > 0.0)
        .collect();
    let (groupings, groups) = (swings.column("grouping")?.str()?, swings.column("group")?.str()?);
    let (values, low, high) =
        (swings.column(VALUE)?.str()?, swings.column(AT_ENDS[0])?.i64()?, swings.column(AT_ENDS[1])?.i64()?);
    let row = |row: usize| {
        let vehicle_type = groups.get(row).filter(|_| groupings.get(row) == Some("vehicle_type"))?;
        // Values go by their type, as those of two types are not the same.
        let value = values.get(row)?.strip_prefix(vehicle_type)?.strip_prefix(": ")?.to_owned();
        let moved = [low.get(row)?, high.get(row)?].map(to_kwh);
        let braking_kwh = *braking.get(vehicle_type)?;
        moved.iter().any(|kwh| *kwh != 0.0).then(|| Row {
            vehicle_type: vehicle_type.to_owned(),
            value,
            braking_kwh,
            moved,
        })
    };
    let mut rows: Vec<Row> = (0..swings.height()).filter_map(row).collect();
    let width = |row: &Row| (row.moved[1] - row.moved[0]).abs();
    rows.sort_by(|a, b| {
        let by_width = || width(b).total_cmp(&width(a)).then_with(|| a.value.cmp(&b.value));
        a.vehicle_type.cmp(&b.vehicle_type).then_with(by_width)
    });
    let number = |of: fn(&Row) -> f64| rows.iter().map(of).collect::<Vec<_>>();
    let table = BatchBuilder::new(&tables::OPEN_VALUES)
        .text("vehicle_type", rows.iter().map(|row| Some(row.vehicle_type.as_str())))
        .text(VALUE, rows.iter().map(|row| Some(row.value.as_str())))
        .number("energy_braking_kwh", number(|row| row.braking_kwh))
        .number(AT_ENDS[0], number(|row| row.moved[0]))
        .number(AT_ENDS[1], number(|row| row.moved[1]))
        .number("recoverable_at_low_frac", number(|row| row.moved[0] / row.braking_kwh))
        .number("recoverable_at_high_frac", number(|row| row.moved[1] / row.braking_kwh));
    Ok(table.finish()?)
}
