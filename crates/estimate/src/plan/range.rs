//! A range that was assumed, against use for each mile and what the packs hold.

use super::days::{Modelled, VehicleDay};
use super::gap::DRIVEN;
use super::judged::{Measured, Row, in_short, judged_within, margin};
use super::packs::{OF_BOUND, ONE_PACK_MORE};
use super::scale::Scale;
use super::settings::{Assumption, PlanSettings, TypePlan};
use super::spread::DayRatio;
use crate::learned::Z_90;
use crate::recovery::evidence;
use crate::tally::Sums;

/// Use over what those packs hold is the ratio that is tested, so that trucks of unlike capacity add up: a long range is a small
/// use, and margin and interval turn over with it.
pub(super) fn range<'a>(
    of: &'a Assumption,
    days: &[&VehicleDay],
    types: &[TypePlan],
    packs: f64,
    settings: &PlanSettings,
) -> Row<'a> {
    let days: Vec<&&VehicleDay> = days
        .iter()
        .filter(|day| {
            day.capacity_kwh.is_some() && (of.scope.route.is_none() || of.scope.takes_route(day.route()))
        })
        .collect();
    let now =
        |day: &VehicleDay| types.iter().find(|own| own.name == day.vehicle_type).and_then(|own| own.packs);
    // Use over what those packs hold, so that trucks of unlike capacity add up: batteries for each mile.
    let mut rows = Vec::new();
    let (mut sums, mut bound_kwh, mut used_kwh, mut capacity_rel, mut is_driven) =
        (Sums::default(), 0.0, 0.0, 0.0, true);
    for day in &days {
        let (Some((capacity, sd)), Some(now)) = (day.capacity_kwh, now(day)) else { continue };
        let more = packs - now;
        is_driven &= more.abs() < 1e-9;
        let of_pack = |pick: fn(&Modelled) -> f64| -> f64 {
            day.legs.iter().filter_map(|leg| leg.scenarios.get(ONE_PACK_MORE)).map(pick).sum()
        };
        let driven: f64 =
            day.legs.iter().filter_map(|leg| leg.scenarios.get(DRIVEN)).map(Modelled::total_kwh).sum();
        let use_kwh = day.use_kwh() + more * (of_pack(Modelled::total_kwh) - driven);
        let holds = capacity * packs / now * (1.0 - settings.reserve_frac);
        rows.push(DayRatio {
            over: use_kwh / holds,
            under: day.distance_mi(),
            vehicle: &day.vehicle,
            day: &day.day,
        });
        bound_kwh += more.abs() * of_pack(|of| of.change_high_kwh - of.change_low_kwh);
        used_kwh += use_kwh;
        capacity_rel += sd / capacity * use_kwh;
        sums.add(&day.sums());
    }
    let (over, under) = rows.iter().fold((0.0, 0.0), |sum, row| (sum.0 + row.over, sum.1 + row.under));
    let share = if used_kwh > 0.0 {
        let estimation = sums.net_errors.half_width() / used_kwh;
        let capacity = Z_90 * capacity_rel / used_kwh;
        let sheet = OF_BOUND * bound_kwh / used_kwh;
        (estimation.powi(2) + capacity.powi(2) + sheet.powi(2)).sqrt()
    } else {
        0.0
    };
    let observed = evidence(sums.moving_s, sums.measured_moving_s, sums.inferred_moving_s);
    let measured = Measured {
        shared_half: if under > 0.0 { over / under * share } else { 0.0 },
        rows,
        // One over a use: the logarithm is as wide either way.
        scale: Scale::Positive,
        distance_mi: under,
        evidence: if is_driven { observed } else { "modelled" },
    };
    let margin = margin(of);
    let text = format!("range on {packs} packs from full to the reserve, stops and parking included");
    // A long range is a small use: the margin turns over with it.
    let turned = (1.0 / margin.1, 1.0 / margin.0);
    let mut row = judged_within(of, "range", text, "[mi_i]", &measured, turned);
    row.margin = margin;
    let use_per_mi = row.value;
    row.value = use_per_mi.filter(|value| *value > 0.0).map(|value| 1.0 / value);
    row.interval = row.interval.filter(|(low, _)| *low > 0.0).map(|(low, high)| (1.0 / high, 1.0 / low));
    let slope = use_per_mi.map_or(0.0, |value| 1.0 / (value * value));
    row.shared_half *= slope;
    if let Some(spread) = &mut row.spread {
        spread.sd_day *= slope;
        spread.sd_date *= slope;
        spread.sd_vehicle = spread.sd_vehicle.map(|sd| sd * slope);
    }
    if let Some((test, _)) = &mut row.test {
        (test.p_low, test.p_high) = (test.p_high, test.p_low);
    }
    row.why = in_short(&row);
    row
}
