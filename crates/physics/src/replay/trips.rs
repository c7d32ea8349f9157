//! Trips: their segments added up, and what may be claimed of them.

use super::ledger::Ledger;
use super::motion::{Kind, Plan};
use super::pieces::Segment;
use super::track::{Span, Track};
use super::{CLOSURE, PhysicsError, mass};
use crate::kernels::filling::Library;
use crate::truck::{PowerBoundary, Sheet};

/// What noise of the speed did to braking energy, and what smoothing may have done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    pub raw_over_smoothed: f64,
    pub debiased_over_smoothed: f64,
}

impl Noise {
    /// Where the speed as logged says more than this, most of the braking is noise.
    const HOPELESS: f64 = 2.0;

    fn of(ledger: &Ledger) -> Option<Self> {
        let smoothed = ledger.road.braking_j;
        (smoothed > 0.0).then(|| Self {
            raw_over_smoothed: ledger.braking_raw_j / smoothed,
            debiased_over_smoothed: 1.0 + ledger.braking_uncertainty_j / smoothed,
        })
    }

    /// Ends of the true braking energy over the smoothed.
    fn factors(self) -> (f64, f64) {
        let trouble = (self.raw_over_smoothed - 1.0).clamp(0.0, 1.0);
        (1.0 - 0.1 * trouble, self.debiased_over_smoothed + 0.01 + 0.15 * trouble)
    }
}

/// Where less of the moving time could be filled, what the samples hide stays hidden. Common practice, no source.
const FILLED: f64 = 0.9;
/// Two-sided 90 % of a normal.
const Z_90: f64 = 1.644_853_626_951_472_6;

/// How much of the braking energy the sampling lets through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BrakingClaim {
    Full,
    Banded {
        low_factor: f64,
        high_factor: f64,
    },
    /// The speed between slow samples was drawn: the sum is a mean over draws, and true within this share of it.
    Imputed {
        half_frac: f64,
    },
    /// Sampled so slowly that braking hides between the samples.
    Withheld,
    /// Most of it is noise of the speed.
    Noisy,
}

impl BrakingClaim {
    pub fn as_str(self) -> &'static str {
        match self {
            BrakingClaim::Full => "full",
            BrakingClaim::Banded { .. } => "banded",
            BrakingClaim::Imputed { .. } => "imputed",
            BrakingClaim::Withheld => "withheld",
            BrakingClaim::Noisy => "noisy",
        }
    }

    /// True braking energy over the sum from samples this far apart.
    ///
    /// Braking energy relative to 1 Hz when the standard cycles (udds, hwfet, wltc class 3b) are thinned to 2 s:
    /// 0.969 to 0.983, to 5 s: 0.872 to 0.910, straight lines between. The band reaches from the sum as it stands,
    /// because noise of speed and height adds what sampling hides, to the inverse of the lower figure.
    ///
    /// Noise widens the band: smoothing takes it away, but not for nothing. On the standard cycles with white error of
    /// 0.05 to 0.2 m/s or rounding to 1 mph the truth lies within it (tests, reference suite).
    pub fn new(interval_s: f64, noise: Option<Noise>) -> Self {
        const THINNED: [(f64, f64); 3] = [(1.0, 1.0), (2.0, 0.969), (5.0, 0.872)];
        if noise.is_some_and(|noise| noise.raw_over_smoothed > Noise::HOPELESS) {
            return BrakingClaim::Noisy;
        }
        let (low, high) = noise.map_or((1.0, 1.0), Noise::factors);
        if interval_s <= 1.25 {
            let clean = high - low <= 0.02;
            return if clean {
                BrakingClaim::Full
            } else {
                BrakingClaim::Banded { low_factor: low, high_factor: high }
            };
        }
        if interval_s > 5.05 {
            return BrakingClaim::Withheld;
        }
        let upper = if interval_s <= 2.0 { 1 } else { 2 };
        let (a, b) = (THINNED[upper - 1], THINNED[upper]);
        let share = ((interval_s - a.0) / (b.0 - a.0)).min(1.0);
        BrakingClaim::Banded { low_factor: low, high_factor: high / (a.1 + (b.1 - a.1) * share) }
    }

    /// Of a trip whose speed between the samples was drawn from a library: 90 % of what the draws and the library's own
    /// mismatch leave open. Both sides end at the same share, so that the middle is the sum; at most all of it.
    fn imputed(ledger: &Ledger, library: &Library, interval_s: f64) -> Option<Self> {
        if ledger.filled_s < FILLED * ledger.moving_s {
            return None;
        }
        let braking_j = ledger.road.braking_j;
        if braking_j <= 0.0 {
            return Some(BrakingClaim::Imputed { half_frac: 0.0 });
        }
        let draws_frac = ledger.braking_draws_j2.sqrt() / braking_j;
        let half_frac = Z_90 * draws_frac.hypot(library.origin().mismatch_frac(interval_s));
        Some(BrakingClaim::Imputed { half_frac: half_frac.min(1.0) })
    }

    /// Lower and upper end of the braking energy, where a claim is made.
    pub fn band(self, energy: f64) -> Option<(f64, f64)> {
        match self {
            BrakingClaim::Full => Some((energy, energy)),
            BrakingClaim::Banded { low_factor, high_factor } => {
                Some((energy * low_factor, energy * high_factor))
            }
            BrakingClaim::Imputed { half_frac } => {
                Some((energy * (1.0 - half_frac), energy * (1.0 + half_frac)))
            }
            BrakingClaim::Withheld | BrakingClaim::Noisy => None,
        }
    }
}

#[derive(Debug, Clone)]
pub struct Trip {
    pub id: String,
    /// First and last knot.
    pub ends: (usize, usize),
    pub ledger: Ledger,
    pub stops: u64,
    pub gap_s: f64,
    pub frozen_s: f64,
    pub speed_max_m_s: f64,
    pub sample_interval_s: f64,
    pub noise: Option<Noise>,
    pub claim: BrakingClaim,
    pub recovery_check: &'static str,
    pub grade: &'static str,
    /// Standard deviation of a grade from altitude, and the passes averaged for it.
    pub grade_error: Option<f64>,
    pub passes: Option<f64>,
    pub mass: Option<mass::Estimate>,
    pub driver: Option<u16>,
    pub route: Option<u16>,
    pub route_matched: bool,
}

impl Trip {
    pub fn coverage(&self) -> f64 {
        let moving = self.ledger.moving_s;
        if moving > 0.0 { self.ledger.measured_moving_s / moving } else { 0.0 }
    }
}

pub fn gather(vehicle_id: &str, track: &Track, plan: &Plan, segments: &[Segment], sheet: &Sheet) -> Vec<Trip> {
    let mut by_trip: Vec<Vec<&Segment>> = vec![Vec::new(); plan.trips];
    for segment in segments {
        if let Some(trip) = segment.trip {
            by_trip[trip].push(segment);
        }
    }
    let numbered = by_trip.into_iter().enumerate().filter(|(_, segments)| !segments.is_empty());
    numbered.map(|(number, segments)| one(vehicle_id, number, track, plan, &segments, sheet)).collect()
}

fn one(
    vehicle_id: &str,
    number: usize,
    track: &Track,
    plan: &Plan,
    segments: &[&Segment],
    sheet: &Sheet,
) -> Trip {
    let ends = (segments[0].knots.start, segments[segments.len() - 1].knots.end);
    let mut ledger = Ledger::default();
    segments.iter().for_each(|segment| ledger.add(&segment.ledger));
    let spans: Vec<usize> = plan.runs.iter().filter(|r| r.trip == Some(number)).map(|r| r.span).collect();
    let inner = spans.iter().skip(1).zip(&spans).filter(|(now, before)| now != before).map(|(now, _)| *now);
    let (mut gap_s, mut frozen_s) = (0.0, 0.0);
    for span in inner {
        gap_s += track.spans[span].gap_before_s;
        frozen_s += track.spans[span].frozen_before_s;
    }
    let sample_interval_s = median_step(track, ends);
    let noise = track.speed_error.and_then(|_| Noise::of(&ledger));
    let between = track.between.as_ref();
    let claim = between
        .and_then(|between| BrakingClaim::imputed(&ledger, between.library(), sample_interval_s))
        .unwrap_or_else(|| BrakingClaim::new(sample_interval_s, noise));
    let recovery_check = check_recovery(&ledger, claim, track, ends, sheet);
    Trip {
        id: format!("{vehicle_id}-{:04}", number + 1),
        ends,
        stops: stops_of(plan, number),
        gap_s,
        frozen_s,
        speed_max_m_s: track.speed[ends.0..=ends.1].iter().copied().fold(0.0, f64::max),
        sample_interval_s,
        noise,
        claim,
        recovery_check,
        grade: grade_of(segments),
        grade_error: mean_over(track, &spans, |span| span.grade_error),
        passes: mean_over(track, &spans, |span| span.passes),
        mass: mass::estimate(track, plan, number, sheet, sample_interval_s),
        driver: most_of(track, ends, &track.driver),
        route: most_of(track, ends, &track.route),
        route_matched: track.route_matched.get(number) == Some(&true),
        ledger,
    }
}

/// More than braking can explain: half as much again as the braking energy, because mass, height and drag of the
/// sheet are wrong by tens of percent at worst, and an amount worth the word.
const INEXPLICABLE: f64 = 1.5;
const INEXPLICABLE_LEAST_J: f64 = 0.05 * 3.6e6;

/// What flowed into the battery while moving, against what braking can explain.
fn check_recovery(
    ledger: &Ledger,
    claim: BrakingClaim,
    track: &Track,
    ends: (usize, usize),
    sheet: &Sheet,
) -> &'static str {
    if ledger.engine_s > 0.05 * ledger.moving_s {
        return "engine";
    }
    if ledger.measured_moving_s <= 0.0 {
        return "none";
    }
    let overhead = track.overhead[ends.0..=ends.1].iter().any(|on| *on);
    if sheet.power_boundary == PowerBoundary::Vehicle || overhead {
        return "unknown-store";
    }
    match claim.band(ledger.road.braking_j) {
        Some((_, high)) if ledger.battery.recovered_j > INEXPLICABLE * high + INEXPLICABLE_LEAST_J => {
            "more-than-braking"
        }
        _ => "explained",
    }
}

fn stops_of(plan: &Plan, trip: usize) -> u64 {
    plan.runs.iter().filter(|run| run.trip == Some(trip) && run.kind == Kind::Standing && run.is_stop).count()
        as u64
}

fn median_step(track: &Track, ends: (usize, usize)) -> f64 {
    let logged: Vec<usize> = (ends.0..=ends.1).filter(|k| !track.speed_interpolated[*k]).collect();
    let mut steps: Vec<f64> = logged.windows(2).map(|w| track.seconds(w[0], w[1])).collect();
    if steps.is_empty() {
        return track.interval_s;
    }
    let middle = steps.len() / 2;
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}

fn grade_of(segments: &[&Segment]) -> &'static str {
    let first = segments[0].grade;
    if segments.iter().all(|segment| segment.grade == first) { first.as_str() } else { "mixed" }
}

/// Mean over the spans that say, each as heavy as it has knots.
fn mean_over(track: &Track, spans: &[usize], pick: impl Fn(&Span) -> Option<f64>) -> Option<f64> {
    let mut numbers = spans.to_vec();
    numbers.dedup();
    let mut sum = (0.0, 0.0);
    for span in numbers.iter().map(|number| &track.spans[*number]) {
        if let Some(value) = pick(span) {
            sum.0 += value * span.knots.len() as f64;
            sum.1 += span.knots.len() as f64;
        }
    }
    (sum.1 > 0.0).then(|| sum.0 / sum.1)
}

/// The name that holds for nine tenths of the time, if one does.
fn most_of(track: &Track, ends: (usize, usize), names: &[Option<u16>]) -> Option<u16> {
    let mut times = std::collections::BTreeMap::new();
    let mut total = 0.0;
    for (k, name) in (ends.0..ends.1).zip(&names[ends.0..ends.1]) {
        // A gap is nobody's time.
        let dt = track.seconds(k, k + 1).min(60.0);
        total += dt;
        *times.entry(*name).or_insert(0.0) += dt;
    }
    let (name, time) = times.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    if time >= 0.9 * total { name } else { None }
}

/// Identity (3) on every trip.
pub fn check_closure(trips: &[Trip]) -> Result<(), PhysicsError> {
    for trip in trips {
        let residual = trip.ledger.road.residual();
        if residual.is_nan() || residual.abs() > CLOSURE {
            return Err(PhysicsError::Open { trip: trip.id.clone(), residual });
        }
    }
    Ok(())
}

/// True when the trip's inflow is booked as recovered.
pub fn explained(trip: &Trip) -> bool {
    trip.recovery_check != "more-than-braking"
}
