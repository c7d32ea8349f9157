//! Where the braking energy went: polars sums by group.

use std::collections::HashMap;

use arrow::array::{Array, RecordBatch, StringArray};
use backwatt_schema::{BatchBuilder, BatchView, number_at, tables, text_at};
use polars::prelude::{
    Column, DataFrame, DataType, IntoColumn, IntoLazy, LazyFrame, NamedFrom, PlSmallStr, Series,
    SortMultipleOptions, UnionArgs, col, concat, lit,
};

use crate::ReportError;
use crate::frame::{energy_column, text_column, to_kwh};

/// In no column of `segments`: a vehicle has one.
const TYPE: &str = "vehicle_type";

/// Groupings of this table and the column of `segments` each goes by.
const GROUPINGS: [(&str, &str); 7] = [
    ("pilot", ""),
    ("vehicle", "vehicle_id"),
    (TYPE, TYPE),
    ("route", "route_id"),
    ("driver", "driver_id"),
    ("regen_level", "regen_level"),
    ("trip", "trip_id"),
];

fn energies() -> Vec<&'static str> {
    let mut names = vec!["energy_braking_kwh"];
    names.extend(tables::CASCADE);
    names.extend(tables::CASCADE_RANGES.as_flattened());
    names.extend(["braking_refused_full_kwh", "braking_refused_cold_kwh"]);
    names.extend(["energy_recoverable_low_kwh", "energy_recoverable_high_kwh"]);
    names.extend(["energy_attainable_kwh", "energy_recovered_p50_kwh"]);
    names
}

/// Sums of one vehicle; sums of several are added by [`merge`].
pub fn of_vehicle(
    vehicle_type: &str,
    segments: &RecordBatch,
    battery: &RecordBatch,
    trips: &RecordBatch,
    trip_routes: &RecordBatch,
    drivers: &[String],
) -> Result<DataFrame, ReportError> {
    let ledger = BatchView::new(&tables::SEGMENTS, segments);
    let terminals = BatchView::new(&tables::SEGMENT_BATTERY, battery);
    let mut columns: Vec<Column> = Vec::new();
    for (_, name) in GROUPINGS.iter().skip(1) {
        columns.push(match *name {
            "route_id" => text_column(name, &routes(&ledger, trip_routes)?),
            TYPE => text_column(name, &StringArray::from(vec![vehicle_type; ledger.rows()])),
            name => text_column(name, ledger.texts(name)?),
        });
    }
    let factors = factors(trips, ledger.texts("trip_id")?)?;
    for name in energies() {
        if name == "energy_recovered_p50_kwh" {
            columns.push(energy_column(name, terminals.numbers(name)?.iter()));
        } else {
            // Slow samples hide braking: the ledger's sums are brought to the middle of the correction band.
            let corrected = ledger.numbers(name)?.iter().zip(&factors).map(|(v, f)| Some(v? * (*f)?));
            columns.push(energy_column(name, corrected));
        }
    }
    let claimed: Vec<bool> = factors.iter().map(Option::is_some).collect();
    columns.push(Series::new(PlSmallStr::from_static("claimed"), claimed).into_column());
    let claimed = DataFrame::new(ledger.rows(), columns)?.lazy().filter(col("claimed"));
    let parts: Vec<LazyFrame> =
        GROUPINGS.iter().map(|(grouping, name)| grouped(&claimed, grouping, name)).collect();
    // A person with too little driving has no row, as in the answer table.
    let person = col("grouping").eq(lit("driver"));
    let shown = drivers.iter().fold(lit(false), |any, driver| any.or(col("group").eq(lit(driver.as_str()))));
    Ok(concat(parts, UnionArgs::default())?.filter(person.not().or(shown)).collect()?)
}

/// The route of each segment: the log's, else the one its trip was found on.
fn routes(ledger: &BatchView<'_>, trip_routes: &RecordBatch) -> Result<StringArray, ReportError> {
    let found = BatchView::new(&tables::TRIP_ROUTES, trip_routes);
    let (ids, routes) = (found.texts("trip_id")?, found.texts("route_id")?);
    let by_trip: HashMap<&str, &str> =
        (0..found.rows()).filter_map(|row| Some((text_at(ids, row)?, text_at(routes, row)?))).collect();
    let (trips, logged) = (ledger.texts("trip_id")?, ledger.texts("route_id")?);
    let route = |row: usize| text_at(logged, row).or_else(|| by_trip.get(text_at(trips, row)?).copied());
    Ok((0..ledger.rows()).map(route).collect())
}

/// Middle of the correction band of each segment's trip; `None` outside trips and where no claim is made.
fn factors(trips: &RecordBatch, of: &StringArray) -> Result<Vec<Option<f64>>, ReportError> {
    let view = BatchView::new(&tables::TRIPS, trips);
    let (ids, raw) = (view.texts("trip_id")?, view.numbers("energy_braking_kwh")?);
    let (low, high) = (view.numbers("energy_braking_low_kwh")?, view.numbers("energy_braking_high_kwh")?);
    let factor = |row: usize| {
        let (low, high) = (number_at(low, row)?, number_at(high, row)?);
        Some(if raw.value(row) > 0.0 { f64::midpoint(low, high) / raw.value(row) } else { 1.0 })
    };
    let by_trip: HashMap<&str, Option<f64>> =
        (0..view.rows()).map(|row| (ids.value(row), factor(row))).collect();
    Ok((0..of.len()).map(|row| by_trip.get(text_at(of, row)?).copied().flatten()).collect())
}

fn grouped(claimed: &LazyFrame, grouping: &str, name: &str) -> LazyFrame {
    let group = if name.is_empty() { lit("all") } else { col(name).fill_null(lit("(unknown)")) };
    let keyed = claimed.clone().with_columns([lit(grouping).alias("grouping"), group.alias("group")]);
    sum(keyed)
}

fn sum(keyed: LazyFrame) -> LazyFrame {
    let sums: Vec<_> = energies().into_iter().map(|name| col(name).sum()).collect();
    keyed.group_by([col("grouping"), col("group")]).agg(sums)
}

/// Adds up vehicles, and sorts.
pub fn merge(vehicles: Vec<DataFrame>) -> Result<RecordBatch, ReportError> {
    let empty = || {
        let mut columns = vec![text("grouping"), text("group")];
        columns.extend(
            energies()
                .into_iter()
                .map(|name| Series::new(PlSmallStr::from_str(name), Vec::<i64>::new()).into_column()),
        );
        DataFrame::new(0, columns)
    };
    let frames: Vec<LazyFrame> = if vehicles.is_empty() {
        vec![empty()?.lazy()]
    } else {
        vehicles.into_iter().map(IntoLazy::lazy).collect()
    };
    let merged = sum(concat(frames, UnionArgs::default())?)
        .sort(["grouping", "group"], SortMultipleOptions::default())
        .collect()?;
    to_batch(&merged)
}

fn text(name: &str) -> Column {
    Series::new_empty(PlSmallStr::from_str(name), &DataType::String).into_column()
}

fn to_batch(frame: &DataFrame) -> Result<RecordBatch, ReportError> {
    let mut builder = BatchBuilder::new(&tables::BRAKING_BALANCE);
    for name in ["grouping", "group"] {
        builder = builder.text(name, frame.column(name)?.str()?.iter());
    }
    for name in energies() {
        let sums = frame.column(name)?.i64()?;
        builder = builder.number(name, sums.iter().map(|sum| sum.map(to_kwh)));
    }
    Ok(builder.finish()?)
}
