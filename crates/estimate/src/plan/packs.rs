//! Which pack count finishes a route with its reserve.

use std::collections::{BTreeMap, BTreeSet};

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};
use backwatt_stats::{Chance, NextValue};

use super::days::{Leg, VehicleDay};
use super::gap::DRIVEN;
use super::scope::Season;
use super::settings::{PlanSettings, TypePlan};
use crate::learned::Z_90;
use crate::recovery::evidence;
use crate::tally::Sums;

/// Name of the scenario table's row in which the truck carries one pack more.
pub const ONE_PACK_MORE: &str = "one pack more";
/// Scenario under which nobody drives faster than a cap.
pub const SPEED_CAP: &str = "speed cap";
/// Both ends of a sheet at once are a bound: half of that width stands in for the 90 % half-width, as for R2.
pub(crate) const OF_BOUND: f64 = 0.25;

/// What a day is made harder by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PackScenario {
    AsDriven,
    Hot,
    Cold,
    Heavy,
    Worn,
    Worst,
}

impl PackScenario {
    pub const ALL: [PackScenario; 6] =
        [Self::AsDriven, Self::Hot, Self::Cold, Self::Heavy, Self::Worn, Self::Worst];

    pub fn as_str(self) -> &'static str {
        match self {
            Self::AsDriven => "as driven",
            Self::Hot => "hot",
            Self::Cold => "cold",
            Self::Heavy => "heavy",
            Self::Worn => "worn",
            Self::Worst => "cold, heavy and worn",
        }
    }

    /// Rows of the scenario table that are laid upon the day.
    fn changes(self) -> &'static [&'static str] {
        match self {
            Self::AsDriven | Self::Worn => &[],
            Self::Hot => &["hot"],
            Self::Cold => &["cold"],
            Self::Heavy => &["heavy"],
            Self::Worst => &["cold", "heavy"],
        }
    }

    fn usable(self, settings: &PlanSettings) -> f64 {
        let cold = if matches!(self, Self::Cold | Self::Worst) { settings.cold_usable_frac } else { 1.0 };
        let worn = if matches!(self, Self::Worn | Self::Worst) { settings.worn_usable_frac } else { 1.0 };
        cold * worn
    }
}

/// Days of a type on one route in one season.
struct Group<'d> {
    of: &'d TypePlan,
    route: String,
    season: Option<Season>,
    days: Vec<&'d VehicleDay>,
    sums: Sums,
}

/// Pack counts for every type whose packs and capacity are known.
pub fn pack_sizing(
    days: &[VehicleDay],
    types: &[TypePlan],
    settings: &PlanSettings,
) -> Result<RecordBatch, BatchError> {
    let mut rows = Vec::new();
    for group in groups(days, types) {
        let charged = group.days.iter().filter(|day| is_charged_midday(day)).count();
        let ways: &[bool] = if charged > 0 { &[true, false] } else { &[true] };
        for midday in ways {
            let from = rows.len();
            for scenario in PackScenario::ALL {
                let at = rows.len();
                rows.extend(
                    counts(group.of, settings)
                        .into_iter()
                        .filter_map(|packs| row(&group, settings, scenario, *midday, packs)),
                );
                if let Some(smallest) =
                    rows[at..].iter_mut().find(|row: &&mut Row| row.meets(settings) == Some(true))
                {
                    smallest.is_smallest = true;
                }
            }
            say_what_breaks(&mut rows[from..], settings);
        }
    }
    build(&rows, settings)
}

fn groups<'d>(days: &'d [VehicleDay], types: &'d [TypePlan]) -> Vec<Group<'d>> {
    let mut groups = Vec::new();
    for of in types.iter().filter(|of| of.packs.is_some()) {
        let mut by: BTreeMap<(String, Option<Season>), Vec<&VehicleDay>> = BTreeMap::new();
        for day in days.iter().filter(|day| day.vehicle_type == of.name && day.capacity_kwh.is_some()) {
            by.entry((day.route().to_owned(), day.season)).or_default().push(day);
        }
        groups.extend(by.into_iter().map(|((route, season), days)| {
            let mut sums = Sums::default();
            days.iter().for_each(|day| sums.add(&day.sums()));
            Group { of, route, season, days, sums }
        }));
    }
    groups
}

/// The plan's counts and the type's own, rising.
fn counts(of: &TypePlan, settings: &PlanSettings) -> Vec<u64> {
    let own = of.packs.map(|packs| packs.round() as u64);
    let counts: BTreeSet<u64> =
        settings.pack_counts.iter().copied().chain(own).filter(|packs| *packs > 0).collect();
    counts.into_iter().collect()
}

fn is_charged_midday(day: &VehicleDay) -> bool {
    day.legs.iter().any(|leg| leg.charged_kwh > 0.0)
}

struct Row {
    vehicle_type: String,
    route: String,
    season: Option<Season>,
    scenario: PackScenario,
    midday: bool,
    packs: u64,
    capacity_kwh: f64,
    need_p50_kwh: f64,
    need_p90_kwh: Option<f64>,
    soc_p10: Option<f64>,
    chance: Option<Chance>,
    is_smallest: bool,
    breaks: Option<String>,
    per_pack_mi: Option<f64>,
    distance_p50_mi: f64,
    days: u64,
    vehicles: u64,
    charged: u64,
    evidence: &'static str,
    why: String,
}

impl Row {
    fn meets(&self, settings: &PlanSettings) -> Option<bool> {
        self.chance.map(|chance| chance.value >= settings.target_frac)
    }
}

fn row(
    group: &Group<'_>,
    settings: &PlanSettings,
    scenario: PackScenario,
    midday: bool,
    packs: u64,
) -> Option<Row> {
    let now = group.of.packs?;
    let ratio = packs as f64 / now;
    let each: Vec<(f64, f64)> = group
        .days
        .iter()
        .filter_map(|day| {
            let usable = day.capacity_kwh?.0 * ratio * scenario.usable(settings);
            let use_of = |leg: &Leg| use_kwh(leg, scenario, packs as f64 - now);
            Some((most_gone_kwh(&day.legs, use_of, midday, usable), usable))
        })
        .collect();
    let needs: Vec<f64> = each.iter().map(|(need, _)| *need).collect();
    let shares: Vec<f64> = each.iter().map(|(need, usable)| (need / usable).max(1e-6).ln()).collect();
    let capacity_kwh = each.iter().map(|(_, usable)| usable).sum::<f64>() / each.len().max(1) as f64;
    let shared = shared_sd(group, scenario, packs as f64 - now);
    let next = NextValue::new(&shares);
    let used_p90 = next.as_ref().map(|next| next.quantile(0.9).exp());
    let total_mi: f64 = group.days.iter().map(|day| day.distance_mi()).sum();
    let total_kwh: f64 = group
        .days
        .iter()
        .map(|day| {
            day.legs.iter().map(|leg| use_kwh(leg, scenario, packs as f64 - now) + leg.parked_kwh).sum::<f64>()
        })
        .sum();
    let is_driven = scenario == PackScenario::AsDriven && (ratio - 1.0).abs() < 1e-9;
    let observed = evidence(group.sums.moving_s, group.sums.measured_moving_s, group.sums.inferred_moving_s);
    Some(Row {
        vehicle_type: group.of.name.clone(),
        route: group.route.clone(),
        season: group.season,
        scenario,
        midday,
        packs,
        capacity_kwh,
        need_p50_kwh: median(&needs),
        need_p90_kwh: used_p90.map(|used| used * capacity_kwh),
        soc_p10: used_p90.map(|used| 1.0 - used),
        chance: next.map(|next| next.below((1.0 - settings.reserve_frac).max(1e-6).ln(), shared)),
        is_smallest: false,
        breaks: None,
        per_pack_mi: (total_mi > 0.0 && total_kwh > 0.0)
            .then(|| capacity_kwh / packs as f64 * (1.0 - settings.reserve_frac) * total_mi / total_kwh),
        distance_p50_mi: median(&group.days.iter().map(|day| day.distance_mi()).collect::<Vec<_>>()),
        days: group.days.len() as u64,
        vehicles: group.days.iter().map(|day| day.vehicle.as_str()).collect::<BTreeSet<_>>().len() as u64,
        charged: group.days.iter().filter(|day| is_charged_midday(day)).count() as u64,
        evidence: if is_driven { observed } else { "modelled" },
        why: why(group, shared, is_driven),
    })
}

/// A trip's use under a scenario with more packs. A pack's mass enters rolling and inertia in proportion, so that what
/// one more costs is laid on for each.
fn use_kwh(leg: &Leg, scenario: PackScenario, more_packs: f64) -> f64 {
    let change = |name: &str| match (leg.scenarios.get(DRIVEN), leg.scenarios.get(name)) {
        (Some(driven), Some(changed)) => changed.total_kwh() - driven.total_kwh(),
        _ => 0.0,
    };
    let laid_on: f64 = scenario.changes().iter().map(|name| change(name)).sum();
    leg.driving_kwh + leg.standing_kwh + laid_on + more_packs * change(ONE_PACK_MORE)
}

/// Most that is gone from a battery at any time of a day that begins full; a charge ends at full.
fn most_gone_kwh(legs: &[Leg], use_of: impl Fn(&Leg) -> f64, midday: bool, usable_kwh: f64) -> f64 {
    let (mut gone, mut most) = (0.0_f64, 0.0_f64);
    for leg in legs {
        gone += use_of(leg) + leg.parked_kwh;
        most = most.max(gone);
        if midday {
            // A charger stops at full, and no logged charge fills more than was there to fill.
            gone = (gone - leg.charged_kwh.min(usable_kwh)).max(0.0);
        }
    }
    most
}

/// Gone from the battery when the day is over, charges of the day as they were. [kWh]
pub(super) fn gone_at_night_kwh(day: &VehicleDay) -> f64 {
    day.legs.iter().fold(0.0, |gone: f64, leg| {
        (gone + leg.driving_kwh + leg.standing_kwh + leg.parked_kwh - leg.charged_kwh).max(0.0)
    })
}

/// Standard deviation of the logarithm of use over usable energy that all days share: estimation or sensors, capacity, and
/// the sheet under a scenario.
fn shared_sd(group: &Group<'_>, scenario: PackScenario, more_packs: f64) -> f64 {
    let used: f64 = group.days.iter().map(|day| day.use_kwh()).sum();
    if used <= 0.0 {
        return 0.0;
    }
    let estimation = group.sums.net_errors.half_width() / Z_90 / used;
    let days = group.days.len() as f64;
    let capacity =
        group.days.iter().filter_map(|day| day.capacity_kwh).map(|(kwh, sd)| sd / kwh).sum::<f64>() / days;
    let bound = |name: &str| -> f64 {
        let legs = group.days.iter().flat_map(|day| &day.legs).filter_map(|leg| leg.scenarios.get(name));
        legs.map(|leg| leg.change_high_kwh - leg.change_low_kwh).sum()
    };
    let named = scenario.changes().iter().map(|name| bound(name));
    let packs = more_packs.abs() * bound(ONE_PACK_MORE);
    let sheet: f64 = named.chain([packs]).map(|width| (OF_BOUND * width / Z_90 / used).powi(2)).sum();
    (estimation.powi(2) + capacity.powi(2) + sheet).sqrt()
}

fn why(group: &Group<'_>, shared_sd: f64, is_driven: bool) -> String {
    let model = if is_driven { "" } else { ", moved by what the model says of the change" };
    format!(
        "{} service days as driven, each from a full battery{model}; {:.1} % (one standard deviation) is shared by all days; one \
         driver more careful or a day unlike these is not in it",
        group.days.len(),
        100.0 * shared_sd
    )
}

/// On the smallest count that meets the target as driven: the scenarios in which that count does not.
fn say_what_breaks(rows: &mut [Row], settings: &PlanSettings) {
    let smallest =
        rows.iter().find(|row| row.scenario == PackScenario::AsDriven && row.is_smallest).map(|row| row.packs);
    let Some(packs) = smallest else { return };
    let broken: Vec<&str> = rows
        .iter()
        .filter(|row| row.packs == packs && row.meets(settings) == Some(false))
        .map(|row| row.scenario.as_str())
        .collect();
    let text = broken.join("; ");
    if let Some(row) = rows.iter_mut().find(|row| row.scenario == PackScenario::AsDriven && row.is_smallest) {
        row.breaks = Some(text);
    }
}

/// Middle of a few numbers.
pub(super) fn median(values: &[f64]) -> f64 {
    percentile(values, 0.5)
}

/// Linear between order statistics.
pub(super) fn percentile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let Some(last) = sorted.len().checked_sub(1) else { return 0.0 };
    let at = share * last as f64;
    let (below, above) = (at.floor() as usize, at.ceil() as usize);
    if sorted[below] == sorted[above] {
        sorted[below]
    } else {
        sorted[below] + (sorted[above] - sorted[below]) * (at - below as f64)
    }
}

fn build(rows: &[Row], settings: &PlanSettings) -> Result<RecordBatch, BatchError> {
    let each = || rows.iter();
    let season = |row: &Row| row.season.map_or("(undated)", Season::as_str);
    BatchBuilder::new(&tables::PACK_SIZING)
        .text("vehicle_type", each().map(|row| Some(row.vehicle_type.as_str())))
        .text("route", each().map(|row| Some(row.route.as_str())))
        .text("season", each().map(|row| Some(season(row))))
        .text("scenario", each().map(|row| Some(row.scenario.as_str())))
        .text("midday_charging", each().map(|row| Some(if row.midday { "as driven" } else { "none" })))
        .count("packs", each().map(|row| row.packs))
        .number("capacity_usable_kwh", each().map(|row| row.capacity_kwh))
        .number("reserve_frac", each().map(|_| settings.reserve_frac))
        .number("energy_day_p50_kwh", each().map(|row| row.need_p50_kwh))
        .number("energy_day_p90_kwh", each().map(|row| row.need_p90_kwh))
        .number("soc_end_p10_frac", each().map(|row| row.soc_p10))
        .number("probability_finish_frac", each().map(|row| row.chance.map(|chance| chance.value)))
        .number("probability_finish_p05_frac", each().map(|row| row.chance.map(|chance| chance.low)))
        .number("probability_finish_p95_frac", each().map(|row| row.chance.map(|chance| chance.high)))
        .number("target_frac", each().map(|_| settings.target_frac))
        .flag("meets_target", each().map(|row| row.meets(settings)))
        .flag("is_smallest", each().map(|row| row.is_smallest))
        .text("breaks", each().map(|row| row.breaks.as_deref()))
        .number("range_per_pack_mi", each().map(|row| row.per_pack_mi))
        .number("distance_day_p50_mi", each().map(|row| row.distance_p50_mi))
        .count("vehicle_days", each().map(|row| row.days))
        .count("vehicles", each().map(|row| row.vehicles))
        .count("days_charged_midday", each().map(|row| row.charged))
        .text("evidence", each().map(|row| Some(row.evidence)))
        .text("why", each().map(|row| Some(row.why.as_str())))
        .finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn leg(use_kwh: f64, charged_kwh: f64) -> Leg {
        Leg { driving_kwh: use_kwh, charged_kwh, ..Leg::default() }
    }

    /// By hand: 30 out, 20 in, 25 out: 35 gone at most with the charge, 55 without; a charge never goes beyond full.
    #[test]
    fn a_midday_charge_gives_back_what_it_gave() {
        let legs = [leg(30.0, 20.0), leg(25.0, 0.0)];
        let plain = |leg: &Leg| leg.driving_kwh;
        assert_eq!(most_gone_kwh(&legs, plain, true, 90.0), 35.0);
        assert_eq!(most_gone_kwh(&legs, plain, false, 90.0), 55.0);
        assert_eq!(most_gone_kwh(&[leg(10.0, 50.0), leg(15.0, 0.0)], plain, true, 90.0), 15.0);
    }

    #[test]
    fn percentiles_lie_between_order_statistics() {
        assert_eq!((median(&[3.0, 1.0, 2.0]), median(&[1.0, 2.0]), median(&[])), (2.0, 1.5, 0.0));
        assert!((percentile(&[0.0, 10.0], 0.9) - 9.0).abs() < 1e-12);
    }
}
