//! What the sheet, and whatever else nobody knows, leaves open of where the braking energy of an interval went.

use super::auxiliaries::{AuxBasis, Loads};
use super::ledger::{Setting, level_at};
use super::track::Track;
use crate::kernels::cascade::{Cascade, Case, LevelChoice, Moment, Swings};
use crate::kernels::road_load::Interval;
use crate::truck::{Sheet, Truck};

/// How often what a sheet leaves open is looked at: an interval of a shorter step seldom tells more than its neighbours.
const LOOK_EVERY_NS: i64 = 3_000_000_000;

/// What auxiliaries take while driving, over what they were seen to take at stops. Common practice, no source.
const STANDING_REACH: [f64; 2] = [1.2, 0.8];

/// Names of what is open, in the order of [`swings`].
pub fn open_names(sheet: &Sheet) -> impl Iterator<Item = &'static str> {
    sheet.open.iter().map(|open| open.name).chain(["regen level not logged", "auxiliaries seen at stops"])
}

/// What each value of the sheet that is not certain leaves open of the steps; a level that neither log nor sheet names and
/// auxiliaries seen at stops are each one more such value.
pub fn swings(
    track: &Track,
    k: usize,
    interval: &Interval,
    part: (f64, f64),
    sheet: &Sheet,
    moment: &Moment,
    booked: &Cascade,
) -> Swings {
    let truck = &sheet.nominal;
    let split_at = |truck: &Truck, level: LevelChoice, auxiliaries: f64| {
        let setting = Setting::at(track, k, truck);
        let mut moment = setting.moment(level, moment.pedal_used);
        moment.aux_power_w *= auxiliaries;
        Case { truck, conditions: setting.conditions, moment }.split(interval, part)
    };
    let split = |truck: &Truck, level: LevelChoice| split_at(truck, level, 1.0);
    let mut swings = Swings::default();
    // One that holds a look stands for all that does not: it is looked at with a chance of its length over that between looks.
    let (start_ns, end_ns) = (track.time_ns[k], track.time_ns[k + 1]);
    if start_ns.div_euclid(LOOK_EVERY_NS) == end_ns.div_euclid(LOOK_EVERY_NS) {
        return swings;
    }
    let stands_for = (LOOK_EVERY_NS as f64 / (end_ns - start_ns) as f64).max(1.0);
    let Some(stands) = split(truck, moment.level) else { return swings };
    let braking_j = booked.total_j() * stands_for;
    for open in &sheet.open {
        swings.push(braking_j, &stands, open.ends.each_ref().map(|truck| split(truck, moment.level)));
    }
    let is_unknown = level_at(track, k, truck).is_none() && truck.levels.len() > 1;
    let any_level = [LevelChoice::Worst, LevelChoice::Best];
    let ends = any_level.map(|level| is_unknown.then(|| split(truck, level)).flatten());
    swings.push(braking_j, &stands, ends);
    let is_seen_standing = Loads::at(track, k, truck).basis == AuxBasis::Standing;
    let at_factor = |factor| is_seen_standing.then(|| split_at(truck, moment.level, factor)).flatten();
    swings.push(braking_j, &stands, STANDING_REACH.map(at_factor));
    swings
}
