//! The account of one interval, and sums of such accounts.

use super::auxiliaries::Loads;
use super::filled;
use super::swings::swings;
use super::track::{GradeBasis, Track};
use crate::STANDARD_GRAVITY_M_S2;
use crate::kernels::battery_flow;
use crate::kernels::cascade::{self, Cascade, Gains, LevelChoice, Moment, Swings};
use crate::kernels::filling::DRAWS;
use crate::kernels::losses;
use crate::kernels::rectified;
use crate::kernels::road_load::{self, Conditions, Interval, RoadEnergy};
use crate::kernels::rolling;
use crate::kernels::shares::{self, Shares};
use crate::truck::{Blending, PowerBoundary, Sheet, Truck};

/// A battery that stood indoors or worked. [K]
const ROOM_K: f64 = 293.15;

/// Everything booked for a stretch. Energies in joules; sums of intervals.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ledger {
    pub duration_s: f64,
    pub moving_s: f64,
    pub distance_m: f64,
    pub distance_unclamped_m: f64,
    pub interpolated_s: f64,
    pub road: RoadSums,
    /// Braking energy of the speed as logged.
    pub braking_raw_j: f64,
    /// What the uncertainty left in the acceleration adds to braking energy.
    pub braking_uncertainty_j: f64,
    pub shares: Shares,
    pub cascade: Cascade,
    pub gains: Gains,
    pub swings: Swings,
    /// Of what acceptance refused: where nearly full charge held it down more than cold did, and the other way round.
    pub refused_full_j: f64,
    pub refused_cold_j: f64,
    /// Drawn at the dc link to drive.
    pub drive_dc_j: f64,
    /// Time the loss map did not cover.
    pub beyond_map_s: f64,
    pub recoverable_low_j: f64,
    pub recoverable_high_j: f64,
    pub attainable_j: f64,
    pub braking_above_fade_j: f64,
    pub aux_j: f64,
    pub aux_base_j: f64,
    pub cab: Known,
    pub battery_thermal: Known,
    pub refrigeration: Known,
    pub measured_s: f64,
    pub measured_moving_s: f64,
    pub battery: BatterySums,
    /// Time-weighted sums of what is printed as a mean.
    pub mass_kg_s: f64,
    pub density_s: f64,
    pub gross_s: f64,
    pub manifest_s: f64,
    pub payload: Known,
    pub ambient: Known,
    pub headwind: Known,
    pub engine_s: f64,
    /// Under an overhead line that the battery's power does not tell apart.
    pub overhead_s: f64,
    /// Whose speed between the samples was imputed, and the variances of what the draws leave open. [J²]
    pub filled_s: f64,
    pub braking_draws_j2: f64,
    pub recoverable_draws_j2: f64,
}

/// A signal summed over the time it was known.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Known {
    pub sum: f64,
    pub seconds: f64,
}

impl Known {
    fn over(value: Option<f64>, seconds: f64) -> Self {
        value.map_or_else(Self::default, |value| Self { sum: value * seconds, seconds })
    }

    fn add(&mut self, other: Known) {
        self.sum += other.sum;
        self.seconds += other.seconds;
    }

    /// The sum, where anything was known.
    pub fn total(&self) -> Option<f64> {
        (self.seconds > 0.0).then_some(self.sum)
    }

    pub fn mean(&self) -> Option<f64> {
        (self.seconds > 0.0).then(|| self.sum / self.seconds)
    }
}

#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct RoadSums {
    pub kinetic_j: f64,
    pub grade_j: f64,
    pub rolling_j: f64,
    pub aero_j: f64,
    pub tractive_j: f64,
    pub braking_j: f64,
}

impl RoadSums {
    /// Identity (3): both sides of the ledger, over tractive plus braking energy.
    pub fn residual(&self) -> f64 {
        let accounts = self.kinetic_j + self.grade_j + self.rolling_j + self.aero_j;
        let both = self.tractive_j + self.braking_j;
        // Below a joule there is nothing to close: rounding of the speeds themselves.
        if both < 1.0 { 0.0 } else { (accounts - (self.tractive_j - self.braking_j)) / both }
    }

    fn add(&mut self, energy: &RoadEnergy) {
        self.kinetic_j += energy.kinetic_j;
        self.grade_j += energy.grade_j;
        self.rolling_j += energy.rolling_j;
        self.aero_j += energy.aero_j;
        self.tractive_j += energy.tractive_j;
        self.braking_j += energy.braking_j;
    }
}

#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct BatterySums {
    pub discharged_j: f64,
    pub discharged_driving_j: f64,
    pub recovered_j: f64,
    /// Time in which that flowed in.
    pub recovering_s: f64,
    /// Upper end where the samples leave the sign change open.
    pub recovered_high_j: f64,
    pub unknown_store_j: f64,
    pub unbraked_j: f64,
    pub plugged_j: f64,
    pub bus_j: f64,
    pub unexplained_j: f64,
}

impl Ledger {
    pub fn add(&mut self, other: &Ledger) {
        self.duration_s += other.duration_s;
        self.moving_s += other.moving_s;
        self.distance_m += other.distance_m;
        self.distance_unclamped_m += other.distance_unclamped_m;
        self.interpolated_s += other.interpolated_s;
        self.road.kinetic_j += other.road.kinetic_j;
        self.road.grade_j += other.road.grade_j;
        self.road.rolling_j += other.road.rolling_j;
        self.road.aero_j += other.road.aero_j;
        self.road.tractive_j += other.road.tractive_j;
        self.road.braking_j += other.road.braking_j;
        self.braking_raw_j += other.braking_raw_j;
        self.braking_uncertainty_j += other.braking_uncertainty_j;
        self.shares.add(&other.shares);
        self.cascade.add(&other.cascade);
        self.gains.add(&other.gains);
        self.swings.add(&other.swings);
        self.refused_full_j += other.refused_full_j;
        self.refused_cold_j += other.refused_cold_j;
        self.drive_dc_j += other.drive_dc_j;
        self.beyond_map_s += other.beyond_map_s;
        self.recoverable_low_j += other.recoverable_low_j;
        self.recoverable_high_j += other.recoverable_high_j;
        self.attainable_j += other.attainable_j;
        self.braking_above_fade_j += other.braking_above_fade_j;
        self.aux_j += other.aux_j;
        self.aux_base_j += other.aux_base_j;
        self.cab.add(other.cab);
        self.battery_thermal.add(other.battery_thermal);
        self.refrigeration.add(other.refrigeration);
        self.measured_s += other.measured_s;
        self.measured_moving_s += other.measured_moving_s;
        self.battery.add(&other.battery);
        self.mass_kg_s += other.mass_kg_s;
        self.density_s += other.density_s;
        self.gross_s += other.gross_s;
        self.manifest_s += other.manifest_s;
        self.payload.add(other.payload);
        self.ambient.add(other.ambient);
        self.headwind.add(other.headwind);
        self.engine_s += other.engine_s;
        self.overhead_s += other.overhead_s;
        self.filled_s += other.filled_s;
        self.braking_draws_j2 += other.braking_draws_j2;
        self.recoverable_draws_j2 += other.recoverable_draws_j2;
    }

    /// Energy out of the battery terminals as the model has it: driving, auxiliaries, less what came back to the bus.
    pub fn terminal_j(&self) -> f64 {
        self.drive_dc_j + self.aux_j - self.cascade.bus_j()
    }

    /// Share of the time with battery power known.
    pub fn coverage(&self) -> f64 {
        if self.duration_s > 0.0 { self.measured_s / self.duration_s } else { 0.0 }
    }
}

impl BatterySums {
    fn add(&mut self, other: &BatterySums) {
        self.discharged_j += other.discharged_j;
        self.discharged_driving_j += other.discharged_driving_j;
        self.recovered_j += other.recovered_j;
        self.recovering_s += other.recovering_s;
        self.recovered_high_j += other.recovered_high_j;
        self.unknown_store_j += other.unknown_store_j;
        self.unbraked_j += other.unbraked_j;
        self.plugged_j += other.plugged_j;
        self.bus_j += other.bus_j;
        self.unexplained_j += other.unexplained_j;
    }
}

/// One interval, from knot `k` to `k + 1`, booked.
pub fn book(track: &Track, k: usize, moving: bool, grade: GradeBasis, sheet: &Sheet) -> Ledger {
    let Some(paths) = track.between.as_ref().and_then(|between| between.at(k)) else {
        return book_as_sampled(track, k, moving, grade, sheet);
    };
    let setting = Setting::at(track, k, &sheet.nominal);
    let mut ledger = book_time(track, k, moving, sheet, &setting);
    let line = road_load::integrate(&setting.conditions, &interval(track, k, grade));
    ledger.braking_raw_j = line.braking_j;
    let parts = filled::book(&mut ledger, track, k, grade, sheet, &setting, paths);
    book_battery(&mut ledger, track, k, moving, (&parts, DRAWS), sheet, setting.loads.total_w());
    ledger
}

/// One interval with the speed on a line between its ends.
pub fn book_as_sampled(track: &Track, k: usize, moving: bool, grade: GradeBasis, sheet: &Sheet) -> Ledger {
    let setting = Setting::at(track, k, &sheet.nominal);
    let mut ledger = book_time(track, k, moving, sheet, &setting);
    let interval = interval(track, k, grade);
    let part = book_road(&mut ledger, track, k, &interval, sheet, &setting);
    book_noise(&mut ledger, track, k, &interval, &setting.conditions);
    book_battery(&mut ledger, track, k, moving, (part.as_slice(), 1), sheet, setting.loads.total_w());
    ledger
}

/// What goes by time and by the samples at the ends.
fn book_time(track: &Track, k: usize, moving: bool, sheet: &Sheet, setting: &Setting) -> Ledger {
    let dt = track.seconds(k, k + 1);
    Ledger {
        duration_s: dt,
        moving_s: if moving { dt } else { 0.0 },
        distance_unclamped_m: f64::midpoint(track.speed_logged[k], track.speed_logged[k + 1]) * dt,
        interpolated_s: if track.speed_interpolated[k] || track.speed_interpolated[k + 1] { dt } else { 0.0 },
        aux_j: setting.loads.total_w() * dt,
        aux_base_j: setting.loads.base_w * dt,
        cab: Known::over(setting.loads.cab_w, dt),
        battery_thermal: Known::over(setting.loads.battery_w, dt),
        refrigeration: Known::over(setting.loads.refrigeration_w, dt),
        mass_kg_s: setting.conditions.mass_kg * dt,
        density_s: setting.conditions.air_density_kg_m3 * dt,
        gross_s: if track.gross[k].is_some() { dt } else { 0.0 },
        manifest_s: if track.manifest[k] { dt } else { 0.0 },
        payload: Known::over(track.payload[k], dt),
        ambient: Known::over(track.ambient[k], dt),
        headwind: Known::over(track.air.headwind[k], dt),
        engine_s: if track.engine_on[k] { dt } else { 0.0 },
        overhead_s: if is_fed(track, k, sheet) { dt } else { 0.0 },
        ..Ledger::default()
    }
}

/// What follows from the speed over an interval within knots `k` and `k + 1`; the part of it that brakes.
pub fn book_road(
    ledger: &mut Ledger,
    track: &Track,
    k: usize,
    interval: &Interval,
    sheet: &Sheet,
    setting: &Setting,
) -> Option<(f64, f64)> {
    let road = road_load::integrate(&setting.conditions, interval);
    ledger.distance_m = interval.distance_m();
    ledger.road.add(&road);
    ledger.shares = shares::shares(&setting.conditions, interval, &road);
    let drawn = losses::drawn(&sheet.nominal.losses, &setting.conditions, interval, &road);
    (ledger.drive_dc_j, ledger.beyond_map_s) = (drawn.energy_j, drawn.beyond_map_s);
    book_bounds(ledger, track, k, interval, sheet);
    let part = road.braking_part?;
    book_braking(ledger, track, k, interval, part, sheet, setting);
    Some(part)
}

/// The same braking out of the speed as logged, and what remains uncertain after smoothing.
fn book_noise(ledger: &mut Ledger, track: &Track, k: usize, interval: &Interval, conditions: &Conditions) {
    if track.speed_error.is_none() {
        ledger.braking_raw_j = ledger.road.braking_j;
        return;
    }
    let raw = Interval {
        speed_start_m_s: track.speed_logged[k].max(0.0),
        speed_end_m_s: track.speed_logged[k + 1].max(0.0),
        ..*interval
    };
    ledger.braking_raw_j = road_load::integrate(conditions, &raw).braking_j;
    let sd_n = conditions.effective_mass_kg() * track.accel_sd[k];
    let speed = f64::midpoint(interval.speed_start_m_s, interval.speed_end_m_s);
    let force_n = road_load::force_law(conditions, interval).at(speed);
    ledger.braking_uncertainty_j = rectified::excess(force_n, sd_n) * interval.distance_m();
}

/// The interval from knot `k` to the next.
pub fn interval(track: &Track, k: usize, grade: GradeBasis) -> Interval {
    Interval {
        duration_s: track.seconds(k, k + 1),
        speed_start_m_s: track.speed[k],
        speed_end_m_s: track.speed[k + 1],
        rise_m: if grade == GradeBasis::None { 0.0 } else { track.rise[k] },
    }
}

/// What one truck meets at a knot.
pub struct Setting {
    pub conditions: Conditions,
    pub loads: Loads,
    acceptance_w: f64,
    /// What nearly full charge and cold leave of it.
    acceptance_left: (f64, f64),
}

/// Vehicle and air at a knot.
///
/// Mass is the gross weight where it is logged, else the sheet's with the payload logged or stated. A mass estimated
/// from force is not used here: tuned per trip it would hide every other fault of the sheet.
pub fn conditions(track: &Track, k: usize, truck: &Truck) -> Conditions {
    let loaded = || truck.mass_empty_kg + track.payload[k].unwrap_or(truck.payload_kg);
    let rolling_resistance = match (truck.rolling_temperature, track.ambient[k]) {
        (Some(law), Some(ambient)) => {
            rolling::coefficient(truck.rolling_resistance, law.per_k, law.reference_k, ambient)
        }
        _ => truck.rolling_resistance,
    };
    Conditions {
        mass_kg: track.gross[k].unwrap_or_else(loaded),
        rotating_mass_kg: truck.rotating_mass_kg,
        rolling_resistance,
        drag_area_m2: truck.drag_area_m2,
        air_density_kg_m3: track.air.density[k],
        gravity_m_s2: STANDARD_GRAVITY_M_S2,
        headwind_m_s: track.air.headwind[k].unwrap_or(0.0),
    }
}

impl Setting {
    pub fn at(track: &Track, k: usize, truck: &Truck) -> Self {
        let guessed_k = track.ambient[k].map(|air| air + (ROOM_K - air).max(0.0) * truck.battery_warmth);
        let battery_k = track.battery[k].or(guessed_k);
        Self {
            conditions: conditions(track, k, truck),
            loads: Loads::at(track, k, truck),
            acceptance_w: cascade::acceptance_power(&truck.acceptance, track.soc[k], battery_k),
            acceptance_left: cascade::acceptance_left(&truck.acceptance, track.soc[k], battery_k),
        }
    }
}

impl Setting {
    pub fn moment(&self, level: LevelChoice, pedal_used: bool) -> Moment {
        let aux_power_w = self.loads.total_w();
        Moment { level, pedal_used, aux_power_w, acceptance_w: self.acceptance_w }
    }
}

/// The level set at a knot, as the truck numbers it; `None` where neither log nor sheet knows.
pub fn level_at(track: &Track, k: usize, truck: &Truck) -> Option<usize> {
    track.name(track.level[k]).and_then(|name| truck.level_named(name)).or(truck.default_level)
}

/// Whether the brake pedal is used between a knot and the next; `None` unless either end says so or both deny it.
pub fn pedal_at(track: &Track, k: usize) -> Option<bool> {
    match (track.pedal[k], track.pedal[k + 1]) {
        (Some(true), _) | (_, Some(true)) => Some(true),
        (Some(false), Some(false)) => Some(false),
        _ => None,
    }
}

/// Another mass or drag moves the part of the interval that brakes, so the ends look for theirs on their own.
fn book_bounds(ledger: &mut Ledger, track: &Track, k: usize, interval: &Interval, sheet: &Sheet) {
    let known = level_at(track, k, &sheet.nominal);
    let pedal = pedal_at(track, k);
    let bound = |truck: &Truck, unknown: LevelChoice, pedal_used: bool| {
        let setting = Setting::at(track, k, truck);
        if !road_load::may_brake(&setting.conditions, interval) {
            return None;
        }
        let part = road_load::integrate(&setting.conditions, interval).braking_part?;
        let moment = setting.moment(known.map_or(unknown, LevelChoice::Set), pedal_used);
        Some(cascade::integrate(truck, &setting.conditions, interval, part, &moment).recoverable_j)
    };
    // Where no pedal is logged the bounds cover both: released and used. Either may bring more, where losses grow faster
    // than force.
    let end = |truck: &Truck, unknown: LevelChoice, of: fn(f64, f64) -> f64| {
        let used = bound(truck, unknown, pedal.unwrap_or(true))?;
        let open = pedal.is_none() && truck.blending != Blending::FrictionOnly;
        Some(if open { of(used, bound(truck, unknown, false)?) } else { used })
    };
    ledger.recoverable_low_j = end(&sheet.low, LevelChoice::Worst, f64::min).unwrap_or(0.0);
    ledger.recoverable_high_j = end(&sheet.high, LevelChoice::Best, f64::max).unwrap_or(0.0);
}

fn book_braking(
    ledger: &mut Ledger,
    track: &Track,
    k: usize,
    interval: &Interval,
    part: (f64, f64),
    sheet: &Sheet,
    setting: &Setting,
) {
    let known = level_at(track, k, &sheet.nominal);
    let level = known.unwrap_or_else(|| sheet.nominal.stand_in_level());
    let (truck, conditions) = (&sheet.nominal, &setting.conditions);
    let moment = setting.moment(LevelChoice::Set(level), pedal_at(track, k).unwrap_or(true));
    ledger.cascade = cascade::integrate(truck, conditions, interval, part, &moment);
    ledger.gains = cascade::gains(truck, conditions, interval, part, &moment, &ledger.cascade);
    ledger.swings = swings(track, k, interval, part, sheet, &moment, &ledger.cascade);
    ledger.beyond_map_s += ledger.cascade.beyond_map_s;
    let refused_j = ledger.cascade.beyond_acceptance_j;
    match setting.acceptance_left {
        (full, cold) if cold < full => ledger.refused_cold_j = refused_j,
        (full, _) if full < 1.0 => ledger.refused_full_j = refused_j,
        _ => {}
    }
    ledger.attainable_j = cascade::attainable(truck, conditions, interval, part, &moment, &ledger.cascade);
    let fade_end = sheet.nominal.levels[level].fade_end_m_s;
    if f64::midpoint(interval.speed_start_m_s, interval.speed_end_m_s) > fade_end {
        ledger.braking_above_fade_j = ledger.road.braking_j;
    }
}

/// Whether an overhead line may feed the battery whose power is logged.
fn is_fed(track: &Track, k: usize, sheet: &Sheet) -> bool {
    sheet.power_boundary == PowerBoundary::Pack && track.overhead[k]
}

fn book_battery(
    ledger: &mut Ledger,
    track: &Track,
    k: usize,
    moving: bool,
    // Shares of the interval that brake, over so many draws.
    (braking_parts, draws): (&[(f64, f64)], usize),
    sheet: &Sheet,
    aux_power_w: f64,
) {
    let modelled_bus = ledger.cascade.bus_j();
    let (Some(start_w), Some(end_w)) = (track.power[k], track.power[k + 1]) else {
        ledger.battery.bus_j = modelled_bus;
        return;
    };
    let dt = ledger.duration_s;
    ledger.measured_s = dt;
    ledger.measured_moving_s = ledger.moving_s;
    let (out, inflow) = battery_flow::split(start_w, end_w, dt);
    let fed = is_fed(track, k, sheet);
    // Standing, an inflow is a charge unless the log denies the plug.
    let plugged = track.plugged[k] || (!moving && !track.engine_on[k] && !track.unplugged[k]);
    let sums = &mut ledger.battery;
    if plugged {
        sums.plugged_j = inflow;
    } else if track.engine_on[k] || !moving {
        sums.unbraked_j = inflow;
    } else if sheet.power_boundary == PowerBoundary::Vehicle || track.overhead[k] {
        sums.unknown_store_j = inflow;
    } else {
        sums.recovered_j = inflow;
        sums.recovering_s = battery_flow::inflow_s(start_w, end_w, dt);
        sums.recovered_high_j = battery_flow::clipped(start_w, end_w, dt).1;
    }
    if track.plugged[k] {
        return;
    }
    sums.discharged_j = out;
    sums.discharged_driving_j = if moving { out } else { 0.0 };
    let returned = |part: &(f64, f64)| {
        let at = |share: f64| aux_power_w - (start_w + (end_w - start_w) * share);
        battery_flow::split(at(part.0), at(part.1), (part.1 - part.0) * dt).0
    };
    sums.bus_j = braking_parts.iter().map(returned).sum::<f64>() / draws as f64;
    if track.engine_on[k] || fed {
        // What an engine or a line feeds the bus is no return, and battery power does not tell them apart.
        sums.bus_j = modelled_bus;
    } else if moving {
        // What reached the terminals passed the bus, whether or not the speed of a slow log shows the braking.
        sums.bus_j = sums.bus_j.max(inflow);
    }
    // Nor does physics know what an engine or a line gave.
    let foreign = track.engine_on[k] || fed || (plugged && inflow > 0.0);
    if !foreign {
        // Against the model's own return: what came back beyond it stays here, with its sign.
        let asked = ledger.drive_dc_j + ledger.aux_j - modelled_bus;
        sums.unexplained_j = out - inflow - asked;
    }
}
