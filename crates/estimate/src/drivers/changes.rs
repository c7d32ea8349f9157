//! What changed over time: each driver and vehicle against its own baseline, and the vehicle that is out of line.
//!
//! Days are compared once everything else of the model is taken out (other grouping, route, day, covariates), so a change that
//! all go through together, such as a season, is none here.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};
use backwatt_stats::mixed::{Fit, fit};
use backwatt_stats::{before_after, changes as shifts, student_quantile};

use super::comparison::{Model, seed, why};
use super::driver_days::{DriverDay, DriverDays, Key};
use super::group::{EXPOSURE_DAYS, Group, SMALL_GROUP, groups};
use super::response::{Part, Response, rows};
use super::whose::{Whose, whose};

/// Something that happened on a day, as the pilot file states it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct StatedEvent {
    /// First day after, spelt as service days are.
    pub day: String,
    pub what: String,
    pub drivers: Vec<String>,
    pub vehicles: Vec<String>,
}

/// Level of all searches of one kind and response together: a change found by chance in one pilot of twenty.
const ALPHA: f64 = 0.05;
const SHIFTS_MOST: usize = 2;
/// Fewer days than this on either side of a stated event make no mean.
const SIDE_LEAST: usize = 5;
const DRAWS: usize = 2000;
/// A vehicle is out of line where it is this surely further from its type than this share of consumption, or of the group's
/// avoidable loss. Ours, no source.
const ODD_SURE: f64 = 0.95;
const ODD_SHARE: f64 = 0.05;
/// Fewer vehicles of a type than this tell nothing of what is usual.
const TYPE_LEAST: usize = 3;

const FOUND: &str = "found because it is sharp, so its size is on the large side; days that follow their neighbours look like \
     shifts; the truck driven most, or its driver, was looked at for the same step, and nothing else";
const STATED: &str = "whatever else changed for this one on that day is in it";
const STANDING: &str =
    "a reason to look at the truck, no finding about it: tyres, brakes, battery and sheet may differ";

/// Stated and found changes of drivers and vehicles, and how each vehicle stands beside its type.
pub fn changes(days: &DriverDays, events: &[StatedEvent], pseudonyms: bool) -> Result<RecordBatch, BatchError> {
    let mut found = Vec::new();
    for group in &groups(days) {
        for response in [Response::Avoidable, Response::Consumption] {
            found.extend(of_group(days, group, response, events, pseudonyms));
        }
    }
    found.sort_by(|a, b| a.order().cmp(&b.order()));
    build(&found)
}

#[derive(Debug, Clone, Default)]
struct Found {
    subject: &'static str,
    name: String,
    response: &'static str,
    finding: &'static str,
    what: Option<String>,
    why: Option<String>,
    day: Option<String>,
    sides: Option<(u64, u64)>,
    /// Before, after, raw, regression, change, low end, high end.
    figures: Option<[f64; 7]>,
    chance: Option<f64>,
    standing: Option<[f64; 3]>,
    /// Consumption at the reference, low end, high end. [kWh/mile]
    reference: Option<(f64, Option<[f64; 2]>)>,
    caution: &'static str,
}

impl Found {
    fn order(&self) -> (&str, &str, &str, &str, Option<&str>) {
        (self.subject, &self.name, self.response, self.finding, self.day.as_deref())
    }
}

fn of_group(
    days: &DriverDays,
    group: &Group,
    response: Response,
    events: &[StatedEvent],
    pseudonyms: bool,
) -> Vec<Found> {
    let parts: Vec<(&Key, &DriverDay, Part)> = days
        .days
        .iter()
        .filter(|(key, _)| group.drivers.contains_key(&key.driver))
        .filter_map(|(key, day)| Some((key, day, response.part(day)?)))
        .collect();
    let (kwh, miles) = parts.iter().fold((0.0, 0.0), |sum, (.., part)| (sum.0 + part.kwh, sum.1 + part.miles));
    let keys: Vec<&Key> = parts.iter().map(|(key, ..)| *key).collect();
    let compared = group.compared();
    let silent = pseudonyms && compared.len() < SMALL_GROUP;
    let nothing = |subject, name: &str, why: &str| Found {
        subject,
        name: name.to_owned(),
        response: response.name(),
        finding: "not shown",
        why: Some(why.to_owned()),
        ..Found::default()
    };
    let hidden = |why: &str| group.drivers.keys().map(|name| nothing("driver", name, why)).collect::<Vec<_>>();
    if parts.is_empty() {
        return hidden("no day with a figure");
    }
    let model = Model::of(&rows(response, &parts));
    let fit = match fit(&model.design) {
        Ok(fit) => fit,
        Err(unfit) => return hidden(why(unfit)),
    };
    let of = Followed { model: &model, fit: &fit, keys: &keys, response, ratio: kwh / miles };
    let mut found = Vec::new();
    if silent {
        found.extend(hidden("fewer than five drivers to compare, and names are pseudonyms"));
    } else {
        found.extend(of.over_time("driver", events, &|name| compared.contains(name)));
    }
    found.extend(of.over_time("vehicle", events, &|_| true));
    found.extend(of.standing(&days.types));
    found
}

/// A fitted group and response.
struct Followed<'a> {
    model: &'a Model,
    fit: &'a Fit<'a>,
    /// One for each row of the design.
    keys: &'a [&'a Key],
    response: Response,
    /// Energy over distance of the whole group.
    ratio: f64,
}

impl Followed<'_> {
    /// In kWh a mile.
    fn scaled(&self, value: f64) -> f64 {
        if self.response.is_share() { self.ratio * value.exp_m1() } else { value }
    }

    fn over_time(
        &self,
        subject: &'static str,
        events: &[StatedEvent],
        may: &dyn Fn(&str) -> bool,
    ) -> Vec<Found> {
        let Some(place) = self.model.place(subject) else { return Vec::new() };
        let all = self.series(place);
        let long: Vec<(&String, &Series)> =
            all.iter().filter(|(name, days)| may(name) && days.len() >= EXPOSURE_DAYS).collect();
        let alpha = ALPHA / long.len().max(1) as f64;
        let spread = self.fit.variance[place].sqrt();
        let mut found = Vec::new();
        for (name, days) in long {
            let values: Vec<f64> = days.values().copied().collect();
            let base =
                Found { subject, name: name.clone(), response: self.response.name(), ..Found::default() };
            let parted = |at: usize, base: Found| {
                let (day, sides) = (days.keys().nth(at).cloned(), (at as u64, (values.len() - at) as u64));
                let figures = self.parted(&values, at, spread);
                Found { day, sides: Some(sides), figures, ..base }
            };
            for shift in shifts(&values, alpha, SHIFTS_MOST) {
                let day = days.keys().nth(shift.at).map_or("", String::as_str);
                let (finding, what) = match whose(self.model, self.keys, subject, name, day) {
                    Whose::Own => ("change found", None),
                    Whose::Of(other) => ("change of another", Some(format!("of {other}"))),
                    Whose::Either(other) => ("cannot be told apart", Some(format!("from a change of {other}"))),
                };
                let chance = Some(shift.p_value);
                let base = Found { finding, what, chance, caution: FOUND, ..base.clone() };
                found.push(parted(shift.at, base));
            }
            let concerns = |event: &&StatedEvent| {
                let named = if subject == "driver" { &event.drivers } else { &event.vehicles };
                named.contains(name)
            };
            for event in events.iter().filter(concerns) {
                let at = days.keys().filter(|day| day.as_str() < event.day.as_str()).count();
                let base = Found { what: Some(event.what.clone()), caution: STATED, ..base.clone() };
                found.push(if at < SIDE_LEAST || values.len() - at < SIDE_LEAST {
                    let why = format!("fewer than {SIDE_LEAST} days before or after {}", event.day);
                    Found { finding: "not shown", why: Some(why), ..base }
                } else {
                    parted(at, Found { finding: "change stated", ..base })
                });
            }
        }
        found
    }

    /// Daily means of each level of a grouping, all but its own difference taken out.
    fn series(&self, place: usize) -> BTreeMap<String, Series> {
        let design = &self.model.design;
        let coefficients = self.fit.coefficients();
        let levels: Vec<Vec<f64>> = (0..design.groups.len()).map(|group| self.fit.levels(group)).collect();
        let mut sums: BTreeMap<&str, BTreeMap<&str, (f64, f64)>> = BTreeMap::new();
        for (row, key) in self.keys.iter().enumerate() {
            let fixed: f64 = design.fixed.iter().zip(&coefficients).map(|(column, b)| column[row] * b).sum();
            let others: f64 = (0..levels.len())
                .filter(|group| *group != place)
                .map(|group| levels[group][design.groups[group].level[row]])
                .sum();
            let name = &self.model.groups[place].1[design.groups[place].level[row]];
            let sum = sums.entry(name).or_default().entry(&key.day).or_default();
            sum.0 += design.weight[row] * (design.response[row] - fixed - others);
            sum.1 += design.weight[row];
        }
        let means = |days: BTreeMap<&str, (f64, f64)>| -> Series {
            days.into_iter().map(|(day, (sum, weight))| (day.to_owned(), sum / weight)).collect()
        };
        sums.into_iter().map(|(name, days)| (name.to_owned(), means(days))).collect()
    }

    fn parted(&self, values: &[f64], at: usize, spread: f64) -> Option<[f64; 7]> {
        let (before, after) = (mean_and_error(&values[..at])?, mean_and_error(&values[at..])?);
        let found = before_after(before, after, 0.0, spread);
        let half = student_quantile(0.95, (values.len() - 2) as f64)? * found.standard_error;
        let figures = [before.0, after.0, found.raw, found.expected, found.change];
        let ends = [found.change - half, found.change + half];
        let mut all = [0.0; 7];
        all.iter_mut().zip(figures.into_iter().chain(ends)).for_each(|(to, from)| *to = self.scaled(from));
        Some(all)
    }

    /// Each vehicle beside the others of its type.
    fn standing(&self, types: &BTreeMap<String, String>) -> Vec<Found> {
        let Some(place) = self.model.place("vehicle") else { return Vec::new() };
        let names = &self.model.groups[place].1;
        let draws = self.fit.draws(place, seed(&self.model.design), DRAWS);
        let mut found = Vec::new();
        for (own, name) in names.iter().enumerate() {
            let alike: Vec<usize> =
                (0..names.len()).filter(|at| types.get(&names[*at]) == types.get(name)).collect();
            if alike.len() < TYPE_LEAST || draws.is_empty() {
                continue;
            }
            let mean = |draw: &[f64]| alike.iter().map(|at| draw[*at]).sum::<f64>() / alike.len() as f64;
            let mut values: Vec<f64> = draws.iter().map(|draw| self.scaled(draw[own] - mean(draw))).collect();
            values.sort_by(f64::total_cmp);
            let far = ODD_SHARE * self.ratio.abs();
            let count = values.len() as f64;
            let beyond = values.iter().filter(|value| value.abs() > far).count() as f64 / count;
            let quantile = |share: f64| values[(share * count) as usize];
            found.push(Found {
                subject: "vehicle",
                name: name.clone(),
                response: self.response.name(),
                finding: if beyond >= ODD_SURE { "out of line" } else { "not shown to differ" },
                standing: Some([values.iter().sum::<f64>() / count, quantile(0.05), quantile(0.95)]),
                reference: self.at_reference(place, own),
                caution: STANDING,
                ..Found::default()
            });
        }
        found
    }

    /// What a vehicle takes with the mean payload at the mean hour, neither cold nor hot, on the mean route and by the mean driver.
    ///
    /// exp(x b + u): x the reference, u what is the vehicle's own; the middle of days, not their mean
    /// Missing  no figure of avoidable loss, nor where most days' payload or weather is unknown, or weather that was never mild
    ///          cannot be told from the rest; no interval where vehicles do not differ beyond chance
    /// Source   best linear unbiased prediction, as for [`Fit::contrast`]
    fn at_reference(&self, place: usize, own: usize) -> Option<(f64, Option<[f64; 2]>)> {
        if !self.response.is_share() {
            return None;
        }
        let log = self.fit.contrast(self.model.reference.as_ref()?, &[(place, own, 1.0)]);
        let ends = log.half_width(0.9).map(|half| [(log.value - half).exp(), (log.value + half).exp()]);
        Some((log.value.exp(), ends))
    }
}

/// Day to value.
type Series = BTreeMap<String, f64>;

fn mean_and_error(values: &[f64]) -> Option<(f64, f64)> {
    let n = values.len() as f64;
    if n < 2.0 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Some((mean, (squares / (n - 1.0) / n).sqrt()))
}

fn build(found: &[Found]) -> Result<RecordBatch, BatchError> {
    let figure =
        |at: usize| found.iter().map(move |row| row.figures.map(|figures| figures[at])).collect::<Vec<_>>();
    let standing =
        |at: usize| found.iter().map(move |row| row.standing.map(|standing| standing[at])).collect::<Vec<_>>();
    let reference = |at: usize| {
        let end = move |row: &Found| row.reference.and_then(|(_, ends)| ends).map(|ends| ends[at]);
        found.iter().map(end).collect::<Vec<_>>()
    };
    BatchBuilder::new(&tables::CHANGES)
        .text("subject", found.iter().map(|row| Some(row.subject)))
        .text("name", found.iter().map(|row| Some(row.name.as_str())))
        .text("response", found.iter().map(|row| Some(row.response)))
        .text("finding", found.iter().map(|row| Some(row.finding)))
        .text("what", found.iter().map(|row| row.what.as_deref()))
        .text("why_not_shown", found.iter().map(|row| row.why.as_deref()))
        .text("service_day", found.iter().map(|row| row.day.as_deref()))
        .count("days_before", found.iter().map(|row| row.sides.map(|sides| sides.0)))
        .count("days_after", found.iter().map(|row| row.sides.map(|sides| sides.1)))
        .number("difference_before_kwh_mi", figure(0))
        .number("difference_after_kwh_mi", figure(1))
        .number("raw_change_kwh_mi", figure(2))
        .number("regression_kwh_mi", figure(3))
        .number("change_kwh_mi", figure(4))
        .number("change_p05_kwh_mi", figure(5))
        .number("change_p95_kwh_mi", figure(6))
        .number("chance_probability_frac", found.iter().map(|row| row.chance))
        .number("standing_kwh_mi", standing(0))
        .number("standing_p05_kwh_mi", standing(1))
        .number("standing_p95_kwh_mi", standing(2))
        .number("reference_kwh_mi", found.iter().map(|row| row.reference.map(|of| of.0)))
        .number("reference_p05_kwh_mi", reference(0))
        .number("reference_p95_kwh_mi", reference(1))
        .text("caution", found.iter().map(|row| Some(row.caution)))
        .finish()
}
