//! Does the time at the depot refill the truck?

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};
use backwatt_stats::{Chance, share_of};

use super::charge::{Charger, ChargerKind, Supply};
use super::days::VehicleDay;
use super::packs::{gone_at_night_kwh, median, percentile};
use super::settings::{PlanSettings, TypePlan};
use crate::recovery::evidence;
use crate::tally::Sums;

/// Seconds between two instants in which charging is allowed: a daily window and a time zone are the caller's to know.
pub type Dwell<'a> = &'a dyn Fn(i64, i64) -> f64;

/// Between two logged days further apart than this nobody knows what the truck did. [ns]
const LONGEST_NIGHT_NS: i64 = 3 * 86_400 * 1_000_000_000;
const ALL: &str = "all";

/// A night after a day.
#[derive(Clone, Copy)]
struct Night {
    gone_kwh: f64,
    capacity_kwh: f64,
    dwell_s: f64,
}

/// The longest standing between trips of a day, and what was gone by then.
#[derive(Clone, Copy)]
struct Break {
    gone_kwh: f64,
    capacity_kwh: f64,
    standing_s: f64,
}

#[derive(Default)]
struct Group {
    nights: Vec<Night>,
    breaks: Vec<Break>,
    sums: Sums,
    use_kwh: f64,
    distance_mi: f64,
}

/// Chargers of the plan and of the common sizes against the nights of each type and route. Days of one vehicle stand
/// together, in the order of time.
pub fn charging(
    days: &[VehicleDay],
    types: &[TypePlan],
    settings: &PlanSettings,
    dwell: Dwell<'_>,
) -> Result<RecordBatch, BatchError> {
    let mut rows = Vec::new();
    let mut chargers: Vec<&Charger> = settings.chargers.iter().collect();
    chargers.sort_by(|a, b| a.kind.cmp(&b.kind).then(a.power_w.total_cmp(&b.power_w)));
    for of in types {
        for (route, group) in groups(days, of, dwell) {
            for kind in [ChargerKind::Ac, ChargerKind::Dc] {
                let from = rows.len();
                let of_kind = chargers.iter().filter(|charger| charger.kind == kind);
                rows.extend(of_kind.map(|charger| Row::new(of, &route, charger, &group, settings)));
                if let Some(smallest) =
                    rows[from..].iter_mut().find(|row: &&mut Row| row.meets(settings) == Some(true))
                {
                    smallest.is_smallest = true;
                }
            }
        }
    }
    build(&rows, settings)
}

fn groups(days: &[VehicleDay], of: &TypePlan, dwell: Dwell<'_>) -> BTreeMap<String, Group> {
    let mut groups: BTreeMap<String, Group> = BTreeMap::new();
    let own: Vec<&VehicleDay> = days.iter().filter(|day| day.vehicle_type == of.name).collect();
    for (at, day) in own.iter().enumerate() {
        let (Some((capacity_kwh, _)), Some(last)) = (day.capacity_kwh, day.legs.last()) else { continue };
        let next = own.get(at + 1).filter(|next| next.vehicle == day.vehicle && day.season.is_some());
        let morning_ns = next.and_then(|next| next.legs.first()).map(|leg| leg.start_ns);
        let night = morning_ns.filter(|morning| (0..LONGEST_NIGHT_NS).contains(&(morning - last.end_ns))).map(
            |morning| Night {
                gone_kwh: gone_at_night_kwh(day).min(capacity_kwh),
                capacity_kwh,
                dwell_s: dwell(last.end_ns, morning),
            },
        );
        for name in [ALL, day.route()] {
            let group = groups.entry(name.to_owned()).or_default();
            group.nights.extend(night);
            group.breaks.extend(longest_break(day, capacity_kwh));
            group.sums.add(&day.sums());
            group.use_kwh += day.use_kwh();
            group.distance_mi += day.distance_mi();
        }
    }
    groups
}

fn longest_break(day: &VehicleDay, capacity_kwh: f64) -> Option<Break> {
    let mut gone_kwh = 0.0;
    let mut longest: Option<Break> = None;
    for pair in day.legs.windows(2) {
        gone_kwh += pair[0].driving_kwh + pair[0].standing_kwh + pair[0].parked_kwh;
        let standing_s = (pair[1].start_ns - pair[0].end_ns) as f64 * 1e-9;
        if longest.is_none_or(|found| standing_s > found.standing_s) {
            longest = Some(Break { gone_kwh, capacity_kwh, standing_s });
        }
    }
    longest
}

struct Row<'a> {
    of: &'a TypePlan,
    route: String,
    charger: &'a Charger,
    nights: usize,
    dwell_s: Option<[f64; 2]>,
    refill_kwh: Option<[f64; 2]>,
    time_s: Option<[f64; 2]>,
    refilled: Option<Chance>,
    is_smallest: bool,
    least_w: Option<f64>,
    standing_s: Option<f64>,
    topup_kwh: Option<f64>,
    topup_mi: Option<f64>,
    cost: Option<String>,
    evidence: &'static str,
}

impl<'a> Row<'a> {
    fn new(
        of: &'a TypePlan,
        route: &str,
        charger: &'a Charger,
        group: &Group,
        settings: &PlanSettings,
    ) -> Self {
        let nights = &group.nights;
        let any = !nights.is_empty();
        let of_nights = |of: &dyn Fn(&Night) -> f64| nights.iter().map(of).collect::<Vec<f64>>();
        let times = of_nights(&|night| {
            supply(of, charger, night.capacity_kwh).time_to_full_s(soc(night.gone_kwh, night.capacity_kwh))
        });
        let filled = nights.iter().zip(&times).filter(|(night, time)| **time <= night.dwell_s).count();
        let refill = of_nights(&|night| night.gone_kwh);
        let dwell = of_nights(&|night| night.dwell_s);
        let refill_kwh = any.then(|| [median(&refill), percentile(&refill, 0.9)]);
        let wall_kwh = refill_kwh.map(|kwh| kwh[0] / charger.efficiency_frac);
        let topup_kwh = topup_kwh(of, charger, group);
        let per_mi = group.use_kwh / group.distance_mi;
        Self {
            of,
            route: route.to_owned(),
            charger,
            nights: nights.len(),
            dwell_s: any.then(|| [percentile(&dwell, 0.1), median(&dwell)]),
            refill_kwh,
            time_s: any.then(|| [median(&times), percentile(&times, 0.9)]),
            refilled: share_of(filled, nights.len()),
            is_smallest: false,
            least_w: least_power_w(of, charger, nights, settings.target_frac),
            standing_s: topup_kwh
                .map(|_| median(&group.breaks.iter().map(|b| b.standing_s).collect::<Vec<_>>())),
            topup_kwh,
            topup_mi: topup_kwh.filter(|_| per_mi > 0.0 && per_mi.is_finite()).map(|kwh| kwh / per_mi),
            cost: settings
                .price
                .as_ref()
                .zip(wall_kwh)
                .map(|(price, kwh)| format!("{:.2} {}", price.per_kwh * kwh, price.currency)),
            evidence: evidence(group.sums.moving_s, group.sums.measured_moving_s, group.sums.inferred_moving_s),
        }
    }

    fn meets(&self, settings: &PlanSettings) -> Option<bool> {
        self.refilled.map(|refilled| refilled.value >= settings.target_frac)
    }
}

fn supply<'c>(of: &TypePlan, charger: &'c Charger, capacity_kwh: f64) -> Supply<'c> {
    Supply {
        charger,
        capacity_kwh,
        power_max_w: of.charge_power_max_w,
        taper_start_frac: of.charge_taper_start_frac,
    }
}

fn soc(gone_kwh: f64, capacity_kwh: f64) -> f64 {
    if capacity_kwh > 0.0 { (1.0 - gone_kwh / capacity_kwh).clamp(0.0, 1.0) } else { 1.0 }
}

fn topup_kwh(of: &TypePlan, charger: &Charger, group: &Group) -> Option<f64> {
    let each = |found: &Break| {
        let from = soc(found.gone_kwh, found.capacity_kwh);
        supply(of, charger, found.capacity_kwh).energy_kwh(from, found.standing_s)
    };
    let count = group.breaks.len();
    (count > 0).then(|| group.breaks.iter().map(each).sum::<f64>() / count as f64)
}

/// Least power of a charger of this kind that fills the target share of nights, to 0.1 kW.
fn least_power_w(of: &TypePlan, like: &Charger, nights: &[Night], target_frac: f64) -> Option<f64> {
    const MOST_W: f64 = 1e6;
    let fills = |power_w: f64| {
        let charger = Charger { power_w, ..like.clone() };
        let filled = |night: &&Night| {
            let from = soc(night.gone_kwh, night.capacity_kwh);
            supply(of, &charger, night.capacity_kwh).time_to_full_s(from) <= night.dwell_s
        };
        nights.iter().filter(filled).count() as f64 >= target_frac * nights.len() as f64
    };
    if nights.is_empty() || !fills(MOST_W) {
        return None;
    }
    let (mut low, mut high) = (0.0, MOST_W);
    while high - low > 100.0 {
        let middle = f64::midpoint(low, high);
        if fills(middle) { high = middle } else { low = middle }
    }
    Some(high)
}

fn build(rows: &[Row<'_>], settings: &PlanSettings) -> Result<RecordBatch, BatchError> {
    let each = || rows.iter();
    let finite = |value: Option<f64>| value.filter(|value| value.is_finite());
    let why = "every night begins with what the day took from a full battery and ends at full; the battery takes up to the \
               sheet's charge power, warm, tapering to a twentieth of it near full";
    BatchBuilder::new(&tables::CHARGING)
        .text("vehicle_type", each().map(|row| Some(row.of.name.as_str())))
        .text("route", each().map(|row| Some(row.route.as_str())))
        .text("charger", each().map(|row| Some(row.charger.name.as_str())))
        .text("kind", each().map(|row| Some(row.charger.kind.as_str())))
        .text("basis", each().map(|row| Some(if row.charger.is_planned { "plan" } else { "common size" })))
        .number("power_w", each().map(|row| row.charger.power_w))
        .number("efficiency_frac", each().map(|row| row.charger.efficiency_frac))
        .count("nights", each().map(|row| row.nights as u64))
        .number("dwell_p10_s", each().map(|row| row.dwell_s.map(|s| s[0])))
        .number("dwell_p50_s", each().map(|row| row.dwell_s.map(|s| s[1])))
        .number("energy_refill_p50_kwh", each().map(|row| row.refill_kwh.map(|kwh| kwh[0])))
        .number("energy_refill_p90_kwh", each().map(|row| row.refill_kwh.map(|kwh| kwh[1])))
        .number(
            "energy_wall_p50_kwh",
            each().map(|row| row.refill_kwh.map(|kwh| kwh[0] / row.charger.efficiency_frac)),
        )
        .number("time_refill_p50_s", each().map(|row| finite(row.time_s.map(|s| s[0]))))
        .number("time_refill_p90_s", each().map(|row| finite(row.time_s.map(|s| s[1]))))
        .number("refilled_frac", each().map(|row| row.refilled.map(|share| share.value)))
        .number("refilled_p05_frac", each().map(|row| row.refilled.map(|share| share.low)))
        .number("refilled_p95_frac", each().map(|row| row.refilled.map(|share| share.high)))
        .number("target_frac", each().map(|_| settings.target_frac))
        .flag("meets_target", each().map(|row| row.meets(settings)))
        .flag("is_smallest", each().map(|row| row.is_smallest))
        .number("power_least_w", each().map(|row| row.least_w))
        .number("standing_midday_p50_s", each().map(|row| row.standing_s))
        .number("topup_midday_kwh", each().map(|row| row.topup_kwh))
        .number("topup_midday_mi", each().map(|row| row.topup_mi))
        .text("cost_night", each().map(|row| row.cost.as_deref()))
        .text("evidence", each().map(|row| Some(row.evidence)))
        .text("why", each().map(|_| Some(why)))
        .finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    const TRUCK: fn() -> TypePlan = || TypePlan {
        name: "t".to_owned(),
        packs: Some(5.0),
        payload_full_kg: 2000.0,
        aux_w: [600.0, 400.0, 900.0],
        charge_power_max_w: 100e3,
        charge_taper_start_frac: 0.9,
    };

    /// 60 kWh in 10 h of ac at 90 %: 6.67 kW at the plug, far from the taper's limit but for the last of it.
    #[test]
    fn the_least_power_fills_in_the_time() {
        let night = |hours: f64| Night { gone_kwh: 60.0, capacity_kwh: 90.0, dwell_s: hours * 3600.0 };
        let like = Charger {
            name: String::new(),
            kind: ChargerKind::Ac,
            power_w: 1.0,
            efficiency_frac: 0.9,
            curve: Vec::new(),
            is_planned: false,
        };
        let least = least_power_w(&TRUCK(), &like, &[night(10.0); 4], 0.95).unwrap();
        assert!((least / 1000.0 - 60.0 / 10.0 / 0.9).abs() < 0.15, "{least}");
        // One short night of twenty may stay unfilled at 95 %, two may not.
        let mut nights = vec![night(10.0); 19];
        nights.push(night(1.0));
        assert!(least_power_w(&TRUCK(), &like, &nights, 0.95).unwrap() < 8e3);
        nights[0] = night(1.0);
        assert!(least_power_w(&TRUCK(), &like, &nights, 0.95).unwrap() > 60e3);
        assert_eq!(least_power_w(&TRUCK(), &like, &[night(0.1)], 0.95), None, "the battery's own limit");
        assert_eq!(least_power_w(&TRUCK(), &like, &[], 0.95), None);
    }
}
