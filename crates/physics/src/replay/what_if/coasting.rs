//! What a stronger level may cost: coasting that is lost when lifting off brakes.

use super::Change;
use crate::kernels::cascade::{self, LevelChoice};
use crate::kernels::losses;
use crate::kernels::road_load::{self, Conditions, Interval};
use crate::replay::approaches::{self, Approach, Place};
use crate::replay::ledger::{self, Setting};
use crate::replay::track::Track;
use crate::truck::{LiftOff, Sheet, Truck};

/// Per trip: what its stops would cost more if the driver held the speed and let the new level do the stop. [J]
///
/// A stop driven over a length L at less than the new level's lift-off deceleration a becomes: hold the speed v for
/// L - v²/(2a), then brake at a. `None` where no stronger level was asked for
/// than was set, or where no stop is known.
pub fn lost(
    change: &Change,
    driven: &Track,
    changed: &Track,
    approaches: &[Approach],
    sheet: &Sheet,
    trips: usize,
) -> Vec<Option<f64>> {
    let truck = &sheet.nominal;
    let wanted = change.level.as_deref().and_then(|name| truck.level_named(name));
    let (Some(wanted), true) = (wanted, driven.interval_s <= approaches::SLOWEST_LOG_S) else {
        return vec![None; trips];
    };
    let mut sums = vec![None; trips];
    for approach in approaches {
        let knot = approach.knots.end - 1;
        let before = ledger::level_at(driven, knot, truck).unwrap_or_else(|| truck.stand_in_level());
        if truck.strength(wanted) <= truck.strength(before) {
            continue;
        }
        let setting = Setting::at(changed, knot, truck);
        if let Some(sum) = sums.get_mut(approach.trip) {
            let more = lost_at(approach, &setting, wanted, truck).unwrap_or(0.0);
            *sum = Some(sum.unwrap_or(0.0) + more);
        }
    }
    sums
}

fn lost_at(approach: &Approach, setting: &Setting, level: usize, truck: &Truck) -> Option<f64> {
    // The first place at which the vehicle was not slowing yet.
    let place = approach.places.iter().find(|place| place.distance_m >= approach.slowing_m)?;
    let slows = lift_off_deceleration(setting, level, place.speed_m_s, truck);
    let length = place.speed_m_s * place.speed_m_s / (2.0 * slows);
    if !length.is_finite() || length >= place.distance_m {
        return None;
    }
    let stop =
        |distance_m: f64| Place { distance_m, rise_m: place.rise_m * distance_m / place.distance_m, ..*place };
    let gentle = approaches::constant_stop_j(&stop(place.distance_m), setting, level, truck);
    let late = approaches::constant_stop_j(&stop(length), setting, level, truck);
    let held = held_j(&stop(place.distance_m - length), setting, truck);
    Some((held + late - gentle).max(0.0))
}

/// How fast the vehicle slows when the accelerator is released. [m/s²]
fn lift_off_deceleration(setting: &Setting, level: usize, speed_m_s: f64, truck: &Truck) -> f64 {
    let conditions: &Conditions = &setting.conditions;
    let road = road_load::steady_force(conditions, speed_m_s, 0.0) / conditions.effective_mass_kg();
    match truck.levels[level].lift_off {
        LiftOff::Force { n } => n / conditions.effective_mass_kg() + road,
        LiftOff::Deceleration { m_s2, includes_road_load: true } => m_s2.max(road),
        LiftOff::Deceleration { m_s2, includes_road_load: false } => m_s2 + road,
    }
}

/// Energy out of the terminals to hold a place's speed over its distance. [J]
fn held_j(place: &Place, setting: &Setting, truck: &Truck) -> f64 {
    let interval = Interval {
        duration_s: place.distance_m / place.speed_m_s,
        speed_start_m_s: place.speed_m_s,
        speed_end_m_s: place.speed_m_s,
        rise_m: place.rise_m,
    };
    let road = road_load::integrate(&setting.conditions, &interval);
    let bus_j = road.braking_part.map_or(0.0, |part| {
        let moment = setting.moment(LevelChoice::Best, true);
        cascade::integrate(truck, &setting.conditions, &interval, part, &moment).bus_j()
    });
    let drawn_j = losses::drawn(&truck.losses, &setting.conditions, &interval, &road).energy_j;
    drawn_j + setting.loads.total_w() * interval.duration_s - bus_j
}
