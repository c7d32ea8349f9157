//! A ratio of sums over vehicle-days, how sure it is, and what it says of a margin.

use std::collections::BTreeMap;

use backwatt_stats::mixed::{Design, Fit, Grouping, fit};
use backwatt_stats::{Equivalence, Verdict, equivalence, student_quantile};

use crate::learned::Z_90;

/// One vehicle-day of a ratio.
#[derive(Debug, Clone, Copy)]
pub struct DayRatio<'a> {
    pub over: f64,
    pub under: f64,
    pub vehicle: &'a str,
    pub day: &'a str,
}

/// A ratio with its variances; what all days share is not in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    pub ratio: f64,
    pub vehicles: usize,
    pub days: usize,
    /// Standard deviation between vehicles, `None` of one vehicle; between dates all vehicles share; between days.
    pub sd_vehicle: Option<f64>,
    pub sd_date: f64,
    pub sd_day: f64,
    /// Their parts in the variance of the ratio.
    parts: Parts,
    dates: usize,
    pub degrees: f64,
    /// What their estimation adds, as a factor on the standard error.
    widening: f64,
}

#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Parts {
    vehicle: f64,
    date: f64,
    day: f64,
}

impl Parts {
    fn sum(self) -> f64 {
        self.vehicle + self.date + self.day
    }
}

/// The ratio of sums of a group of vehicle-days, with vehicles and dates as random effects. `None` without anything under
/// it, or of fewer than two days.
///
/// y/x = R + vehicle + date + e,  var e = s²/w,  w = x/mean x
/// var R = s_v² Σ p_i² + s_t² Σ q_j² + s²/n,  p_i and q_j the shares of Σ x that fall to a vehicle and a date
/// Source   PHYSICS.md 10; the model: `stats::mixed`. R is the ratio of sums, weighted by distance, and not the model's
///          intercept: degrees of freedom and the factor by which small samples widen are taken from the intercept's
/// Holds    dates are told apart only where vehicles share them
pub fn spread(rows: &[DayRatio<'_>]) -> Option<Spread> {
    let used: Vec<&DayRatio<'_>> = rows.iter().filter(|row| row.under > 0.0).collect();
    let under: f64 = used.iter().map(|row| row.under).sum();
    let n = used.len();
    if n < 2 || under <= 0.0 {
        return None;
    }
    let ratio = used.iter().map(|row| row.over).sum::<f64>() / under;
    let vehicles = grouping(&used, |row| row.vehicle);
    let dates = grouping(&used, |row| row.day);
    let mean = under / n as f64;
    let shares = |of: &Grouping| {
        let mut sums = vec![0.0; of.levels];
        of.level.iter().zip(&used).for_each(|(level, row)| sums[*level] += row.under / under);
        sums.iter().map(|share| share * share).sum::<f64>()
    };
    let has_vehicles = vehicles.levels > 1 && vehicles.levels < n;
    let has_dates = dates.levels > 1 && dates.levels < n;
    let design = |with: [bool; 2]| Design {
        response: used.iter().map(|row| row.over / row.under).collect(),
        fixed: vec![vec![1.0; n]],
        groups: [&vehicles, &dates]
            .into_iter()
            .zip(with)
            .filter(|(_, with)| *with)
            .map(|(of, _)| of.clone())
            .collect(),
        weight: used.iter().map(|row| row.under / mean).collect(),
        known_variance: vec![0.0; n],
    };
    // Where the richer model has no summit the plainer one answers.
    let tried = [[has_vehicles, has_dates], [has_vehicles, false], [false, false]];
    tried.into_iter().find_map(|with| {
        let design = design(with);
        let found = fit(&design).ok()?;
        Some(assembled(ratio, n, with, &found, [&vehicles, &dates].map(|of| (of.levels, shares(of)))))
    })
}

fn assembled(ratio: f64, n: usize, with: [bool; 2], found: &Fit<'_>, of: [(usize, f64); 2]) -> Spread {
    let mut variances = found.variance.iter().copied();
    let [vehicle, date] = with.map(|with| if with { variances.next().unwrap_or(0.0) } else { 0.0 });
    let intercept = found.contrast(&[1.0], &[]);
    let is_usable = intercept.degrees > 0.0 && intercept.standard_error_plain > 0.0;
    Spread {
        ratio,
        vehicles: of[0].0,
        days: n,
        sd_vehicle: with[0].then(|| vehicle.sqrt()),
        sd_date: date.sqrt(),
        sd_day: found.residual.sqrt(),
        parts: Parts { vehicle: vehicle * of[0].1, date: date * of[1].1, day: found.residual / n as f64 },
        dates: of[1].0,
        degrees: if is_usable { intercept.degrees } else { n as f64 - 1.0 },
        widening: if is_usable { intercept.standard_error / intercept.standard_error_plain } else { 1.0 },
    }
}

fn grouping<'a>(rows: &[&DayRatio<'a>], of: fn(&DayRatio<'a>) -> &'a str) -> Grouping {
    let mut numbers: BTreeMap<&str, usize> = BTreeMap::new();
    rows.iter().for_each(|row| {
        numbers.insert(of(row), 0);
    });
    numbers.values_mut().enumerate().for_each(|(at, number)| *number = at);
    Grouping { levels: numbers.len(), level: rows.iter().map(|row| numbers[of(row)]).collect() }
}

impl Spread {
    /// The same about another value, every error times a slope.
    pub(super) fn carried(&self, ratio: f64, slope: f64) -> Spread {
        let Parts { vehicle, date, day } = self.parts;
        let square = slope * slope;
        let parts = Parts { vehicle: vehicle * square, date: date * square, day: day * square };
        Spread { ratio, parts, ..self.clone() }
    }

    fn standard_error(&self) -> f64 {
        self.parts.sum().sqrt() * self.widening
    }

    /// Against a margin, with an error of the ratio that all days share, as a 90 % half-width.
    pub fn against(&self, margin: (f64, f64), shared_half: f64) -> Option<(Equivalence, f64)> {
        let (own, shared) = (self.standard_error(), shared_half / Z_90);
        let whole = (own * own + shared * shared).sqrt();
        let degrees = if own > 0.0 { self.degrees * (whole / own).powi(4) } else { f64::from(u32::MAX) };
        // Beyond this Student's t is the normal, and its quantiles are slow to find.
        let degrees = degrees.min(1e6);
        Some((equivalence(self.ratio, whole, degrees, margin, 0.05)?, degrees))
    }

    /// Days of the same vehicles beyond those there are that bring a verdict, if ratio and spread stay. `None` where no
    /// number of them does: vehicles and what all days share leave too much open.
    pub fn more_days(&self, margin: (f64, f64), shared_half: f64) -> Option<u64> {
        let days = self.days as f64;
        let reaches = |wanted: f64| {
            let fewer = days / wanted;
            let parts = Parts { date: self.parts.date * fewer, day: self.parts.day * fewer, ..self.parts };
            self.tells(parts, [self.vehicles as f64, self.dates as f64 / fewer, wanted], margin, shared_half)
        };
        least_more(days, 1e5, reaches)
    }

    /// Vehicles beyond those there are, each driven as many days on the same dates, that bring a verdict likewise.
    pub fn more_vehicles(&self, margin: (f64, f64), shared_half: f64) -> Option<u64> {
        let vehicles = self.vehicles as f64;
        let reaches = |wanted: f64| {
            let fewer = vehicles / wanted;
            let parts =
                Parts { vehicle: self.parts.vehicle * fewer, day: self.parts.day * fewer, ..self.parts };
            self.tells(parts, [wanted, self.dates as f64, self.days as f64 / fewer], margin, shared_half)
        };
        if self.sd_vehicle.is_none() { None } else { least_more(vehicles, 1e3, reaches) }
    }

    /// Whether an interval of these parts, from so many vehicles, dates and days, keeps clear of both ends of the margin.
    fn tells(&self, parts: Parts, of: [f64; 3], margin: (f64, f64), shared_half: f64) -> bool {
        let ends = [self.ratio - margin.0, margin.1 - self.ratio];
        let room = ends.map(f64::abs).into_iter().fold(f64::INFINITY, f64::min);
        let [vehicles, dates, days] = of;
        let degrees =
            [(parts.vehicle, vehicles - 1.0), (parts.date, dates - 1.0), (parts.day, days - vehicles)];
        let open: f64 = degrees
            .iter()
            .filter(|(part, _)| *part > 0.0)
            .map(|(part, degrees)| part * part / degrees.max(1.0))
            .sum();
        let whole = parts.sum() + (shared_half / Z_90).powi(2);
        let degrees = if open > 0.0 { (whole * whole / open).min(1e6) } else { 1e6 };
        student_quantile(0.95, degrees).is_some_and(|t| t * whole.sqrt() < room)
    }
}

/// Least whole number beyond `now` that reaches, by bisection; `None` where the most does not.
fn least_more(now: f64, most: f64, reaches: impl Fn(f64) -> bool) -> Option<u64> {
    let (mut low, mut high) = (now, most);
    if !reaches(high) {
        return None;
    }
    while high - low > 1.0 {
        let middle = f64::midpoint(low, high).floor();
        if reaches(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some((high - now).max(1.0) as u64)
}

/// A verdict in the words of the tables.
pub fn in_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Agrees => "agrees",
        Verdict::Differs => "differs",
        Verdict::CannotTell => "cannot tell",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Balanced, one date a vehicle: three vehicles at 0.9, 1.0 and 1.1, each with two days 0.02 apart. By hand: between
    /// vehicles MS = 2·(0.1² + 0 + 0.1²)/2 = 0.02, within MS = 3·2·0.01²/3 = 2e-4; var R = MS between/6.
    #[test]
    fn vehicles_count_and_not_their_days() {
        let names = ["a", "b", "c"];
        let days = ["1", "2", "3", "4", "5", "6"];
        let rows: Vec<DayRatio<'_>> = (0..6)
            .map(|at| {
                let rate = 0.9 + 0.1 * (at / 2) as f64 + if at % 2 == 0 { 0.01 } else { -0.01 };
                DayRatio { over: rate * 50.0, under: 50.0, vehicle: names[at / 2], day: days[at] }
            })
            .collect();
        let found = spread(&rows).unwrap();
        assert!((found.ratio - 1.0).abs() < 1e-12);
        assert!((found.parts.sum() - 0.02 / 6.0).abs() < 1e-7, "{found:?}");
        assert!((found.degrees - 2.0).abs() < 1e-3, "{found:?}");
        // ± 2.92 · 0.0577: a margin of a tenth cannot be told from three trucks, however many days they drive.
        let (checked, _) = found.against((0.9, 1.1), 0.0).unwrap();
        assert_eq!(checked.verdict, Verdict::CannotTell);
        assert_eq!(found.more_days((0.9, 1.1), 0.0), None);
        // t s/sqrt(k) < 0.1 with s 0.1: five vehicles (2.13 · 0.0447), and not four (2.35 · 0.05).
        assert_eq!(found.more_vehicles((0.9, 1.1), 0.0), Some(2));
    }

    /// One vehicle, days alone: the same interval as a mean's, and the days that are missing are about the square.
    #[test]
    fn days_bring_a_verdict() {
        let rates = [0.8, 1.2, 0.9, 1.1];
        let days = ["1", "2", "3", "4"];
        let rows: Vec<DayRatio<'_>> = rates
            .iter()
            .zip(days)
            .map(|(rate, day)| DayRatio { over: rate * 10.0, under: 10.0, vehicle: "a", day })
            .collect();
        let found = spread(&rows).unwrap();
        // s² = (0.04 + 0.04 + 0.01 + 0.01)/3, over four.
        assert!(
            (found.parts.sum() - 0.1 / 12.0).abs() < 1e-9 && (found.degrees - 3.0).abs() < 1e-6,
            "{found:?}"
        );
        assert_eq!(found.against((0.9, 1.1), 0.0).unwrap().0.verdict, Verdict::CannotTell);
        let more = found.more_days((0.9, 1.1), 0.0).unwrap();
        // 1.8 s / sqrt(n) < 0.1 with s 0.183 gives about 11 in all.
        assert!((6..=9).contains(&more), "{more}");
        assert_eq!(found.more_days((0.9, 1.1), 0.2), None, "what all days share alone is wider");
        assert_eq!(found.more_vehicles((0.9, 1.1), 0.0), None, "one vehicle says nothing of another");
    }

    #[test]
    fn one_day_has_no_spread() {
        assert_eq!(spread(&[DayRatio { over: 1.0, under: 1.0, vehicle: "a", day: "1" }]), None);
        assert_eq!(spread(&[]), None);
    }
}
