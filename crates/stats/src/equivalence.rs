use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::student_quantile;

/// What a comparison with a margin says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The interval lies inside the margin.
    Agrees,
    /// The interval lies wholly outside.
    Differs,
    CannotTell,
}

/// Two one-sided tests of a difference against a margin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Equivalence {
    pub t_low: f64,
    pub t_high: f64,
    /// Of the difference being at the low end of the margin or below.
    pub p_low: f64,
    /// Of the difference being at the high end of the margin or above.
    pub p_high: f64,
    /// Interval of coverage 1 - 2 alpha.
    pub interval: (f64, f64),
    pub verdict: Verdict,
}

/// Whether a difference is inside a margin that was fixed beforehand.
///
/// t_low = (d - low)/s, t_high = (d - high)/s; agrees where both one-sided tests reject at alpha, which is where the
/// interval d ± t(1 - alpha, degrees) s lies inside the margin
///   d, s      difference and its standard error, in the unit of the margin
///   degrees   of freedom of s, above 0
/// Missing  `None` without degrees of freedom, for a standard error that is not above 0, a margin whose ends are not in
///          order, alpha outside (0, ½), or a figure that is not finite
/// Holds    d normal; an error that all rows share must be in s beforehand
/// Source   Lakens (2017), Equivalence tests, Soc. Psychol. Personal. Sci. 8, 355, doi:10.1177/1948550617697177; Schuirmann
///          (1987), J. Pharmacokinet. Biopharm. 15, 657. Departures: an interval wholly outside is called a difference
/// Check    d 0.03, sd 0.11 of 30, margin ±0.10, alpha 0.05 -> t 6.473 and -3.486, agrees
/// ```
/// use backwatt_stats::{Verdict, equivalence};
/// let found = equivalence(0.03, 0.11 / 30_f64.sqrt(), 29.0, (-0.10, 0.10), 0.05).unwrap();
/// assert!((found.t_low - 6.473).abs() < 5e-4 && (found.t_high + 3.486).abs() < 1e-3);
/// assert_eq!(found.verdict, Verdict::Agrees);
/// ```
pub fn equivalence(
    difference: f64,
    standard_error: f64,
    degrees: f64,
    margin: (f64, f64),
    alpha: f64,
) -> Option<Equivalence> {
    let (low, high) = margin;
    let finite = [difference, standard_error, low, high].iter().all(|figure| figure.is_finite());
    if !finite || standard_error <= 0.0 || low >= high || alpha.is_nan() || alpha <= 0.0 || alpha >= 0.5 {
        return None;
    }
    let student = StudentsT::new(0.0, 1.0, degrees).ok()?;
    let half_width = student_quantile(1.0 - alpha, degrees)? * standard_error;
    let (t_low, t_high) = ((difference - low) / standard_error, (difference - high) / standard_error);
    let interval = (difference - half_width, difference + half_width);
    let verdict = match interval {
        (from, to) if from > low && to < high => Verdict::Agrees,
        (from, to) if to < low || from > high => Verdict::Differs,
        _ => Verdict::CannotTell,
    };
    Some(Equivalence {
        t_low,
        t_high,
        p_low: student.sf(t_low),
        p_high: student.cdf(t_high),
        interval,
        verdict,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Differences in units of s with many degrees of freedom: the interval is d ± 1.645.
    #[test]
    fn three_outcomes() {
        let verdict = |d: f64| equivalence(d, 1.0, 1e6, (-3.0, 3.0), 0.05).unwrap().verdict;
        assert_eq!([0.0, 1.3, -1.3].map(verdict), [Verdict::Agrees; 3]);
        assert_eq!([1.4, 3.0, -4.6].map(verdict), [Verdict::CannotTell; 3]);
        assert_eq!([4.7, -4.7].map(verdict), [Verdict::Differs; 2]);
    }

    /// The tests and the interval are two ways of saying one thing.
    #[test]
    fn agrees_where_both_tests_reject() {
        for step in -60..60 {
            let found = equivalence(f64::from(step) / 10.0, 1.0, 4.0, (-5.0, 5.0), 0.05).unwrap();
            let rejects = found.p_low < 0.05 && found.p_high < 0.05;
            assert_eq!(rejects, found.verdict == Verdict::Agrees, "{step}");
        }
    }

    #[test]
    fn few_degrees_leave_it_open() {
        let verdict = |degrees: f64| equivalence(0.0, 1.0, degrees, (-2.5, 2.5), 0.05).unwrap().verdict;
        assert_eq!((verdict(1.9), verdict(30.0)), (Verdict::CannotTell, Verdict::Agrees));
        assert_eq!(equivalence(0.0, 1.0, 0.0, (-1.0, 1.0), 0.05), None);
        assert_eq!(equivalence(0.0, 0.0, 9.0, (-1.0, 1.0), 0.05), None);
        assert_eq!(equivalence(f64::NAN, 1.0, 9.0, (-1.0, 1.0), 0.05), None);
    }
}
