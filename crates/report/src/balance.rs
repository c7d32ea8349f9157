//! Where the braking energy went: polars sums by group.

use std::collections::HashMap;

use arrow::array::{Array, RecordBatch, StringArray};
use backwatt_schema::{BatchBuilder, BatchView, Kind, Table, number_at, tables, text_at};
use backwatt_stats::reach_of_ends;
use polars::prelude::{
    Column, DataFrame, IntoColumn, IntoLazy, LazyFrame, NamedFrom, PlSmallStr, Series, SortMultipleOptions,
    UnionArgs, col, concat, lit,
};

use crate::frame::{energy_column, text_column, to_kwh};
use crate::{ReportError, open_values};

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

/// What tells rows of swings apart beside their group: values of one type and of another are not the same.
pub const VALUE: &str = "value";

/// Sums by group: of energies, and of what each open value moves.
pub struct Sums {
    energies: DataFrame,
    swings: DataFrame,
}

/// The tables of one vehicle that sums are made of.
pub struct Tables<'a> {
    pub vehicle_type: &'a str,
    pub segments: &'a RecordBatch,
    pub battery: &'a RecordBatch,
    pub step_swings: &'a RecordBatch,
    pub trips: &'a RecordBatch,
    pub trip_routes: &'a RecordBatch,
}

fn energies() -> Vec<&'static str> {
    let mut names = vec!["energy_braking_kwh"];
    names.extend(tables::CASCADE);
    names.extend(["braking_refused_full_kwh", "braking_refused_cold_kwh"]);
    names.extend(["energy_recoverable_low_kwh", "energy_recoverable_high_kwh"]);
    names.extend(["energy_attainable_kwh", "energy_recovered_p50_kwh"]);
    names
}

/// Sums of one vehicle; sums of several are added by [`merge`].
pub fn of_vehicle(tables: &Tables<'_>, drivers: &[String]) -> Result<Sums, ReportError> {
    let ledger = BatchView::new(&tables::SEGMENTS, tables.segments);
    let terminals = BatchView::new(&tables::SEGMENT_BATTERY, tables.battery);
    let mut energy_columns = Vec::new();
    let factors = factors(tables.trips, ledger.texts("trip_id")?)?;
    for name in energies() {
        if name == "energy_recovered_p50_kwh" {
            energy_columns.push(energy_column(name, terminals.numbers(name)?.iter()));
        } else {
            energy_columns.push(corrected(name, &ledger, &factors)?);
        }
    }
    let energies = by_group(&ledger, tables, energy_columns, &factors, drivers, &sum)?;

    let moved = BatchView::new(&tables::STEP_SWINGS, tables.step_swings);
    let factors = self::factors(tables.trips, moved.texts("trip_id")?)?;
    let of_type = |value: Option<&str>| value.map(|value| format!("{}: {value}", tables.vehicle_type));
    let values: StringArray = moved.texts("value")?.iter().map(of_type).collect();
    let mut columns = vec![text_column(VALUE, &values)];
    for name in tables::SWINGS.as_flattened() {
        columns.push(corrected(name, &moved, &factors)?);
    }
    let swings = by_group(&moved, tables, columns, &factors, drivers, &sum_swings)?;
    Ok(Sums { energies, swings })
}

/// Slow samples hide braking: the ledger's sums are brought to the middle of the correction band.
fn corrected(name: &str, of: &BatchView<'_>, factors: &[Option<f64>]) -> Result<Column, ReportError> {
    let corrected = of.numbers(name)?.iter().zip(factors).map(|(v, f)| Some(v? * (*f)?));
    Ok(energy_column(name, corrected))
}

/// Columns of rows that name driver, route, level and trip, summed by every grouping over the trips with a claim.
fn by_group(
    rows: &BatchView<'_>,
    tables: &Tables<'_>,
    mut columns: Vec<Column>,
    factors: &[Option<f64>],
    drivers: &[String],
    sum: &dyn Fn(LazyFrame) -> LazyFrame,
) -> Result<DataFrame, ReportError> {
    for (_, name) in GROUPINGS.iter().skip(1) {
        columns.push(match *name {
            "route_id" => text_column(name, &routes(rows, tables.trip_routes)?),
            TYPE => text_column(name, &StringArray::from(vec![tables.vehicle_type; rows.rows()])),
            name => text_column(name, rows.texts(name)?),
        });
    }
    let claimed: Vec<bool> = factors.iter().map(Option::is_some).collect();
    columns.push(Series::new(PlSmallStr::from_static("claimed"), claimed).into_column());
    let claimed = DataFrame::new(rows.rows(), columns)?.lazy().filter(col("claimed"));
    let grouped = |(grouping, name): &(&str, &str)| {
        let group = if name.is_empty() { lit("all") } else { col(*name).fill_null(lit("(unknown)")) };
        sum(claimed.clone().with_columns([lit(*grouping).alias("grouping"), group.alias("group")]))
    };
    let parts: Vec<LazyFrame> = GROUPINGS.iter().map(grouped).collect();
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

fn sum(keyed: LazyFrame) -> LazyFrame {
    let sums: Vec<_> = energies().into_iter().map(|name| col(name).sum()).collect();
    keyed.group_by([col("grouping"), col("group")]).agg(sums)
}

fn sum_swings(keyed: LazyFrame) -> LazyFrame {
    let sums: Vec<_> = tables::SWINGS.as_flattened().iter().map(|name| col(*name).sum()).collect();
    keyed.group_by([col("grouping"), col("group"), col(VALUE)]).agg(sums)
}

/// What vehicles add up to.
pub struct Merged {
    pub balance: RecordBatch,
    pub open_values: RecordBatch,
}

/// Adds up vehicles, and sorts.
pub fn merge(vehicles: Vec<Sums>) -> Result<Merged, ReportError> {
    let (energy, moved): (Vec<_>, Vec<_>) =
        vehicles.into_iter().map(|sums| (sums.energies.lazy(), sums.swings.lazy())).unzip();
    if energy.is_empty() {
        let [balance, open_values] = [&tables::BRAKING_BALANCE, &tables::OPEN_VALUES].map(no_rows);
        return Ok(Merged { balance: balance?, open_values: open_values? });
    }
    let by = SortMultipleOptions::default;
    let energies = sum(concat(energy, UnionArgs::default())?).sort(["grouping", "group"], by()).collect()?;
    let swings = sum_swings(concat(moved, UnionArgs::default())?);
    let swings = swings.sort(["grouping", "group", VALUE], by()).collect()?;
    let balance = to_batch(&energies, &ranges(&swings)?)?;
    let open_values = open_values::of_types(&energies, &swings)?;
    Ok(Merged { balance, open_values })
}

/// No vehicles, no rows.
fn no_rows(table: &'static Table) -> Result<RecordBatch, ReportError> {
    let columns = table.columns.iter().fold(BatchBuilder::new(table), |builder, column| match column.kind {
        Kind::Text => builder.text(column.name, Vec::<Option<&str>>::new()),
        _ => builder.number(column.name, Vec::<Option<f64>>::new()),
    });
    Ok(columns.finish()?)
}

/// How far each step may lie below and above, by group. [kWh]
type Ranges = HashMap<(String, String), Vec<[f64; 2]>>;

fn ranges(swings: &DataFrame) -> Result<Ranges, ReportError> {
    let (groupings, groups) = (swings.column("grouping")?.str()?, swings.column("group")?.str()?);
    let mut moves: HashMap<(String, String), Vec<Vec<[f64; 2]>>> = HashMap::new();
    let mut ends = Vec::new();
    for name in tables::SWINGS.as_flattened() {
        ends.push(swings.column(name)?.i64()?);
    }
    let at = |end: usize, row: usize| ends[end].get(row).map_or(0.0, to_kwh);
    for row in 0..swings.height() {
        let key = [groupings.get(row), groups.get(row)].map(|text| text.unwrap_or_default().to_owned());
        let steps = moves.entry(key.into()).or_insert_with(|| vec![Vec::new(); tables::CASCADE.len()]);
        for (step, moves) in steps.iter_mut().enumerate() {
            moves.push([at(2 * step, row), at(2 * step + 1, row)]);
        }
    }
    let reach = |steps: Vec<Vec<[f64; 2]>>| steps.into_iter().map(reach_of_ends).collect();
    Ok(moves.into_iter().map(|(key, steps)| (key, reach(steps))).collect())
}

fn to_batch(frame: &DataFrame, ranges: &Ranges) -> Result<RecordBatch, ReportError> {
    let mut builder = BatchBuilder::new(&tables::BRAKING_BALANCE);
    for name in ["grouping", "group"] {
        builder = builder.text(name, frame.column(name)?.str()?.iter());
    }
    for name in energies() {
        let sums = frame.column(name)?.i64()?;
        builder = builder.number(name, sums.iter().map(|sum| sum.map(to_kwh)));
    }
    let (groupings, groups) = (frame.column("grouping")?.str()?, frame.column("group")?.str()?);
    let braking = frame.column("energy_braking_kwh")?.i64()?;
    for (step, [low, high]) in tables::CASCADE_RANGES.into_iter().enumerate() {
        let sums = frame.column(tables::CASCADE[step])?.i64()?;
        let range = |row: usize| {
            let key = [groupings.get(row), groups.get(row)].map(|text| text.unwrap_or_default().to_owned());
            let [below, above] = ranges.get(&key.into()).map_or([0.0; 2], |steps| steps[step]);
            let (sum, all) = (to_kwh(sums.get(row)?), to_kwh(braking.get(row)?));
            // Within the braking energy, which stands.
            Some([(sum - below).max(0.0), (sum + above).min(all)])
        };
        let found: Vec<Option<[f64; 2]>> = (0..frame.height()).map(range).collect();
        builder = builder
            .number(low, found.iter().map(|range| range.map(|[low, _]| low)))
            .number(high, found.iter().map(|range| range.map(|[_, high]| high)));
    }
    Ok(builder.finish()?)
}
