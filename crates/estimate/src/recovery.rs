//! The answer table, from merged tallies.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, METRES_PER_MILE, tables};
use backwatt_stats::ratio_of_sums;

use crate::drivers::{EXPOSURE_BRAKING_KWH, EXPOSURE_DAYS};
use crate::errors::Errors;
use crate::tally::{GROUPINGS, Sums, Tally, UNKNOWN};

/// No ratio over less braking energy than this: it would be noise over noise. [kWh]
const BRAKING_FLOOR_KWH: f64 = 0.5;
/// No share of use over less than this out of the battery, gross and net: on a short descent it means nothing. [kWh]
const USE_FLOOR_KWH: f64 = 1.0;
/// Error that heights leave in braking energy, as a 90 % half-width: an altitude that drifts 15 m moved it by up to 5 % on
/// the made-up pilots, half of that on the mean.
const HEIGHT_ERROR: f64 = 0.025;
/// No consumption over less distance than this. [mi]
const DISTANCE_FLOOR_MI: f64 = 0.1;
/// A ton-mile figure needs a payload worth the name, on the mean. [short ton]
const PAYLOAD_FLOOR_TON: f64 = 0.1;
/// A grade is the weakest that carries this share of the moving time.
const GRADE_SHARE: f64 = 0.05;

struct Group {
    grouping: &'static str,
    name: String,
    sums: Sums,
    clusters: Vec<Sums>,
}

/// Ratios, intervals and grades of every group.
pub fn recovery(tally: &Tally) -> Result<RecordBatch, BatchError> {
    let groups = gather(tally);
    let rows: Vec<Figures> = groups.iter().map(figures).collect();
    build(&groups, &rows)
}

fn gather(tally: &Tally) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for grouping in GROUPINGS {
        for (key, sums) in tally.iter().filter(|(key, _)| key.grouping == grouping) {
            if groups.last().is_none_or(|g| g.grouping != grouping || g.name != key.group) {
                groups.push(Group {
                    grouping,
                    name: key.group.clone(),
                    sums: Sums::default(),
                    clusters: Vec::new(),
                });
            }
            if let Some(group) = groups.last_mut() {
                group.sums.add(sums);
                group.clusters.push(sums.clone());
            }
        }
    }
    // Nobody is judged on little driving: such a person has no row at all, here or in what is built on this table.
    groups.retain(|group| group.grouping != "driver" || is_exposed(group));
    groups
}

fn is_exposed(driver: &Group) -> bool {
    driver.name == UNKNOWN
        || (driver.sums.days.len() >= EXPOSURE_DAYS && driver.sums.braking_kwh >= EXPOSURE_BRAKING_KWH)
}

#[derive(Debug, Default)]
struct Figures {
    evidence: &'static str,
    recapture_evidence: &'static str,
    measured_share: f64,
    claimed_share: f64,
    payload_share: f64,
    paired_share: f64,
    recapture_measured_share: f64,
    days: u64,
    r1: Interval,
    r2: Interval,
    r4: Interval,
    r5: Interval,
    r7: Interval,
    r8: Interval,
    r9: Interval,
    per_ton_mi: Interval,
    carried_mi: Interval,
    carried_low_mi: Option<f64>,
    recovered: Option<[f64; 3]>,
    denominators: String,
    caution: String,
}

#[derive(Debug, Default, Clone, Copy)]
struct Interval {
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

impl Interval {
    fn around(value: f64, half: Option<f64>) -> Self {
        Self { value: Some(value), low: half.map(|h| value - h), high: half.map(|h| value + h) }
    }
}

fn figures(group: &Group) -> Figures {
    let s = &group.sums;
    let share = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.0 };
    let ratio = |a: f64, b: f64| (b > 0.0).then(|| a / b);
    let days = group.clusters.iter().filter(|c| c.moving_s > 0.0).count() as u64;
    let claimed = s.braking_paired_kwh >= BRAKING_FLOOR_KWH;
    let back = s.discharged_paired_kwh >= USE_FLOOR_KWH && s.net_paired_kwh >= USE_FLOOR_KWH;
    let any = s.moving_paired_s > 0.0;
    let recovered = any.then(|| recovered(s));
    let mut figures = Figures {
        evidence: evidence(s.moving_s, s.measured_moving_s, s.inferred_moving_s),
        recapture_evidence: if any {
            evidence(s.moving_paired_s, s.measured_paired_s, s.inferred_paired_s)
        } else {
            "none"
        },
        measured_share: share(s.measured_moving_s, s.moving_s),
        claimed_share: share(s.claimed_moving_s, s.moving_s),
        payload_share: share(s.distance_with_payload_mi, s.distance_mi),
        paired_share: share(s.distance_paired_mi, s.distance_mi),
        recapture_measured_share: share(s.measured_paired_s, s.moving_paired_s),
        days,
        r1: if claimed { recapture_of_braking(group) } else { Interval::default() },
        r2: if claimed { recapture_of_recoverable(group) } else { Interval::default() },
        r4: if back {
            spread(
                group,
                |c| c.recovered_kwh,
                |c| c.discharged_paired_kwh,
                &[over_use(s, s.discharged_paired_kwh, true)],
            )
        } else {
            Interval::default()
        },
        r5: if back {
            spread(group, |c| c.recovered_kwh, |c| c.net_paired_kwh, &[over_use(s, s.net_paired_kwh, false)])
        } else {
            Interval::default()
        },
        r7: if back {
            spread(group, |c| c.bus_paired_kwh, |c| c.net_paired_kwh, &[over_use(s, s.net_paired_kwh, false)])
        } else {
            Interval::default()
        },
        r8: if s.braking_kwh >= BRAKING_FLOOR_KWH { intensity(group) } else { Interval::default() },
        r9: consumption(group),
        per_ton_mi: per_ton_mile(group),
        carried_mi: if back { carried(group) } else { Interval::default() },
        carried_low_mi: recovered.and_then(|r| ratio(s.distance_paired_mi * r[1], s.discharged_paired_kwh)),
        recovered,
        ..Figures::default()
    };
    figures.denominators = denominators(s, &figures);
    figures.caution = caution(s, &figures);
    figures
}

/// The weakest grade that carries its share of the moving time.
pub(crate) fn evidence(moving_s: f64, measured_s: f64, inferred_s: f64) -> &'static str {
    if moving_s <= 0.0 || moving_s - measured_s - inferred_s > GRADE_SHARE * moving_s {
        "modelled"
    } else if inferred_s > GRADE_SHARE * moving_s {
        "inferred"
    } else {
        "measured"
    }
}

/// R1 with spread over vehicle-days, estimation, sampling correction and what the sheet may be off.
fn recapture_of_braking(group: &Group) -> Interval {
    let s = &group.sums;
    let errors = [over_braking(s), relative(braking_beyond_errors(s))];
    let interval = spread(group, |c| c.recovered_braking_kwh, |c| c.braking_paired_kwh, &errors);
    // More than all of it cannot come back; a value above one is a model error and is shown as found.
    let most = interval.value.map_or(1.0, |value| value.max(1.0));
    Interval { high: interval.high.map(|high| high.min(most)), ..interval }
}

/// R2 likewise. Every value of the sheet at its worst or best at once is a bound; half of that width stands in for the
/// 90 % half-width of what was recoverable.
fn recapture_of_recoverable(group: &Group) -> Interval {
    let s = &group.sums;
    let bounds = relative([s.recoverable_low_kwh, s.recoverable_kwh, s.recoverable_high_kwh]);
    let errors = [over_braking(s), relative(braking_beyond_errors(s)).max(bounds / 2.0)];
    spread(group, |c| c.recovered_braking_kwh, |c| c.recoverable_paired_kwh, &errors)
}

/// R8. What moves braking moves traction as well, and is counted as if it did not: rather too wide.
fn intensity(group: &Group) -> Interval {
    let errors = [relative(braking(&group.sums))];
    spread(group, |c| c.braking_kwh, |c| c.tractive_claimed_kwh, &errors)
}

/// Relative error of what came back over energy used, where the return stands in the denominator as well or not. What is
/// returned at the bus errs like what is recovered.
fn over_use(s: &Sums, under_kwh: f64, is_gross: bool) -> f64 {
    let mut under = s.net_paired_errors.clone();
    if is_gross {
        under.add(&s.recovered_errors);
    }
    Errors::of_ratio((s.recovered_kwh, &s.recovered_errors), (under_kwh, &under)).half_width()
}

/// Relative error of what came back over braking energy, as far as estimation knows both.
fn over_braking(s: &Sums) -> f64 {
    Errors::of_ratio((s.recovered_kwh, &s.recovered_errors), (s.braking_kwh, &s.braking_errors)).half_width()
}

/// R10: the share carried, times the distance.
fn carried(group: &Group) -> Interval {
    let s = &group.sums;
    let estimation = over_use(s, s.net_paired_kwh + s.bus_paired_kwh, true);
    let share = spread(group, |c| c.bus_paired_kwh, |c| c.net_paired_kwh + c.bus_paired_kwh, &[estimation]);
    let miles = |share: Option<f64>| share.map(|share| share * group.sums.distance_paired_mi);
    Interval { value: miles(share.value), low: miles(share.low), high: miles(share.high) }
}

/// Braking energy and the ends of its 90 % interval: sampling and noise, heights, and what the logs leave open of mass,
/// rolling and drag. The middle stays the sheet's; what the logs would move it by widens the interval.
pub(crate) fn braking(s: &Sums) -> [f64; 3] {
    around_braking(s, s.braking_errors.half_width() + s.braking_beyond_sheet_kwh.abs())
}

/// The same without what estimation knows of mass, rolling and drag.
fn braking_beyond_errors(s: &Sums) -> [f64; 3] {
    around_braking(s, s.braking_beyond_sheet_kwh.abs())
}

fn around_braking(s: &Sums, sheet: f64) -> [f64; 3] {
    let middle = s.braking_kwh;
    let half = |sampling: f64| (sampling.powi(2) + sheet.powi(2) + (HEIGHT_ERROR * middle).powi(2)).sqrt();
    [(middle - half(middle - s.braking_low_kwh)).max(0.0), middle, middle + half(s.braking_high_kwh - middle)]
}

/// Recovered energy and the ends of its 90 % interval.
pub(crate) fn recovered(s: &Sums) -> [f64; 3] {
    let half = s.recovered_errors.half_width();
    [(s.recovered_kwh - half).max(0.0), s.recovered_kwh, s.recovered_kwh + half]
}

/// Half the width of a 90 % band over its middle.
pub(crate) fn relative([low, middle, high]: [f64; 3]) -> f64 {
    if middle > 0.0 { (high - low) / (2.0 * middle) } else { 0.0 }
}

/// A ratio of sums with its spread over vehicle-days and further relative errors, taken as independent.
fn spread(group: &Group, over: fn(&Sums) -> f64, under: fn(&Sums) -> f64, errors: &[f64]) -> Interval {
    let pairs: Vec<(f64, f64)> = group.clusters.iter().map(|c| (over(c), under(c))).collect();
    let Some(found) = ratio_of_sums(&pairs) else { return Interval::default() };
    let further: f64 = errors.iter().map(|error| (found.ratio * error).powi(2)).sum();
    let half = match found.half_width_90 {
        // One day has no spread: what is left is that day's own, and nothing left would feign certainty.
        None if further <= 0.0 => None,
        days => Some((days.unwrap_or(0.0).powi(2) + further).sqrt()),
    };
    let interval = Interval::around(found.ratio, half);
    Interval { low: interval.low.map(|low| low.max(0.0)), ..interval }
}

/// R9 with spread over vehicle-days and estimation.
fn consumption(group: &Group) -> Interval {
    let s = &group.sums;
    if s.distance_battery_mi < DISTANCE_FLOOR_MI {
        return Interval::default();
    }
    let pairs: Vec<(f64, f64)> =
        group.clusters.iter().map(|c| (c.net_driving_kwh, c.distance_battery_mi)).collect();
    over_days(&pairs, s.net_errors.half_width() / s.distance_battery_mi)
}

/// Net use over payload times distance, of the days whose payload is known; their share of the distance has that share of
/// the error of estimation. What a stated payload may be off by is not in it.
fn per_ton_mile(group: &Group) -> Interval {
    let s = &group.sums;
    if s.ton_mi <= PAYLOAD_FLOOR_TON * s.distance_with_payload_mi {
        return Interval::default();
    }
    let known = group.clusters.iter().filter(|c| c.ton_mi > 0.0);
    let pairs: Vec<(f64, f64)> = known.map(|c| (c.net_with_payload_kwh, c.ton_mi)).collect();
    let share = s.distance_with_payload_mi / s.distance_mi;
    over_days(&pairs, share * s.net_errors.half_width() / s.ton_mi)
}

/// A ratio of sums with its spread over days and the error of estimation, which are independent.
fn over_days(pairs: &[(f64, f64)], estimation: f64) -> Interval {
    let Some(found) = ratio_of_sums(pairs) else { return Interval::default() };
    let half = match found.half_width_90 {
        None if estimation <= 0.0 => None,
        days => Some((days.unwrap_or(0.0).powi(2) + estimation.powi(2)).sqrt()),
    };
    Interval::around(found.ratio, half)
}

fn denominators(s: &Sums, f: &Figures) -> String {
    let mut texts = Vec::new();
    if f.r1.value.is_some() {
        texts.push(format!("braking at the wheels {:.2} kWh", s.braking_paired_kwh));
    }
    if f.r2.value.is_some() {
        texts.push(format!("recoverable {:.2} kWh", s.recoverable_paired_kwh));
    }
    if f.r4.value.is_some() {
        texts.push(format!("gross discharge {:.2} kWh", s.discharged_paired_kwh));
        texts.push(format!("net use {:.2} kWh", s.net_paired_kwh));
    }
    texts.join("; ")
}

fn caution(s: &Sums, f: &Figures) -> String {
    let mut texts: Vec<&str> = Vec::new();
    if f.claimed_share < 0.95 && s.moving_s > 0.0 {
        texts.push("part of the log is sampled too slowly or is too noisy: no braking energy is claimed there");
    }
    if s.distance_battery_mi < 0.95 * s.distance_mi {
        texts.push("an engine drove for part of the distance, which is left out of the consumption");
    }
    if s.engine_or_unexplained_s > 0.0 {
        texts.push(
            "part of the inflow has a source or store other than braking; it is not counted as recovered",
        );
    }
    if f.r1.value.is_none() && f.claimed_share > 0.0 && s.braking_kwh < BRAKING_FLOOR_KWH {
        texts.push("too little braking energy for a ratio");
    }
    if f.r1.value.is_some_and(|r1| r1 > 0.85) {
        texts.push("recapture of braking above 85 % points to a mass, height or model error");
    }
    if f.r2.value.is_some_and(|r2| r2 > 1.0) {
        texts.push("more came back than the vehicle data say was recoverable: vehicle data or heights are off");
    }
    if f.days < 2 {
        texts.push("one vehicle-day: intervals are that day's own, without a spread between days");
    }
    texts.join("; ")
}

fn build(groups: &[Group], rows: &[Figures]) -> Result<RecordBatch, BatchError> {
    let sums = |pick: fn(&Sums) -> f64| groups.iter().map(move |g| pick(&g.sums)).collect::<Vec<_>>();
    let of = |pick: fn(&Figures) -> Option<f64>| rows.iter().map(pick).collect::<Vec<_>>();
    let builder = BatchBuilder::new(&tables::RECOVERY)
        .text("grouping", groups.iter().map(|g| Some(g.grouping)))
        .text("group", groups.iter().map(|g| Some(g.name.as_str())))
        .text("evidence", rows.iter().map(|f| Some(f.evidence)))
        .text("recapture_evidence", rows.iter().map(|f| Some(f.recapture_evidence)))
        .number("evidence_measured_share_frac", of(|f| Some(f.measured_share)))
        .count("trips", groups.iter().map(|g| g.sums.trips.len() as u64))
        .count("vehicle_days", rows.iter().map(|f| f.days))
        .number("distance_mi", sums(|s| s.distance_mi))
        .number("moving_s", sums(|s| s.moving_s))
        .number("payload_ton_miles_share_frac", of(|f| Some(f.payload_share)))
        .number("energy_tractive_kwh", sums(|s| s.tractive_kwh))
        .number("energy_braking_kwh", sums(|s| s.braking_kwh))
        .number("braking_claimed_share_frac", of(|f| Some(f.claimed_share)))
        .number("energy_braking_low_kwh", sums(|s| braking(s)[0]))
        .number("energy_braking_high_kwh", sums(|s| braking(s)[2]))
        .number("energy_recoverable_kwh", sums(|s| s.recoverable_kwh))
        .number("energy_recoverable_low_kwh", sums(|s| s.recoverable_low_kwh))
        .number("energy_recoverable_high_kwh", sums(|s| s.recoverable_high_kwh))
        .number("energy_attainable_kwh", sums(|s| s.attainable_kwh))
        .number("energy_recovered_p05_kwh", of(|f| f.recovered.map(|r| r[0])))
        .number("energy_recovered_p50_kwh", of(|f| f.recovered.map(|r| r[1])))
        .number("energy_recovered_p95_kwh", of(|f| f.recovered.map(|r| r[2])))
        .number("energy_discharged_kwh", sums(|s| s.discharged_kwh))
        .number("energy_net_kwh", sums(|s| s.net_kwh))
        .number("energy_returned_bus_kwh", sums(|s| s.bus_paired_kwh))
        .number("energy_returned_unknown_store_kwh", sums(|s| s.unknown_store_kwh))
        .number("energy_unexplained_kwh", sums(|s| s.unexplained_kwh))
        .number("energy_measured_discharged_kwh", sums(|s| s.measured_discharged_kwh))
        .number("recapture_measured_share_frac", of(|f| Some(f.recapture_measured_share)))
        .number("recapture_distance_share_frac", of(|f| Some(f.paired_share)))
        .number("energy_braking_paired_kwh", sums(|s| s.braking_paired_kwh))
        .number("energy_standing_kwh", sums(|s| s.standing_kwh))
        .number("energy_parked_kwh", sums(|s| s.parked_kwh));
    builder
        .number("recapture_of_braking_frac", of(|f| f.r1.value))
        .number("recapture_of_braking_p05_frac", of(|f| f.r1.low))
        .number("recapture_of_braking_p95_frac", of(|f| f.r1.high))
        .number("recapture_of_recoverable_frac", of(|f| f.r2.value))
        .number("recapture_of_recoverable_p05_frac", of(|f| f.r2.low))
        .number("recapture_of_recoverable_p95_frac", of(|f| f.r2.high))
        .number("recapture_of_use_frac", of(|f| f.r4.value))
        .number("recapture_of_use_p05_frac", of(|f| f.r4.low))
        .number("recapture_of_use_p95_frac", of(|f| f.r4.high))
        .number("recapture_over_net_use_frac", of(|f| f.r5.value))
        .number("recapture_over_net_use_p05_frac", of(|f| f.r5.low))
        .number("recapture_over_net_use_p95_frac", of(|f| f.r5.high))
        .number("range_gain_frac", of(|f| f.r7.value))
        .number("range_gain_p05_frac", of(|f| f.r7.low))
        .number("range_gain_p95_frac", of(|f| f.r7.high))
        .number("braking_intensity_frac", of(|f| f.r8.value))
        .number("braking_intensity_p05_frac", of(|f| f.r8.low))
        .number("braking_intensity_p95_frac", of(|f| f.r8.high))
        .number("consumption_kwh_mi", of(|f| f.r9.value))
        .number("consumption_p05_kwh_mi", of(|f| f.r9.low))
        .number("consumption_p95_kwh_mi", of(|f| f.r9.high))
        .number("consumption_kwh_km", of(|f| f.r9.value.map(|v| v * 1000.0 / METRES_PER_MILE)))
        .number("consumption_kwh_ton_mi", of(|f| f.per_ton_mi.value))
        .number("consumption_p05_kwh_ton_mi", of(|f| f.per_ton_mi.low))
        .number("consumption_p95_kwh_ton_mi", of(|f| f.per_ton_mi.high))
        .number("carried_by_regen_mi", of(|f| f.carried_mi.value))
        .number("carried_by_regen_p05_mi", of(|f| f.carried_mi.low))
        .number("carried_by_regen_p95_mi", of(|f| f.carried_mi.high))
        .number("carried_by_regen_low_mi", of(|f| f.carried_low_mi))
        .text("denominators", rows.iter().map(|f| Some(f.denominators.as_str())))
        .text("caution", rows.iter().map(|f| Some(f.caution.as_str())))
        .finish()
}
