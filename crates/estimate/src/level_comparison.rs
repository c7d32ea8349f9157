//! Regen levels compared as they were driven: within driver, vehicle, route and temperature band, and an association at that.
//!
//! Levels were chosen, not assigned: a low one on ice and with an empty truck. What another level would have done on the same
//! trips is physics and stands in `what_if`; the two are shown side by side and never merged.

use std::collections::{BTreeMap, BTreeSet};

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, BatchView, number_at, tables, text_at};
use backwatt_stats::mixed::{Design, Estimate, Fit, Grouping, fit};

use crate::correction::{Band, bands};
use crate::tally::temperature_band;

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    vehicle_type: String,
    level: String,
    stratum: Stratum,
    day: String,
}

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Stratum {
    driver: String,
    vehicle: String,
    route: String,
    band: String,
}

#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Sums {
    braking_kwh: f64,
    recovered_kwh: f64,
    recoverable_kwh: f64,
}

/// What came back by level, stratum and day, where it is measured. Adds up over vehicles.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LevelDays {
    sums: BTreeMap<Key, Sums>,
}

/// Less braking energy than this makes no ratio. [kWh]
const BRAKING_FLOOR_KWH: f64 = 0.5;
const CAUTION: &str = "levels were chosen, not assigned: an association, no effect of the level";
const COVERAGE: f64 = 0.9;

/// One vehicle's levels: measured battery power, a logged level and a named driver and route.
pub fn level_days(
    vehicle_type: &str,
    segments: &RecordBatch,
    battery: &RecordBatch,
    trips: &RecordBatch,
) -> Result<LevelDays, BatchError> {
    let view = BatchView::new(&tables::SEGMENTS, segments);
    let of_battery = BatchView::new(&tables::SEGMENT_BATTERY, battery);
    let bands = bands(trips, view.texts("trip_id")?)?;
    let text = |name| view.texts(name);
    let (vehicles, drivers, routes) = (text("vehicle_id")?, text("driver_id")?, text("route_id")?);
    let (levels, bases, days) = (text("regen_level")?, text("level_basis")?, text("service_day")?);
    let (braking, recoverable) = (view.numbers("energy_braking_kwh")?, view.numbers("energy_recoverable_kwh")?);
    let temperature = view.numbers("temperature_ambient_k")?;
    let (evidence, recovered) =
        (of_battery.texts("evidence")?, of_battery.numbers("energy_recovered_p50_kwh")?);
    let mut found = LevelDays::default();
    for row in
        (0..view.rows()).filter(|row| bases.value(*row) == "logged" && evidence.value(*row) == "measured")
    {
        let (Some(driver), Some(route)) = (text_at(drivers, row), text_at(routes, row)) else { continue };
        let (Some(level), Some(day)) = (text_at(levels, row), text_at(days, row)) else { continue };
        let (Some(band), Some(back)) = (bands[row].map(Band::middle), number_at(recovered, row)) else {
            continue;
        };
        let vehicle = vehicles.value(row);
        let key = Key {
            vehicle_type: vehicle_type.to_owned(),
            level: level.to_owned(),
            stratum: Stratum {
                driver: driver.to_owned(),
                vehicle: vehicle.to_owned(),
                route: route.to_owned(),
                band: temperature_band(number_at(temperature, row)),
            },
            day: format!("{vehicle} {day}"),
        };
        found.sums.entry(key).or_default().add(&Sums {
            braking_kwh: braking.value(row) * band,
            recovered_kwh: back,
            recoverable_kwh: recoverable.value(row) * band,
        });
    }
    Ok(found)
}

impl LevelDays {
    pub fn add(&mut self, other: LevelDays) {
        for (key, sums) in other.sums {
            self.sums.entry(key).or_default().add(&sums);
        }
    }
}

impl Sums {
    fn add(&mut self, other: &Sums) {
        self.braking_kwh += other.braking_kwh;
        self.recovered_kwh += other.recovered_kwh;
        self.recoverable_kwh += other.recoverable_kwh;
    }
}

/// Levels of every vehicle type, each against the one most braking energy was driven at.
pub fn level_comparison(days: &LevelDays) -> Result<RecordBatch, BatchError> {
    let types: BTreeSet<&str> = days.sums.keys().map(|key| key.vehicle_type.as_str()).collect();
    let rows: Vec<Row> = types.into_iter().flat_map(|of| compare(of, days)).collect();
    build(&rows)
}

struct Row {
    vehicle_type: String,
    level: String,
    reference: String,
    days: u64,
    strata: u64,
    sums: Sums,
    /// R1 and R3 against the reference, where strata tell.
    recaptured: Option<Estimate>,
    recoverable: Option<Estimate>,
    rows: u64,
}

fn compare(vehicle_type: &str, days: &LevelDays) -> Vec<Row> {
    let rows: Vec<(&Key, &Sums)> = days
        .sums
        .iter()
        .filter(|(key, sums)| key.vehicle_type == vehicle_type && sums.braking_kwh >= BRAKING_FLOOR_KWH)
        .collect();
    let mut by_level: BTreeMap<&str, (Sums, BTreeSet<&str>)> = BTreeMap::new();
    for (key, sums) in &rows {
        let (total, days) = by_level.entry(&key.level).or_default();
        total.add(sums);
        days.insert(&key.day);
    }
    let most = by_level.iter().max_by(|a, b| a.1.0.braking_kwh.total_cmp(&b.1.0.braking_kwh));
    let Some(reference) = most.map(|(level, _)| (*level).to_owned()) else { return Vec::new() };
    let others: Vec<&str> = by_level.keys().copied().filter(|level| *level != reference).collect();
    let recaptured = within(&rows, &others, |sums| sums.recovered_kwh);
    let recoverable = within(&rows, &others, |sums| sums.recoverable_kwh);
    let row = |(level, (sums, days)): (&&str, &(Sums, BTreeSet<&str>))| {
        let at = others.iter().position(|other| other == level);
        Row {
            vehicle_type: vehicle_type.to_owned(),
            level: (*level).to_owned(),
            reference: reference.clone(),
            days: days.len() as u64,
            strata: strata_with_another(&rows, level),
            sums: *sums,
            recaptured: at.and_then(|at| recaptured[at]),
            recoverable: at.and_then(|at| recoverable[at]),
            rows: rows.len() as u64,
        }
    };
    by_level.iter().map(row).collect()
}

fn strata_with_another(rows: &[(&Key, &Sums)], level: &str) -> u64 {
    let at = |wanted: bool| -> BTreeSet<&Stratum> {
        rows.iter().filter(|(key, _)| (key.level == level) == wanted).map(|(key, _)| &key.stratum).collect()
    };
    at(true).intersection(&at(false)).count() as u64
}

/// Share of braking energy at each of `levels` less that at the reference, within strata.
///
/// y = a + Σ w (l - mean of l in the stratum) + Σ b (mean of l in the stratum) + stratum + vehicle-day + e: the w are what is
/// looked for, the b take what differs between strata
/// Missing  `None` for a level that no stratum has beside another, or with too few days
/// Source   Mundlak (1978), On the pooling of time series and cross section data, Econometrica 46, 69; Neuhaus and Kalbfleisch
///          (1998), Between- and within-cluster covariate effects, Biometrics 54, 638
fn within(rows: &[(&Key, &Sums)], levels: &[&str], of: fn(&Sums) -> f64) -> Vec<Option<Estimate>> {
    let strata: Vec<&Stratum> =
        rows.iter().map(|(key, _)| &key.stratum).collect::<BTreeSet<_>>().into_iter().collect();
    let days: Vec<&str> =
        rows.iter().map(|(key, _)| key.day.as_str()).collect::<BTreeSet<_>>().into_iter().collect();
    let stratum: Vec<usize> =
        rows.iter().map(|(key, _)| strata.binary_search(&&key.stratum).unwrap_or_default()).collect();
    let day: Vec<usize> =
        rows.iter().map(|(key, _)| days.binary_search(&key.day.as_str()).unwrap_or_default()).collect();
    let weight: Vec<f64> = rows.iter().map(|(_, sums)| sums.braking_kwh).collect();
    let mut fixed = vec![vec![1.0; rows.len()]];
    let mut place = vec![None; levels.len()];
    let mut between = Vec::new();
    for (at, level) in levels.iter().enumerate() {
        let is: Vec<f64> = rows.iter().map(|(key, _)| f64::from(u8::from(key.level == *level))).collect();
        let mean = stratum_means(&is, &stratum, &weight, strata.len());
        let own: Vec<f64> = is.iter().zip(&stratum).map(|(is, stratum)| is - mean[*stratum]).collect();
        if strata_with_another(rows, level) > 0 && keeps_independent(&mut fixed, own) {
            place[at] = Some(fixed.len() - 1);
            between.push(stratum.iter().map(|stratum| mean[*stratum]).collect::<Vec<f64>>());
        }
    }
    for column in between {
        keeps_independent(&mut fixed, column);
    }
    let design = Design {
        response: rows.iter().map(|(_, sums)| of(sums) / sums.braking_kwh).collect(),
        known_variance: vec![0.0; rows.len()],
        groups: vec![
            Grouping { levels: strata.len(), level: stratum },
            Grouping { levels: days.len(), level: day },
        ],
        weight,
        fixed,
    };
    let fitted = fit(&design).ok();
    let contrast = |fit: &Fit<'_>, at: usize| {
        let unit: Vec<f64> = (0..=at).map(|column| if column == at { 1.0 } else { 0.0 }).collect();
        fit.contrast(&unit, &[])
    };
    place.iter().map(|at| Some(contrast(fitted.as_ref()?, (*at)?))).collect()
}

fn stratum_means(values: &[f64], stratum: &[usize], weight: &[f64], strata: usize) -> Vec<f64> {
    let mut sums = vec![(0.0, 0.0); strata];
    for ((value, stratum), weight) in values.iter().zip(stratum).zip(weight) {
        sums[*stratum].0 += value * weight;
        sums[*stratum].1 += weight;
    }
    sums.into_iter().map(|(value, weight)| value / weight).collect()
}

/// Adds a column unless it follows from those there are.
fn keeps_independent(columns: &mut Vec<Vec<f64>>, column: Vec<f64>) -> bool {
    columns.push(column);
    let keeps = backwatt_stats::mixed::is_independent(columns);
    if !keeps {
        columns.pop();
    }
    keeps
}

fn build(rows: &[Row]) -> Result<RecordBatch, BatchError> {
    let of = |pick: fn(&Row) -> Option<f64>| rows.iter().map(pick).collect::<Vec<_>>();
    let end = |estimate: Option<Estimate>, sign: f64| {
        let estimate = estimate?;
        Some(estimate.value + sign * estimate.half_width(COVERAGE)?)
    };
    let ends = |pick: fn(&Row) -> Option<Estimate>, sign: f64| -> Vec<Option<f64>> {
        rows.iter().map(|row| end(pick(row), sign)).collect()
    };
    let share = |part: f64, whole: f64| (whole > 0.0).then(|| part / whole);
    BatchBuilder::new(&tables::LEVEL_COMPARISON)
        .text("vehicle_type", rows.iter().map(|row| Some(row.vehicle_type.as_str())))
        .text("regen_level", rows.iter().map(|row| Some(row.level.as_str())))
        .text("level_reference", rows.iter().map(|row| Some(row.reference.as_str())))
        .count("vehicle_days", rows.iter().map(|row| row.days))
        .count("strata", rows.iter().map(|row| row.strata))
        .number("energy_braking_kwh", of(|row| Some(row.sums.braking_kwh)))
        .number(
            "recapture_of_braking_frac",
            rows.iter().map(|row| share(row.sums.recovered_kwh, row.sums.braking_kwh)),
        )
        .number("recapture_difference_frac", of(|row| row.recaptured.map(|found| found.value)))
        .number("recapture_difference_p05_frac", ends(|row| row.recaptured, -1.0))
        .number("recapture_difference_p95_frac", ends(|row| row.recaptured, 1.0))
        .number("recapture_difference_error_frac", of(|row| row.recaptured.map(|found| found.standard_error)))
        .number(
            "recoverable_share_frac",
            rows.iter().map(|row| share(row.sums.recoverable_kwh, row.sums.braking_kwh)),
        )
        .number("recoverable_difference_frac", of(|row| row.recoverable.map(|found| found.value)))
        .number("recoverable_difference_p05_frac", ends(|row| row.recoverable, -1.0))
        .number("recoverable_difference_p95_frac", ends(|row| row.recoverable, 1.0))
        .count("rows", rows.iter().map(|row| row.rows))
        .text("evidence", rows.iter().map(|_| Some("measured")))
        .text("caution", rows.iter().map(|_| Some(CAUTION)))
        .finish()
}
