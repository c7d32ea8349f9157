//! Energy between state of charge 0 and 1, by what was metered and by how much the state of charge rose.

use backwatt_stats::{Gaussian, Observation, posterior};

use super::{ChargerEfficiencies, Matched, Metered, Reading};
use crate::learned::Z_90;
use crate::sheet::BatterySheet;
use crate::windows::VOLTAGE_RANGE_FRAC;

/// What a vehicle's sessions say of its capacity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SessionCapacity {
    pub inverse_per_kwh: f64,
    pub inverse_sd_per_kwh: f64,
    /// Sessions it rests on.
    pub sessions: u64,
}

impl SessionCapacity {
    /// 5th, 50th and 95th percentile. [kWh] Doubt is a matter of factors, so it is as wide below as above by its logarithm.
    pub fn capacity_kwh(&self) -> [f64; 3] {
        let wide = (Z_90 * self.relative_sd()).exp();
        [1.0 / wide, 1.0, wide].map(|factor| factor / self.inverse_per_kwh)
    }

    fn relative_sd(&self) -> f64 {
        self.inverse_sd_per_kwh / self.inverse_per_kwh
    }

    /// Measured over stated: mean, standard deviation, sessions behind it.
    pub fn ratio(&self, stated_kwh: f64) -> (f64, f64, u64) {
        let mean = 1.0 / (self.inverse_per_kwh * stated_kwh);
        (mean, mean * self.relative_sd(), self.sessions)
    }
}

/// Half of the energy of a state of charge that is charge may be off by this. From memory.
const VOLTAGE_RANGE_SD: f64 = 0.05;
/// What a parked vehicle draws between a reading and the session. From memory: tens of watts. [kW]
const PARKED_KW: (f64, f64) = (0.03, 0.03);
/// A full display says more than the step below it: by this much of a step, between nothing where values are rounded and
/// half where they are cut off. Rectangular, JCGM 100:2008 (GUM), 4.3.7.
const FULL_SHIFT: (f64, f64) = (0.25, 0.144_338);
/// Loss inside the battery beside the sheet's, which holds at 1C. From memory.
const BATTERY_LOSS_SD: f64 = 0.5;
/// By how much one session differs from the next: fans, pumps, cab, warmth of the battery. From memory.
const SESSION_FRAC: f64 = 0.01;
/// Without a sheet: battery efficiency at 1C.
const USUAL_EFFICIENCY: f64 = 0.98;
/// Measured over stated capacity beyond which the energy went elsewhere: a battery worn to less than half is not driven on
/// rounds, and nobody sells a third more than stated.
const POSSIBLE_RATIO: (f64, f64) = (0.45, 1.35);
/// Residuals beyond this many times their median size are no noise.
const ASIDE: f64 = 5.0;
/// Sessions from which on one can be told to be unlike the others.
const COMPARABLE: usize = 5;
/// Weight of the noise as stated beside that of the residuals, in sessions.
const NOISE_BELIEVED: f64 = 4.0;

const REASON_ELSEWHERE: &str =
    "the energy does not fit this battery: another vehicle's session, or something else was fed";
const REASON_UNLIKE: &str =
    "the energy does not fit the vehicle's other sessions: something else was fed, or another meter";

/// Unknowns: inverse capacity, relative error of both efficiencies, range of the voltage, loss inside the battery,
/// power drawn while parked, shift of a full display.
const UNKNOWNS: usize = 7;

/// What the matched sessions of one vehicle say of its capacity. Those that fit neither the battery stated nor each other
/// are refused with the reason.
///
/// Δs = b·E·η·(1 − ℓ c)/(1 + u (s̄ − ½)) − b p w + q z + ε
///   Δs  rise of state of charge as read, of steps q; s̄ its middle; z the shift of a full display
///   b   inverse capacity [1/kWh]; E metered energy [kWh]; η efficiency from meter to terminals
///   ℓ   loss inside the battery at 1C, c the session's rate; u range of the open-circuit voltage
///   p   power drawn while parked [kW], w time parked before and after [h]
/// η, ℓ, u, p, z are common to all sessions: more of them do not make their doubt smaller, only that of ε, whose variance is
/// q²/12 at each end and a hundredth of the rise.
/// Missing  `None` where no session tells
/// Source   rectangular distribution of a rounded value: JCGM 100:2008 (GUM), 4.3.7. Departures: linear in the errors
pub fn capacity_from_sessions(
    matched: &mut [Matched],
    battery: Option<BatterySheet>,
    chargers: ChargerEfficiencies,
) -> Option<SessionCapacity> {
    if let Some(battery) = battery {
        for one in matched.iter_mut().filter(|one| one.refused.is_none()) {
            let Some(alone) = fit(&terms(std::slice::from_ref(one), Some(battery), chargers), 1.0) else {
                continue;
            };
            let [low, _, high] = alone.capacity().capacity_kwh().map(|kwh| kwh / battery.capacity_kwh);
            if high < POSSIBLE_RATIO.0 || low > POSSIBLE_RATIO.1 {
                one.refused = Some(REASON_ELSEWHERE.to_owned());
            }
        }
    }
    for side in [Metered::Ac, Metered::Dc] {
        refuse_unlike(matched, side, battery, chargers);
    }
    let rows = terms(matched, battery, chargers);
    let fitted = fit(&rows, 1.0)?;
    // Sessions may differ by more than was thought; that they differ by less is luck.
    let squares: f64 = fitted.residuals.iter().map(|off| off * off).sum();
    let spread = (squares + NOISE_BELIEVED) / (rows.len() as f64 - 1.0 + NOISE_BELIEVED);
    Some(fit(&rows, spread.max(1.0).sqrt())?.capacity())
}

/// Capacity by one session alone: 5th, 50th and 95th percentile. [kWh]
pub fn apparent_kwh(
    one: &Matched,
    battery: Option<BatterySheet>,
    chargers: ChargerEfficiencies,
) -> Option<[f64; 3]> {
    Some(fit(&terms(std::slice::from_ref(one), battery, chargers), 1.0)?.capacity().capacity_kwh())
}

/// Standard deviation of the rise that the steps of both readings leave.
///
/// Source   JCGM 100:2008 (GUM), 4.3.7
pub fn rise_sd(start: Reading, end: Reading) -> f64 {
    // What is full has stopped: no step stands around it but the shift, which is common to all sessions.
    let end_step = if is_full(end) { 0.0 } else { end.step_frac };
    ((start.step_frac.powi(2) + end_step.powi(2)) / 12.0).sqrt()
}

fn is_full(end: Reading) -> bool {
    end.soc_frac >= 1.0 - 1e-9
}

/// What the shift of a full display adds to the rise read. [state of charge]
///
/// Most charges end full, so readings there stand nowhere within their step but at its end: where values are cut off, full
/// reads right and the reading before lies half a step low; after a little was drawn since, the step below full lies a whole
/// step low and the rise half a step. What was drawn in the meantime fills that step.
fn full_step(end: Reading, inverse: f64) -> f64 {
    let step = end.step_frac;
    if is_full(end) {
        step
    } else if end.soc_frac >= 1.0 - step - 1e-9 {
        let drawn = inverse * PARKED_KW.0 * end.wait_s / 3600.0;
        -(step - 2.0 * drawn).max(0.0)
    } else {
        0.0
    }
}

/// Refuses what lies far from the median of the vehicle's sessions at one kind of meter: a mean would follow it.
fn refuse_unlike(
    matched: &mut [Matched],
    side: Metered,
    battery: Option<BatterySheet>,
    chargers: ChargerEfficiencies,
) {
    let told = |one: &Matched| one.refused.is_none().then(|| term(one, battery, chargers)).flatten();
    let rows: Vec<(usize, Term)> =
        matched.iter().enumerate().filter_map(|(at, one)| Some((at, told(one)?))).collect();
    let rows: Vec<&(usize, Term)> = rows.iter().filter(|(_, row)| row.metered == side).collect();
    if rows.len() < COMPARABLE {
        return;
    }
    let inverse = median(rows.iter().map(|(_, row)| row.rise / row.inside_kwh).collect());
    let offs: Vec<f64> = rows
        .iter()
        .map(|(_, row)| ((row.rise - inverse * row.inside_kwh) / row.noise(inverse)).abs())
        .collect();
    // 1.4826: from the median of absolute values to a standard deviation, for a normal.
    let size = (1.4826 * median(offs.clone())).max(1.0);
    let unlike = rows.iter().zip(&offs).filter(|(_, off)| **off > ASIDE * size);
    for at in unlike.map(|((at, _), _)| *at).collect::<Vec<usize>>() {
        matched[at].refused = Some(REASON_UNLIKE.to_owned());
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// One session as a row of the fit.
struct Term {
    rise: f64,
    /// Metered, less what is expected to be lost. [kWh]
    inside_kwh: f64,
    metered: Metered,
    side_sd: f64,
    off_middle: f64,
    /// Share of the energy lost inside the battery.
    lost_frac: f64,
    parked_h: f64,
    /// What a display at or just below full adds to the rise, per shift.
    full_step: f64,
    /// What the steps of the display leave of the rise.
    rise_sd: f64,
}

impl Term {
    /// Standard deviation of the rise, by what is expected of it: by what is read, sessions read too high would weigh less.
    fn noise(&self, inverse: f64) -> f64 {
        self.rise_sd.hypot(SESSION_FRAC * inverse * self.inside_kwh)
    }
}

fn terms(matched: &[Matched], battery: Option<BatterySheet>, chargers: ChargerEfficiencies) -> Vec<Term> {
    matched.iter().filter(|one| one.refused.is_none()).filter_map(|one| term(one, battery, chargers)).collect()
}

fn term(one: &Matched, battery: Option<BatterySheet>, chargers: ChargerEfficiencies) -> Option<Term> {
    let (start, end, session) = (one.start?, one.end?, &one.session);
    let charger = chargers.of(session.metered);
    let rise = end.soc_frac - start.soc_frac;
    let at_terminals_kwh = session.energy_metered_kwh * charger.value_frac;
    let hours = (session.until_ns - session.from_ns) as f64 / 3.6e12;
    let power_kw = session.power_max_w.map_or(session.energy_metered_kwh / hours, |watts| watts / 1000.0);
    // The rate follows from the session itself: its rise stands for the capacity.
    let rate = power_kw * charger.value_frac * rise / at_terminals_kwh;
    let efficiency = battery.map_or(USUAL_EFFICIENCY, |battery| battery.battery_efficiency);
    let lost_frac = ((1.0 - efficiency) * rate).clamp(0.0, 0.1);
    let off_middle = f64::midpoint(start.soc_frac, end.soc_frac) - 0.5;
    let inside_kwh = at_terminals_kwh * (1.0 - lost_frac) / (1.0 + VOLTAGE_RANGE_FRAC * off_middle);
    let usable = rise > 0.0 && inside_kwh > 0.0 && inside_kwh.is_finite();
    usable.then_some(Term {
        rise,
        inside_kwh,
        metered: session.metered,
        side_sd: charger.relative_sd(),
        off_middle,
        lost_frac,
        // A display that still reads full has not shown what was drawn since.
        parked_h: (start.wait_s + if is_full(end) { 0.0 } else { end.wait_s }) / 3600.0,
        full_step: full_step(end, rise / inside_kwh),
        rise_sd: rise_sd(start, end),
    })
}

struct Fit {
    after: Gaussian,
    /// In units of each session's own noise.
    residuals: Vec<f64>,
}

impl Fit {
    fn capacity(&self) -> SessionCapacity {
        SessionCapacity {
            inverse_per_kwh: self.after.mean[0],
            inverse_sd_per_kwh: self.after.standard_deviation(0),
            sessions: self.residuals.len() as u64,
        }
    }
}

/// Linear about the inverse capacity found last; three rounds settle it.
fn fit(rows: &[Term], spread: f64) -> Option<Fit> {
    let sum = |of: fn(&Term) -> f64| rows.iter().map(of).sum::<f64>();
    let mut inverse = sum(|row| row.rise) / sum(|row| row.inside_kwh);
    if !(inverse.is_finite() && inverse > 0.0) {
        return None;
    }
    let side_sd = |side| rows.iter().find(|row| row.metered == side).map_or(0.01, |row| row.side_sd).max(1e-6);
    let sides = [side_sd(Metered::Ac), side_sd(Metered::Dc)];
    let mut fitted = None;
    for _ in 0..3 {
        let means = [inverse, 0.0, 0.0, 0.0, 0.0, PARKED_KW.0, FULL_SHIFT.0];
        // Nothing is believed of the capacity beforehand: that is the caller's to add.
        let sds =
            [10.0 * inverse, sides[0], sides[1], VOLTAGE_RANGE_SD, BATTERY_LOSS_SD, PARKED_KW.1, FULL_SHIFT.1];
        let seen: Vec<Observation> = rows.iter().map(|row| observation(row, inverse, spread)).collect();
        let after = posterior(&Gaussian::independent(&means, &sds), &seen)?;
        let off = |seen: &Observation| (seen.value - after.combination(&seen.weights).0) / seen.noise_sd;
        let residuals = seen.iter().map(off).collect();
        inverse = after.mean[0];
        if !(inverse.is_finite() && inverse > 0.0) {
            return None;
        }
        fitted = Some(Fit { after, residuals });
    }
    fitted
}

fn observation(row: &Term, inverse: f64, spread: f64) -> Observation {
    let expected = inverse * row.inside_kwh;
    let of = |side| if row.metered == side { expected } else { 0.0 };
    let weights: [f64; UNKNOWNS] = [
        row.inside_kwh,
        of(Metered::Ac),
        of(Metered::Dc),
        -expected * row.off_middle,
        -expected * row.lost_frac,
        -inverse * row.parked_h,
        row.full_step,
    ];
    Observation { weights: weights.to_vec(), value: row.rise, noise_sd: spread * row.noise(inverse) }
}

#[cfg(test)]
mod tests;
