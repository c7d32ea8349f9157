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
