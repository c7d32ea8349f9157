//! Where the difference between the pilot and the plan's energy per distance comes from.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};
use backwatt_stats::{ratio_of_sums, shapley};

use super::days::{Leg, Modelled, VehicleDay};
use super::packs::OF_BOUND;
use super::settings::{Assumption, Covers, Kind, PlanSettings};
use crate::recovery::evidence;
use crate::tally::Sums;

/// Causes a plan may state a scenario for, in the order they are printed.
pub const CAUSES: [&str; 5] =
    ["speed and stops", "payload", "grade", "temperature and auxiliaries", "regen level"];

pub(super) const DRIVEN: &str = "as driven";

/// The scenarios a split among these causes needs: each set of causes of which some is the plan's.
pub fn gap_scenarios(causes: &[usize]) -> Vec<(String, Vec<usize>)> {
    let sets = 1_u32..1 << causes.len();
    sets.map(|set| (name(causes, set), members(causes, set))).collect()
}

fn members(causes: &[usize], set: u32) -> Vec<usize> {
    causes.iter().enumerate().filter(|(at, _)| set & (1 << at) != 0).map(|(_, cause)| *cause).collect()
}

fn name(causes: &[usize], set: u32) -> String {
    if set == 0 {
        return DRIVEN.to_owned();
    }
    let names: Vec<&str> = members(causes, set).into_iter().map(|cause| CAUSES[cause]).collect();
    format!("the plan's {}", names.join(", "))
}

/// The parts of the gap of every energy that was assumed.
pub fn plan_gap(days: &[VehicleDay], settings: &PlanSettings) -> Result<RecordBatch, BatchError> {
    let mut rows = Vec::new();
    for of in &settings.assumptions {
        if let Kind::Energy(covers) = of.kind {
            rows.extend(parts(days, settings, of, covers));
        }
    }
    build(&rows)
}

struct Row<'a> {
    of: &'a Assumption,
    order: u32,
    part: String,
    gap: Option<f64>,
    half: Option<f64>,
    from: f64,
    distance_mi: f64,
    days: u64,
    evidence: &'static str,
    why: String,
}

/// A vehicle-day as the parts see it: distance, what was observed, and the model under every set of causes. [mi, kWh]
struct Day {
    distance_mi: f64,
    observed_kwh: f64,
    of_set: Vec<f64>,
}

/// The days an assumption speaks of.
struct Driven {
    names: Vec<String>,
    days: Vec<Day>,
    sums: Sums,
    /// Of each set of causes: what the sheet's ends leave open of the whole, and of its change against what was driven. [kWh]
    bounds: Vec<(f64, f64)>,
    distance_mi: f64,
}

impl Driven {
    fn gather(days: &[VehicleDay], causes: &[usize], of: &Assumption, covers: Covers) -> Self {
        let names: Vec<String> = (0..1_u32 << causes.len()).map(|set| name(causes, set)).collect();
        let bounds = vec![(0.0, 0.0); names.len()];
        let mut found = Self { names, days: Vec::new(), sums: Sums::default(), bounds, distance_mi: 0.0 };
        for day in days.iter().filter(|day| of.scope.takes_day(&day.vehicle_type, day.season)) {
            // Observed and modelled of the same trips; one whose route the log does not name as one belongs to none.
            let legs = day.legs.iter().filter(|leg| of.scope.takes_route(&leg.route));
            let is_modelled = |leg: &&Leg| found.names.iter().all(|name| leg.scenarios.get(name).is_some());
            let legs: Vec<&Leg> = legs.filter(is_modelled).collect();
            let distance_mi: f64 = legs.iter().map(|leg| leg.distance_mi).sum();
            if distance_mi <= 0.0 {
                continue;
            }
            let modelled = |set: usize| {
                legs.iter().filter_map(|leg| leg.scenarios.get(&found.names[set])).collect::<Vec<_>>()
            };
            let of_sets: Vec<Vec<&Modelled>> = (0..found.names.len()).map(modelled).collect();
            let observed =
                |leg: &&Leg| leg.driving_kwh + if covers == Covers::Trips { leg.standing_kwh } else { 0.0 };
            let sum = |of: &Vec<&Modelled>| of.iter().map(|one| counted(one, covers)).sum();
            for (bound, of) in found.bounds.iter_mut().zip(&of_sets) {
                bound.0 += of.iter().map(|one| one.total_high_kwh - one.total_low_kwh).sum::<f64>();
                bound.1 += of.iter().map(|one| one.change_high_kwh - one.change_low_kwh).sum::<f64>();
            }
            let observed_kwh = legs.iter().map(observed).sum();
            let of_set = of_sets.iter().map(sum).collect();
            found.days.push(Day { distance_mi, observed_kwh, of_set });
            found.distance_mi += distance_mi;
            let routes = day.routes.iter().filter(|(route, _)| of.scope.takes_route(route));
            routes.for_each(|(_, of)| found.sums.add(of));
        }
        found
    }

    fn per_mi(&self, of: &dyn Fn(&Day) -> f64) -> f64 {
        self.days.iter().map(of).sum::<f64>() / self.distance_mi
    }

    /// 90 % half-width over vehicle-days, with further half-widths.
    fn half(&self, of: &dyn Fn(&Day) -> f64, further: &[f64]) -> Option<f64> {
        let pairs: Vec<(f64, f64)> = self.days.iter().map(|day| (of(day), day.distance_mi)).collect();
        let days = ratio_of_sums(&pairs)?.half_width_90?;
        Some(further.iter().fold(days * days, |sum, more| sum + more * more).sqrt())
    }

    fn total_half(&self, set: usize) -> f64 {
        OF_BOUND * self.bounds[set].0 / self.distance_mi
    }

    fn change_half(&self, set: usize) -> f64 {
        OF_BOUND * self.bounds[set].1 / self.distance_mi
    }

    fn estimation(&self) -> f64 {
        self.sums.net_errors.half_width() / self.sums.distance_mi.max(f64::MIN_POSITIVE)
    }
}

fn parts<'a>(
    days: &[VehicleDay],
    settings: &'a PlanSettings,
    of: &'a Assumption,
    covers: Covers,
) -> Vec<Row<'a>> {
    let causes = &settings.causes;
    let driven = Driven::gather(days, causes, of, covers);
    if driven.distance_mi <= 0.0 {
        return Vec::new();
    }
    let (plan, whole) = (of.value, driven.names.len() - 1);
    let observed = evidence(driven.sums.moving_s, driven.sums.measured_moving_s, driven.sums.inferred_moving_s);
    let row = |order: usize, part: &str, of_day: &dyn Fn(&Day) -> f64, further: &[f64], grade, why: &str| Row {
        of,
        order: order as u32,
        part: part.to_owned(),
        gap: Some(driven.per_mi(of_day)),
        half: driven.half(of_day, further),
        from: driven.per_mi(&|day| if order < 2 { day.observed_kwh } else { day.of_set[0] }),
        distance_mi: driven.distance_mi,
        days: driven.days.len() as u64,
        evidence: grade,
        why: why.to_owned(),
    };
    let estimation = driven.estimation();
    let of_whole = |day: &Day| day.observed_kwh - plan * day.distance_mi;
    let of_sheet = |day: &Day| day.observed_kwh - day.of_set[0];
    let mut rows = vec![
        row(
            0,
            "whole",
            &of_whole,
            &[estimation],
            observed,
            "observed less planned; trips whose route the log names as one",
        ),
        row(
            1,
            "observed less the model of what was driven",
            &of_sheet,
            &[estimation, driven.total_half(0)],
            "modelled",
            OF_SHEET,
        ),
    ];
    for (at, cause) in CAUSES.iter().enumerate() {
        let place = causes.iter().position(|own| *own == at);
        // Driven in place of planned: the share of the cause with its sign turned.
        let of_cause = |day: &Day| {
            let shares = shapley(causes.len(), |set| day.of_set[set as usize]);
            -place.zip(shares).map_or(0.0, |(place, shares)| shares[place])
        };
        let found = match place {
            Some(place) => {
                row(2 + at, cause, &of_cause, &[driven.change_half(1 << place)], "modelled", BY_SHAPLEY)
            }
            None => Row { gap: None, half: None, ..row(2 + at, cause, &of_cause, &[], "none", NOT_SPLIT) },
        };
        rows.push(found);
    }
    let why = if causes.is_empty() {
        "the plan states no scenario: the model of what was driven less the plan's number".to_owned()
    } else {
        format!("the model with {} less the plan's number", driven.names[whole])
    };
    let of_plan = |day: &Day| day.of_set[whole] - plan * day.distance_mi;
    let last = "the model of the plan's scenario less the plan";
    rows.push(row(2 + CAUSES.len(), last, &of_plan, &[driven.total_half(whole)], "modelled", &why));
    rows
}

const OF_SHEET: &str = "the trucks against their sheet, on the same trips: mass, tyres, drag, losses and auxiliaries other than stated";
const BY_SHAPLEY: &str = "mean over all orders of exchanging the causes one by one (Shapley)";
const NOT_SPLIT: &str =
    "not split: [plan.scenario] states nothing of it, and it stays as driven in every model";

fn counted(modelled: &Modelled, covers: Covers) -> f64 {
    match covers {
        Covers::Driving => modelled.driving_kwh,
        Covers::Trips => modelled.total_kwh(),
    }
}

fn build(rows: &[Row<'_>]) -> Result<RecordBatch, BatchError> {
    let each = || rows.iter();
    let end = |side: f64| each().map(move |row| Some(row.gap? + side * row.half?)).collect::<Vec<_>>();
    BatchBuilder::new(&tables::PLAN_GAP)
        .text("vehicle_type", each().map(|row| row.of.scope.vehicle_type.as_deref()))
        .text("route", each().map(|row| row.of.scope.route.as_deref()))
        .text("season", each().map(|row| row.of.scope.season.map(super::Season::as_str)))
        .order("part_order", each().map(|row| row.order))
        .text("part", each().map(|row| Some(row.part.as_str())))
        .number("gap_p05_kwh_mi", end(-1.0))
        .number("gap_p50_kwh_mi", each().map(|row| row.gap))
        .number("gap_p95_kwh_mi", end(1.0))
        .number("energy_driven_kwh_mi", each().map(|row| row.from))
        .number("distance_mi", each().map(|row| row.distance_mi))
        .count("vehicle_days", each().map(|row| row.days))
        .text("evidence", each().map(|row| Some(row.evidence)))
        .text("why", each().map(|row| Some(row.why.as_str())))
        .finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::scope::Scope;

    fn settings(causes: Vec<usize>) -> PlanSettings {
        let energy = Assumption {
            scope: Scope::default(),
            kind: Kind::Energy(Covers::Driving),
            value: 0.8,
            tolerance_frac: 0.1,
        };
        PlanSettings {
            assumptions: vec![energy],
            reserve_frac: 0.1,
            target_frac: 0.95,
            pack_counts: Vec::new(),
            chargers: Vec::new(),
            price: None,
            planned: Vec::new(),
            is_southern: false,
            cold_usable_frac: 0.9,
            worn_usable_frac: 0.8,
            causes,
        }
    }

    /// A day of 10 miles: observed 12 kWh, modelled 11, 9 with the plan's payload, 10 with its temperature, 7.5 with both.
    fn day(number: usize) -> VehicleDay {
        let modelled = |kwh: f64| Modelled {
            driving_kwh: kwh,
            total_low_kwh: kwh,
            total_high_kwh: kwh,
            ..Modelled::default()
        };
        let names = [(0, 11.0), (1, 9.0), (2, 10.0), (3, 7.5)];
        let scenarios = names.map(|(set, kwh)| (name(&[1, 3], set), modelled(kwh))).into_iter().collect();
        let leg = Leg { distance_mi: 10.0, driving_kwh: 12.0, scenarios, ..Leg::default() };
        VehicleDay {
            vehicle: "a".to_owned(),
            day: number.to_string(),
            legs: vec![leg],
            ..VehicleDay::default()
        }
    }

    /// By hand: payload (2 + 2.5)/2, temperature (1 + 1.5)/2, whole 12 - 8, observed 12 - 11, plan 7.5 - 8, over 10 miles.
    #[test]
    fn parts_add_up_and_know_no_order() {
        let settings = settings(vec![1, 3]);
        let days = [day(1), day(2)];
        let found = parts(&days, &settings, &settings.assumptions[0], Covers::Driving);
        let gap = |part: &str| found.iter().find(|row| row.part == part).unwrap().gap;
        assert!((gap("payload").unwrap() - 0.225).abs() < 1e-12);
        assert!((gap("temperature and auxiliaries").unwrap() - 0.125).abs() < 1e-12);
        assert_eq!((gap("grade"), gap("speed and stops")), (None, None));
        let whole = gap("whole").unwrap();
        let parts: f64 = found.iter().filter(|row| row.part != "whole").filter_map(|row| row.gap).sum();
        assert!((whole - 0.4).abs() < 1e-12 && (parts - whole).abs() < 1e-12, "{whole} {parts}");
        assert!(found.iter().find(|row| row.part == "grade").unwrap().why.contains("not split"));
    }

    #[test]
    fn each_set_of_causes_is_a_scenario() {
        let names: Vec<String> = gap_scenarios(&[1, 4]).into_iter().map(|(name, _)| name).collect();
        assert_eq!(names, ["the plan's payload", "the plan's regen level", "the plan's payload, regen level"]);
        assert!(gap_scenarios(&[]).is_empty());
    }
}
