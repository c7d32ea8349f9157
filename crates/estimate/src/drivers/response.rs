//! What drivers are compared by, and what comes of it for each of them.

use std::collections::{BTreeMap, BTreeSet};

use super::comparison::{Comparison, Effect, Row, compare};
use super::driver_days::{DriverDay, DriverDays, Key};
use super::group::{EXPOSURE_DAYS, Group, SMALL_GROUP};
use super::occasions::Habit;

/// A figure of a day that is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Response {
    Avoidable,
    Consumption,
    Habit(Habit),
}

/// A day's share in a response: energy over distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Part {
    pub kwh: f64,
    pub miles: f64,
    /// Of the energy, known beforehand.
    variance_kwh2: f64,
    pub is_measured: bool,
}

/// Less distance than this on a day makes no row. [mi]
const DISTANCE_LEAST_MI: f64 = 1.0;
/// Battery power covers a day from this share of its distance.
const COVERED: f64 = 0.95;
/// State of charge tells a day's energy from this many times its own error.
const STEPS_TOLD: f64 = 3.0;
/// No difference in consumption is shown whose standard error is beyond this share of it: the margin usual for a plan.
const CONSUMPTION_ERROR_MOST: f64 = 0.10;

impl Response {
    pub fn name(self) -> &'static str {
        match self {
            Response::Avoidable => "avoidable loss",
            Response::Consumption => "consumption",
            Response::Habit(habit) => habit.name(),
        }
    }

    /// Energy and distance of a day; `None` where the day says nothing of it.
    pub fn part(self, day: &DriverDay) -> Option<Part> {
        let modelled = |kwh: f64, miles: f64| Part { kwh, miles, variance_kwh2: 0.0, is_measured: false };
        let part = match self {
            Response::Avoidable => modelled(day.avoidable_kwh, day.judged_mi),
            Response::Consumption => consumption(day)?,
            Response::Habit(habit @ (Habit::Speed | Habit::Standing)) => {
                modelled(day.habits_kwh[habit.place()], day.distance_mi)
            }
            Response::Habit(habit) => modelled(day.habits_kwh[habit.place()], day.judged_mi),
        };
        (part.miles >= DISTANCE_LEAST_MI).then_some(part)
    }

    /// Consumption is compared by its logarithm: a heavy truck and a light one differ by a share.
    pub fn is_share(self) -> bool {
        self == Response::Consumption
    }
}

fn consumption(day: &DriverDay) -> Option<Part> {
    if day.net_mi >= COVERED * day.distance_mi {
        let (kwh, miles) = (day.net_kwh, day.net_mi);
        return Some(Part { kwh, miles, variance_kwh2: 0.0, is_measured: true }).filter(|part| part.kwh > 0.0);
    }
    let (kwh, miles, variance_kwh2) = (day.drawn_kwh, day.drawn_mi, day.drawn_variance_kwh2);
    (kwh > STEPS_TOLD * variance_kwh2.sqrt()).then_some(Part { kwh, miles, variance_kwh2, is_measured: false })
}

/// One driver in one response.
pub(super) struct Found {
    pub shown: Result<Shown, String>,
    pub raw_kwh_mi: Option<f64>,
    pub measured_share: f64,
    pub days: usize,
}

/// In kWh a mile.
pub(super) struct Shown {
    pub group_kwh_mi: f64,
    pub effect: Effect,
    pub drivers: usize,
    pub adjusted_for: String,
    pub rows: usize,
    pub spreads: [f64; 3],
}

/// Compares the drivers of one group by one response.
pub(super) fn compare_by(
    days: &DriverDays,
    group: &Group,
    response: Response,
    pseudonyms: bool,
) -> BTreeMap<String, Found> {
    let parts: Vec<(&Key, &DriverDay, Part)> = days
        .days
        .iter()
        .filter(|(key, _)| group.drivers.contains_key(&key.driver))
        .filter_map(|(key, day)| Some((key, day, response.part(day)?)))
        .collect();
    let own = |driver: &str| parts.iter().filter(move |(key, ..)| key.driver == *driver).collect::<Vec<_>>();
    let days_of =
        |driver: &str| -> usize { own(driver).iter().map(|(key, ..)| &key.day).collect::<BTreeSet<_>>().len() };
    let compared: BTreeSet<&str> =
        group.compared().into_iter().filter(|driver| days_of(driver) >= EXPOSURE_DAYS).collect();
    let group_ratio = ratio(parts.iter().filter(|(key, ..)| compared.contains(key.driver.as_str())));
    let small = pseudonyms && compared.len() < SMALL_GROUP;
    let comparison = match group_ratio {
        _ if small => {
            Err("fewer than five drivers to compare, and names are pseudonyms: a figure would give people away")
        }
        None => Err("no day with a figure"),
        Some(_) => compare(&rows(response, &parts), &compared),
    };
    let found = |driver: &String| {
        let own = own(driver);
        let miles: f64 = own.iter().map(|(.., part)| part.miles).sum();
        let measured: f64 = own.iter().filter(|(.., part)| part.is_measured).map(|(.., part)| part.miles).sum();
        let shown = shown(group, response, driver, days_of(driver), &comparison, group_ratio, compared.len());
        Found {
            shown,
            raw_kwh_mi: ratio(own.into_iter()),
            measured_share: if miles > 0.0 { measured / miles } else { 0.0 },
            days: days_of(driver),
        }
    };
    group.drivers.keys().map(|driver| (driver.clone(), found(driver))).collect()
}

fn ratio<'p>(parts: impl Iterator<Item = &'p (&'p Key, &'p DriverDay, Part)>) -> Option<f64> {
    let (kwh, miles) = parts.fold((0.0, 0.0), |sum, (.., part)| (sum.0 + part.kwh, sum.1 + part.miles));
    (miles > 0.0).then(|| kwh / miles)
}

pub(super) fn rows<'a>(response: Response, parts: &[(&'a Key, &'a DriverDay, Part)]) -> Vec<Row<'a>> {
    parts
        .iter()
        .map(|(key, day, part)| {
            let (value, scale) = if response.is_share() {
                ((part.kwh / part.miles).ln(), part.kwh)
            } else {
                (part.kwh / part.miles, part.miles)
            };
            let known_variance = part.variance_kwh2 / scale.powi(2);
            Row { key, day, value, weight: part.miles, known_variance }
        })
        .collect()
}

fn shown(
    group: &Group,
    response: Response,
    driver: &str,
    days: usize,
    comparison: &Result<Comparison, &'static str>,
    group_ratio: Option<f64>,
    drivers: usize,
) -> Result<Shown, String> {
    let exposure = group.drivers.get(driver).filter(|exposure| exposure.is_enough());
    if exposure.is_none() {
        return Err("fewer than 10 driving days or 50 kWh of braking energy".to_owned());
    }
    let comparison = comparison.as_ref().map_err(|why| (*why).to_owned())?;
    if days < EXPOSURE_DAYS {
        return Err(format!("fewer than 10 driving days with a figure of {}", response.name()));
    }
    let group_kwh_mi = group_ratio.ok_or("no day with a figure")?;
    let effect = comparison.drivers.get(driver).ok_or("not compared")?;
    // A share of the group's ratio, to kWh a mile.
    let scaled = |value: f64| if response.is_share() { group_kwh_mi * value.exp_m1() } else { value };
    let error =
        if response.is_share() { group_kwh_mi * effect.unshrunken_error } else { effect.unshrunken_error };
    let most = if response.is_share() { CONSUMPTION_ERROR_MOST * group_kwh_mi } else { group_kwh_mi.abs() };
    if error.is_nan() || error > most {
        return Err(
            "too little shared with others: trucks, routes and days cannot be told from the driver".to_owned()
        );
    }
    let spreads = [comparison.spread_drivers, comparison.spread_vehicles, comparison.spread_routes];
    Ok(Shown {
        group_kwh_mi,
        effect: Effect {
            unshrunken: scaled(effect.unshrunken),
            unshrunken_error: error,
            mean: scaled(effect.mean),
            p05: scaled(effect.p05),
            p95: scaled(effect.p95),
            ..*effect
        },
        drivers,
        adjusted_for: comparison.adjusted_for.clone(),
        rows: comparison.rows,
        spreads: spreads.map(|spread| if response.is_share() { group_kwh_mi * spread } else { spread }),
    })
}
