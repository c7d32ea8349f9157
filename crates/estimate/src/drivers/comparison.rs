//! One response of one group: a mixed model, and what it leaves of each driver.

use std::collections::{BTreeMap, BTreeSet};

use backwatt_schema::KILOGRAMS_PER_SHORT_TON;
use backwatt_stats::mixed::{Design, Fit, Grouping, Unfit, fit, is_independent};

use super::driver_days::{DriverDay, Key};

/// One driver on one vehicle, route and day, with the response to be compared.
pub(super) struct Row<'a> {
    pub key: &'a Key,
    pub day: &'a DriverDay,
    pub value: f64,
    /// Distance behind it: the residual variance goes with one over it.
    pub weight: f64,
    /// Variance of the value that is known beforehand.
    pub known_variance: f64,
}

/// What is left of the drivers, in the unit of the response.
pub(super) struct Comparison {
    pub drivers: BTreeMap<String, Effect>,
    pub adjusted_for: String,
    pub rows: usize,
    pub spread_drivers: f64,
    pub spread_vehicles: f64,
    pub spread_routes: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Effect {
    /// Least squares with drivers, vehicles and routes as fixed columns, with its standard error.
    pub unshrunken: f64,
    pub unshrunken_error: f64,
    pub mean: f64,
    pub p05: f64,
    pub p95: f64,
    pub positive: f64,
    pub best_quarter: f64,
    pub worst_quarter: f64,
}

type OfKey = fn(&Key) -> &str;

const DRAWS: usize = 4000;
/// A covariate asks for this many rows beyond those already spent.
const ROWS_PER_COVARIATE: usize = 10;
/// Mean cold or heat up to this is none. [10 K]
const MILD: f64 = 0.05;
/// Groupings, in the order of the design; the first is what is compared.
const DRIVER: usize = 0;

/// Differences between drivers, each against the mean of those `compared`.
///
/// value = X b + driver + vehicle + route + day + e, all four groupings random, rows weighed by distance; X is what is not the
/// driver's doing: payload, cold, heat, hour
/// Errors   why there is no comparison, in words for the reader
/// Source   Robinson (1991), That BLUP is a good thing, Stat. Sci. 6, 15; probabilities instead of ranks: Goldstein and
///          Spiegelhalter (1996), J. R. Stat. Soc. A 159, 385
pub(super) fn compare(rows: &[Row<'_>], compared: &BTreeSet<&str>) -> Result<Comparison, &'static str> {
    let model = Model::of(rows);
    let judged: Vec<usize> = model.groups[DRIVER]
        .1
        .iter()
        .enumerate()
        .filter(|(_, name)| compared.contains(name.as_str()))
        .map(|(at, _)| at)
        .collect();
    if judged.len() < 2 {
        return Err("no other driver with enough driving shares a truck or a route");
    }
    let fit = fit(&model.design).map_err(why)?;
    let Model { design, groups, covariates, .. } = &model;
    // Days are many and alike: only trucks and routes can be mistaken for a driver.
    let free: Vec<usize> = (0..groups.len()).filter(|at| groups[*at].0 != "day").collect();
    let named = groups.iter().skip(1).map(|(name, _)| *name);
    let adjusted_for: Vec<&str> = named.chain(covariates.iter().map(String::as_str)).collect();
    let spread = |wanted: &str| model.place(wanted).map_or(0.0, |at| fit.variance[at].sqrt());
    Ok(Comparison {
        drivers: effects(&fit, design, &groups[DRIVER].1, &judged, &free)?,
        adjusted_for: adjusted_for.join(", "),
        rows: rows.len(),
        spread_drivers: spread("driver"),
        spread_vehicles: spread("vehicle"),
        spread_routes: spread("route"),
    })
}

/// Rows as a design, with the names of its groupings and their levels; drivers first.
pub(super) struct Model {
    pub design: Design,
    pub groups: Vec<(&'static str, Vec<String>)>,
    covariates: Vec<String>,
    /// The fixed columns of the reference: mean payload and hour, air that neither heats nor cools. `None` where payload or
    /// weather is unknown for most days, or what the weather costs cannot be told.
    pub reference: Option<Vec<f64>>,
}

impl Model {
    pub fn of(rows: &[Row<'_>]) -> Self {
        let kinds: [(&'static str, OfKey); 4] = [
            ("driver", |key| &key.driver),
            ("vehicle", |key| &key.vehicle),
            ("route", |key| &key.route),
            ("day", |key| &key.day),
        ];
        let names = |of: OfKey| -> Vec<String> {
            let names: BTreeSet<&str> = rows.iter().map(|row| of(row.key)).collect();
            names.into_iter().map(str::to_owned).collect()
        };
        let groups: Vec<_> = kinds
            .into_iter()
            .map(|(name, of)| (name, names(of), of))
            .filter(|(name, levels, _)| *name == "driver" || levels.len() > 1)
            .collect();
        let Covariates { columns: fixed, names: covariates, reference } = covariates(rows);
        let design = design(rows, fixed, groups.iter().map(|(_, levels, of)| (levels.as_slice(), *of)));
        Self {
            design,
            groups: groups.into_iter().map(|(name, levels, _)| (name, levels)).collect(),
            covariates,
            reference,
        }
    }

    /// Where a grouping stands in the design.
    pub fn place(&self, name: &str) -> Option<usize> {
        self.groups.iter().position(|(own, _)| *own == name)
    }
}

pub(super) fn why(unfit: Unfit) -> &'static str {
    match unfit {
        Unfit::TooFewRows => "too few days for a comparison",
        Unfit::Malformed | Unfit::Dependent => "days, trucks and routes do not tell drivers apart",
        Unfit::Diverged => "the days do not vary enough for a comparison",
    }
}

fn design<'g>(
    rows: &[Row<'_>],
    fixed: Vec<Vec<f64>>,
    groups: impl Iterator<Item = (&'g [String], OfKey)>,
) -> Design {
    let mean = rows.iter().map(|row| row.weight).sum::<f64>() / rows.len() as f64;
    let grouping = |(levels, of): (&[String], OfKey)| Grouping {
        levels: levels.len(),
        level: rows
            .iter()
            .map(|row| levels.binary_search_by(|name| name.as_str().cmp(of(row.key))).unwrap_or(levels.len()))
            .collect(),
    };
    Design {
        response: rows.iter().map(|row| row.value).collect(),
        fixed,
        groups: groups.map(grouping).collect(),
        weight: rows.iter().map(|row| row.weight / mean).collect(),
        known_variance: rows.iter().map(|row| row.known_variance).collect(),
    }
}

/// Columns of what is not the driver's doing, the intercept first; names of the others; and where the reference lies.
struct Covariates {
    columns: Vec<Vec<f64>>,
    names: Vec<String>,
    reference: Option<Vec<f64>>,
}

fn covariates(rows: &[Row<'_>]) -> Covariates {
    type Of = fn(&DriverDay) -> (f64, f64);
    let kinds: [(&str, Of); 4] = [
        ("payload", |day| (day.payload_kg_mi / KILOGRAMS_PER_SHORT_TON, day.payload_known_mi)),
        ("cold", |day| (day.cold_k_mi / 10.0, day.temperature_known_mi)),
        ("heat", |day| (day.hot_k_mi / 10.0, day.temperature_known_mi)),
        ("hour of the day", |day| (day.hour_h_mi, day.distance_mi)),
    ];
    let mut columns = vec![vec![1.0; rows.len()]];
    let (mut names, mut reference, mut is_known) = (Vec::new(), vec![1.0], true);
    for (name, of) in kinds {
        let known: Vec<Option<f64>> = rows
            .iter()
            .map(|row| {
                let (sum, miles) = of(row.day);
                (miles > 0.5 * row.day.distance_mi && miles > 0.0).then(|| sum / miles)
            })
            .collect();
        let count = known.iter().flatten().count();
        let mean = known.iter().flatten().sum::<f64>() / count.max(1) as f64;
        // Unknown is set to the mean and told apart by a column of its own: it is no light truck and no mild day.
        let value: Vec<f64> = known.iter().map(|value| value.map_or(0.0, |value| value - mean)).collect();
        let unknown: Vec<f64> = known.iter().map(|value| f64::from(u8::from(value.is_none()))).collect();
        is_known &= 2 * count > rows.len();
        // Columns stand about their mean; no cold and no heat lie that much below it.
        let mild = if matches!(name, "cold" | "heat") { -mean } else { 0.0 };
        for (column, label, at) in [(value, name.to_owned(), mild), (unknown, format!("{name} unknown"), 0.0)] {
            let room = rows.len() >= ROWS_PER_COVARIATE * (columns.len() + 1);
            let varies = column.iter().any(|value| value.abs() > 1e-9);
            columns.push(column);
            if room && varies && is_independent(&columns) {
                names.push(label);
                reference.push(at);
            } else {
                // Weather that costs something nobody can tell is no mild weather.
                is_known &= at.abs() < MILD;
                columns.pop();
            }
        }
    }
    Covariates { columns, names, reference: is_known.then_some(reference) }
}

fn effects(
    fit: &Fit<'_>,
    design: &Design,
    drivers: &[String],
    judged: &[usize],
    free: &[usize],
) -> Result<BTreeMap<String, Effect>, &'static str> {
    let draws: Vec<Vec<f64>> = fit
        .draws(DRIVER, seed(design), DRAWS)
        .into_iter()
        .map(|draw| {
            let mean = judged.iter().map(|at| draw[*at]).sum::<f64>() / judged.len() as f64;
            judged.iter().map(|at| draw[*at] - mean).collect()
        })
        .collect();
    if draws.len() < DRAWS {
        return Err("the days do not vary enough for a comparison");
    }
    let quarters = quarters(&draws);
    let share = 1.0 / judged.len() as f64;
    let contrast = |at: &usize| -> Vec<(usize, f64)> {
        judged.iter().map(|other| (*other, f64::from(u8::from(other == at)) - share)).collect()
    };
    let contrasts: Vec<_> = judged.iter().map(contrast).collect();
    let unshrunken =
        fit.unshrunken(free, &contrasts).ok_or("days, trucks and routes do not tell drivers apart")?;
    let mut found = BTreeMap::new();
    for (own, at) in judged.iter().enumerate() {
        let (unshrunken, unshrunken_error) = unshrunken[own];
        let mut values: Vec<f64> = draws.iter().map(|draw| draw[own]).collect();
        values.sort_by(f64::total_cmp);
        let quantile = |share: f64| values[((share * DRAWS as f64) as usize).min(DRAWS - 1)];
        let effect = Effect {
            unshrunken,
            unshrunken_error,
            mean: values.iter().sum::<f64>() / DRAWS as f64,
            p05: quantile(0.05),
            p95: quantile(0.95),
            positive: values.iter().filter(|value| **value > 0.0).count() as f64 / DRAWS as f64,
            best_quarter: quarters[own].0,
            worst_quarter: quarters[own].1,
        };
        found.insert(drivers[*at].clone(), effect);
    }
    Ok(found)
}

/// Share of the draws in which each is among the lowest and the highest quarter.
fn quarters(draws: &[Vec<f64>]) -> Vec<(f64, f64)> {
    let people = draws.first().map_or(0, Vec::len);
    let quarter = people / 4;
    let mut counts = vec![(0.0, 0.0); people];
    let mut order: Vec<usize> = (0..people).collect();
    for draw in draws {
        order.sort_by(|a, b| draw[*a].total_cmp(&draw[*b]).then(a.cmp(b)));
        order[..quarter].iter().for_each(|at| counts[*at].0 += 1.0);
        order[people - quarter..].iter().for_each(|at| counts[*at].1 += 1.0);
    }
    let total = draws.len().max(1) as f64;
    counts.into_iter().map(|(best, worst)| (best / total, worst / total)).collect()
}

/// The same rows draw the same: a digest of what is compared (FNV-1a, Fowler, Noll and Vo, RFC 9923).
pub(super) fn seed(design: &Design) -> u64 {
    let levels = design.groups.iter().flat_map(|group| group.level.iter().map(|level| *level as u64));
    let values = design.response.iter().chain(&design.weight).map(|value| value.to_bits());
    values
        .chain(levels)
        .flat_map(u64::to_le_bytes)
        .fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3))
}
