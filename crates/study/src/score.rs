//! Errors, coverage and interval scores over the pilots of a class.

use crate::pilot::Row;
use crate::quantiles::Quantiles;

/// Least share of distance or moving time that a claim about the whole covers.
pub const WHOLE_FRAC: f64 = 0.95;
/// Grades in the order in which they are counted.
pub const GRADES: [&str; 3] = ["measured", "inferred", "modelled"];

/// Shares and errors in percent; errors, half-widths and scores in percent of the truth.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    pub pilots: usize,
    /// Over the whole, or nearly.
    pub claims: usize,
    /// Over a part only: not judged against the truth of the whole.
    pub partial: usize,
    pub grades: [usize; GRADES.len()],
    pub over: Option<Scores>,
}

/// Over the pilots with a claim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scores {
    pub bias_pct: f64,
    pub error_median_pct: f64,
    /// Of the 50, 80 and 90 % intervals.
    pub coverage_pct: [f64; 3],
    pub score_pct: [f64; 3],
    pub half_width_median_pct: f64,
}

pub fn summarise<'a>(rows: impl Iterator<Item = &'a Row>) -> Summary {
    let rows: Vec<&Row> = rows.collect();
    let all: Vec<(&Row, Quantiles)> = rows.iter().filter_map(|row| Some((*row, row.claim?))).collect();
    let (claims, partial): (Vec<_>, Vec<_>) =
        all.into_iter().partition(|(row, _)| row.covered_frac >= WHOLE_FRAC);
    let grades = GRADES.map(|grade| claims.iter().filter(|(row, _)| row.evidence == grade).count());
    Summary { pilots: rows.len(), claims: claims.len(), partial: partial.len(), grades, over: scores(&claims) }
}

/// Its share, and where a claim has its ends.
type Interval = (f64, fn(&Quantiles) -> [f64; 2]);

fn scores(claims: &[(&Row, Quantiles)]) -> Option<Scores> {
    let of = |figure: &dyn Fn(&Row, &Quantiles) -> f64| -> Vec<f64> {
        claims.iter().map(|(row, claim)| figure(row, claim)).collect()
    };
    let relative = |row: &Row, claim: &Quantiles| 100.0 * (claim.p50 / row.truth_kwh - 1.0);
    let intervals: [Interval; 3] =
        [(0.5, |claim| claim.within_50), (0.8, |claim| claim.within_80), (0.9, |claim| claim.within_90)];
    let coverage_pct = intervals.map(|(_, ends)| {
        mean(&of(&|row, claim| {
            let [low, high] = ends(claim);
            if (low..=high).contains(&row.truth_kwh) { 100.0 } else { 0.0 }
        }))
    });
    let score_pct = intervals.map(|(share, ends)| {
        mean(&of(&|row, claim| 100.0 * interval_score(ends(claim), share, row.truth_kwh) / row.truth_kwh))
    });
    Some(Scores {
        bias_pct: mean(&of(&relative)),
        error_median_pct: median(&of(&|row, claim| relative(row, claim).abs()))?,
        coverage_pct,
        score_pct,
        half_width_median_pct: median(&of(&|row, claim| {
            100.0 * (claim.within_90[1] - claim.within_90[0]) / (2.0 * row.truth_kwh)
        }))?,
    })
}

/// Width, plus 2/α times what the truth lies outside, for the central 1 − α interval: the less the better.
///
/// Gneiting and Raftery (2007), Strictly proper scoring rules, prediction, and estimation, JASA 102(477), eq. 43.
fn interval_score([low, high]: [f64; 2], share: f64, truth: f64) -> f64 {
    let alpha = 1.0 - share;
    (high - low) + 2.0 / alpha * ((low - truth).max(0.0) + (truth - high).max(0.0))
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let (low, high) = (sorted.get(sorted.len().checked_sub(1)? / 2)?, sorted.get(sorted.len() / 2)?);
    Some((low + high) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pilot::What;
    use crate::quantiles::from_90;

    fn row(truth_kwh: f64, claim: Option<[f64; 3]>) -> Row {
        let claim = claim.map(|[p05, p50, p95]| from_90(p05, p50, p95));
        Row {
            pilot: 0,
            what: What::Recovered,
            truth_kwh,
            claim,
            evidence: "inferred".to_owned(),
            covered_frac: 1.0,
        }
    }

    #[test]
    fn a_score_is_the_width_and_what_was_missed() {
        assert!((interval_score([9.0, 11.0], 0.9, 10.0) - 2.0).abs() < 1e-12);
        assert!((interval_score([9.0, 11.0], 0.9, 11.5) - (2.0 + 20.0 * 0.5)).abs() < 1e-9);
        assert!((interval_score([9.0, 11.0], 0.5, 8.0) - (2.0 + 4.0)).abs() < 1e-12);
    }

    #[test]
    fn a_class_is_summed_up() {
        let rows =
            [row(100.0, Some([90.0, 110.0, 120.0])), row(100.0, Some([80.0, 90.0, 95.0])), row(50.0, None)];
        let part = Row { covered_frac: 0.5, ..row(100.0, Some([10.0, 20.0, 30.0])) };
        let found = summarise(rows.iter().chain([&part]));
        assert_eq!((found.pilots, found.claims, found.partial, found.grades), (4, 2, 1, [0, 2, 0]));
        let scores = found.over.expect("claims");
        assert!(scores.bias_pct.abs() < 1e-9 && (scores.error_median_pct - 10.0).abs() < 1e-9);
        assert!((scores.coverage_pct[2] - 50.0).abs() < 1e-9);
        assert!((scores.half_width_median_pct - 11.25).abs() < 1e-9);
        assert!((scores.score_pct[2] - (30.0 + 15.0 + 100.0) / 2.0).abs() < 1e-9);
    }

    #[test]
    fn medians() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[4.0, 1.0]), Some(2.5));
    }
}
