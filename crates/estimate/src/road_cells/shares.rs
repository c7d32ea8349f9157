//! What a segment's battery figures come to in each of its cells.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, number_at, tables};

use crate::correction::bands;

/// The part of a segment that lies in one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    pub duration_s: f64,
    pub braking_kwh: f64,
    pub recoverable_kwh: f64,
    /// As logged.
    pub recovered_kwh: Option<f64>,
}

/// A part's share of what the segment's battery did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Battery {
    pub braking_kwh: f64,
    pub is_braking_claimed: bool,
    /// 0 measured, 1 inferred, 2 modelled.
    pub evidence: usize,
    /// 5th, 50th and 95th percentile.
    pub recovered_kwh: Option<[f64; 3]>,
}

/// What is known of each segment of a vehicle, by its order.
pub struct Ledger {
    evidence: Vec<usize>,
    recovered_kwh: Vec<Option<[f64; 3]>>,
    is_claimed: Vec<bool>,
}

impl Ledger {
    pub fn new(segments: &RecordBatch, battery: &RecordBatch, trips: &RecordBatch) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::SEGMENT_BATTERY, battery);
        let grades = view.texts("evidence")?;
        let p = |name| view.numbers(name);
        let (p05, p50, p95) =
            (p("energy_recovered_p05_kwh")?, p("energy_recovered_p50_kwh")?, p("energy_recovered_p95_kwh")?);
        let recovered = |row| Some([number_at(p05, row)?, number_at(p50, row)?, number_at(p95, row)?]);
        let grade = |row| match grades.value(row) {
            "measured" => 0,
            "inferred" => 1,
            _ => 2,
        };
        let of_trip = BatchView::new(&tables::SEGMENTS, segments).texts("trip_id")?;
        Ok(Self {
            evidence: (0..view.rows()).map(grade).collect(),
            recovered_kwh: (0..view.rows()).map(recovered).collect(),
            is_claimed: bands(trips, of_trip)?.iter().map(Option::is_some).collect(),
        })
    }

    /// A segment's figures split over its parts; they sum to it.
    ///
    /// Where battery power is logged, by where it flowed in. Where it is not, nobody saw where: by what was recoverable,
    /// which is what the figure was inferred from. A segment in which nothing was is split by braking, then by time.
    pub fn shares(&self, segment: usize, parts: &[Part]) -> Vec<Battery> {
        let evidence = self.evidence.get(segment).copied().unwrap_or(2);
        let logged = |part: &Part| if evidence == 0 { part.recovered_kwh.unwrap_or(0.0) } else { 0.0 };
        let rules: [&dyn Fn(&Part) -> f64; 4] =
            [&logged, &|p| p.recoverable_kwh, &|p| p.braking_kwh, &|p| p.duration_s];
        let weights = rules.map(|weight| parts.iter().map(weight).collect::<Vec<f64>>());
        let chosen = weights.iter().find(|weights| weights.iter().sum::<f64>() > 0.0);
        let total: f64 = chosen.map_or(0.0, |weights| weights.iter().sum());
        let share = |at: usize| chosen.map_or(1.0 / parts.len() as f64, |weights| weights[at] / total);
        let recovered = self.recovered_kwh.get(segment).copied().flatten();
        let battery = |(at, part): (usize, &Part)| Battery {
            braking_kwh: part.braking_kwh,
            is_braking_claimed: self.is_claimed.get(segment).copied().unwrap_or(false),
            evidence,
            recovered_kwh: recovered.map(|all| all.map(|kwh| kwh * share(at))),
        };
        parts.iter().enumerate().map(battery).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ledger(evidence: usize) -> Ledger {
        Ledger { evidence: vec![evidence], recovered_kwh: vec![Some([1.0, 2.0, 4.0])], is_claimed: vec![true] }
    }

    fn part(braking_kwh: f64, recoverable_kwh: f64, recovered_kwh: f64) -> Part {
        Part { duration_s: 1.0, braking_kwh, recoverable_kwh, recovered_kwh: Some(recovered_kwh) }
    }

    fn middles(shares: &[Battery]) -> Vec<f64> {
        shares.iter().map(|share| share.recovered_kwh.map_or(f64::NAN, |all| all[1])).collect()
    }

    #[test]
    fn measured_goes_where_it_flowed_in_and_inferred_where_it_could() {
        let parts = [part(3.0, 3.0, 0.5), part(1.0, 1.0, 1.5)];
        assert_eq!(middles(&ledger(0).shares(0, &parts)), [0.5, 1.5]);
        assert_eq!(middles(&ledger(1).shares(0, &parts)), [1.5, 0.5]);
    }

    #[test]
    fn where_nothing_could_time_decides_and_the_sum_stays() {
        let parts = [part(0.0, 0.0, 0.0), part(0.0, 0.0, 0.0), part(0.0, 0.0, 0.0), part(0.0, 0.0, 0.0)];
        assert_eq!(middles(&ledger(2).shares(0, &parts)), [0.5; 4]);
    }

    #[test]
    fn a_segment_without_a_claim_has_none_in_its_cells() {
        let none = Ledger { evidence: vec![2], recovered_kwh: vec![None], is_claimed: vec![false] };
        let shares = none.shares(0, &[part(1.0, 1.0, 0.0)]);
        assert!(shares[0].recovered_kwh.is_none() && !shares[0].is_braking_claimed);
    }
}
