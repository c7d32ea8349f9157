//! Battery figures of every segment: measured where they were, else inferred or modelled, with an interval.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, BatchView, Evidence, number_at, tables, text_at};
use backwatt_stats::{Gaussian, Observation, posterior};

use crate::soc::{BatterySheet, Terms, Windows};

/// Prior standard deviations of the unknowns: traction 12 % (mass, drag, rolling and drive efficiency together),
/// auxiliaries as large as themselves (sheets leave the cab climate out), the share of the recoverable that arrives 30 %.
/// From memory, provisional, and wide enough to be wrong.
const PRIOR_SD: [f64; 3] = [0.12, 1.0, 0.3];
/// The last is near what the model allows, withdrawals (stability control, derating) taking some.
const PRIOR_MEAN: [f64; 3] = [1.0, 1.0, 0.9];
const CAPACITY_SD: f64 = 0.05;
/// What is wrong all pilot long and no window can show, relative to the share that arrives. Provisional.
const DISCREPANCY_SD: f64 = 0.10;
/// Recovery is not inferred from drawn speeds of slower logs: on the made-up 10 s truck it came to 0.71 of the truth, with
/// an interval that did not hold it. [s]
const SLOWEST_INFERRED_S: f64 = 5.05;
/// Two-sided 90 % of a normal.
const Z_90: f64 = 1.644_853_626_951_472_6;

struct Belief {
    unknowns: Gaussian,
    evidence: Evidence,
    why: String,
}

struct Row {
    evidence: Evidence,
    recovered: Option<[f64; 3]>,
    discharged: [f64; 3],
    net: [f64; 3],
    bus: Option<f64>,
    why: String,
}

/// The battery figures of a vehicle's segments. Where a trip's samples carry no claim about braking energy, what was
/// recovered is not claimed from the model either.
pub fn infer(
    segments: &RecordBatch,
    trips: &RecordBatch,
    windows: &Windows,
    sheet: &BatterySheet,
) -> Result<RecordBatch, BatchError> {
    let view = BatchView::new(&tables::SEGMENTS, segments);
    let belief = believe(windows);
    let claims = TripClaims::read(trips)?;
    let measured = Measured::read(&view)?;
    let terms = Terms::read(&view, trips, sheet)?;
    let trip_ids = view.texts("trip_id")?;
    let rows: Vec<Row> = (0..view.rows())
        .map(|row| {
            let claim = text_at(trip_ids, row).map_or(Claim::default(), |id| claims.of(id));
            measured.row(row, claim).unwrap_or_else(|| predicted(&belief, &terms, row, claim))
        })
        .collect();
    build(&view, &rows)
}

/// What the windows say of the unknowns. Only the share that arrives decides the grade: it is what is claimed.
///
/// `inferred` when its posterior is at most half as wide as its prior, and moves by less than its 90 % half-width when
/// every prior is made twice as wide: else the figure is the prior's and not the logs'.
fn believe(windows: &Windows) -> Belief {
    let prior = Gaussian::independent(&PRIOR_MEAN, &PRIOR_SD);
    let n = windows.observations.len();
    if n == 0 {
        let why = "no state of charge to learn from: physics and the sheet alone".to_owned();
        return Belief { unknowns: prior, evidence: Evidence::Modelled, why };
    }
    let wide = Gaussian::independent(&PRIOR_MEAN, &PRIOR_SD.map(|sd| 2.0 * sd));
    let (Some(unknowns), Some(wide)) = (learn(&prior, windows), learn(&wide, windows)) else {
        let why = "the state-of-charge windows could not be solved".to_owned();
        return Belief { unknowns: prior, evidence: Evidence::Modelled, why };
    };
    let (mean, half) = (unknowns.mean[2], Z_90 * unknowns.standard_deviation(2));
    let moved = (wide.mean[2] - mean).abs();
    let told = half <= 0.5 * Z_90 * PRIOR_SD[2] && moved < half;
    let figures = format!(
        "{n} windows of state of charge brought the share of the recoverable that arrives from {:.0} +- {:.0} % to \
         {:.0} +- {:.0} % (90 %); with priors twice as wide it moves by {:.0} %",
        100.0 * PRIOR_MEAN[2],
        100.0 * Z_90 * PRIOR_SD[2],
        100.0 * mean,
        100.0 * half,
        100.0 * moved,
    );
    let evidence = if told { Evidence::Inferred } else { Evidence::Modelled };
    let why = if told { figures } else { format!("these logs cannot tell: {figures}") };
    Belief { unknowns, evidence, why }
}

/// The posterior with all that windows alone do not show: errors larger than assumed, a wrong capacity, and what is
/// wrong all pilot long.
fn learn(prior: &Gaussian, windows: &Windows) -> Option<Gaussian> {
    let first = posterior(prior, &windows.observations)?;
    let misfit =
        |seen: &Observation| ((seen.value - first.combination(&seen.weights).0) / seen.noise_sd).powi(2);
    let squares: f64 = windows.observations.iter().map(misfit).sum();
    let inflation = (squares / windows.observations.len() as f64).max(1.0).sqrt();
    let seen: Vec<Observation> = windows
        .observations
        .iter()
        .map(|w| Observation { noise_sd: w.noise_sd * inflation, ..w.clone() })
        .collect();
    let mut unknowns = with_capacity_error(prior, &seen)?;
    unknowns.covariance[2][2] += (DISCREPANCY_SD * unknowns.mean[2]).powi(2);
    Some(unknowns)
}

/// The posterior, widened by what a battery larger or smaller than its sheet does to it: every window is wrong by the
/// same share then, which no number of windows can show.
fn with_capacity_error(prior: &Gaussian, windows: &[Observation]) -> Option<Gaussian> {
    let mut unknowns = posterior(prior, windows)?;
    let larger: Vec<Observation> =
        windows.iter().map(|w| Observation { value: w.value * (1.0 + CAPACITY_SD), ..w.clone() }).collect();
    let moved = posterior(prior, &larger)?;
    let shift: Vec<f64> = moved.mean.iter().zip(&unknowns.mean).map(|(m, u)| m - u).collect();
    for (row, a) in unknowns.covariance.iter_mut().zip(&shift) {
        for (cell, b) in row.iter_mut().zip(&shift) {
            *cell += a * b;
        }
    }
    Some(unknowns)
}

fn predicted(belief: &Belief, terms: &Terms<'_>, row: usize, claim: Claim) -> Row {
    let discharged = band(belief, &terms.discharged(row));
    // More than was braked cannot come back, whatever the share says.
    let recovered = band(belief, &terms.recovered(row)).map(|value| value.min(terms.braking(row)));
    let (out, back) = (terms.discharged(row), terms.recovered(row));
    let weights: Vec<f64> = out.iter().zip(back).map(|(o, b)| o - b).collect();
    let (mean, sd) = belief.unknowns.combination(&weights);
    let net = [mean - Z_90 * sd, mean, mean + Z_90 * sd];
    let fed: f64 = -out[2] * belief.unknowns.mean[2];
    if let Some(reason) = claim.hides.or(claim.unexplained) {
        let why = reason.to_owned();
        return Row { evidence: Evidence::Modelled, recovered: None, discharged, net, bus: None, why };
    }
    Row {
        evidence: belief.evidence,
        recovered: Some(recovered),
        discharged,
        net,
        bus: Some(recovered[1] + fed),
        why: belief.why.clone(),
    }
}

/// 5th, 50th and 95th percentile of a combination that cannot be negative.
fn band(belief: &Belief, weights: &[f64]) -> [f64; 3] {
    let (mean, sd) = belief.unknowns.combination(weights);
    [mean - Z_90 * sd, mean, mean + Z_90 * sd].map(|value| value.max(0.0))
}

#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Claim {
    /// Why the samples carry no claim about braking, if they do not.
    hides: Option<&'static str>,
    /// The inflow has an unknown store, or braking cannot explain it.
    unexplained: Option<&'static str>,
}

struct TripClaims {
    by_trip: std::collections::HashMap<String, Claim>,
}

impl TripClaims {
    fn read(trips: &RecordBatch) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::TRIPS, trips);
        let (ids, claims) = (view.texts("trip_id")?, view.texts("braking_claim")?);
        let checks = view.texts("recovery_check")?;
        let interval = view.numbers("sample_interval_s")?;
        let claim = |row: usize| Claim {
            hides: match claims.value(row) {
                "withheld" => {
                    Some("sampled more slowly than every 5 s: braking hides between the samples, no claim")
                }
                // Errors of drawn terms pull the share that arrives towards nothing, and the windows do not know of them.
                "imputed" if interval.value(row) > SLOWEST_INFERRED_S => {
                    Some("sampled more slowly than every 5 s: what came back is not inferred from drawn speeds")
                }
                "noisy" => Some("most of the braking energy is noise of the logged speed, no claim"),
                _ => None,
            },
            unexplained: match checks.value(row) {
                "unknown-store" => Some("what came back went to a store the log does not name"),
                "engine" => Some(
                    "an engine charges the battery on this trip: what braking gave back cannot be told apart",
                ),
                "more-than-braking" => Some("more flowed into the battery than braking can explain"),
                _ => None,
            },
        };
        Ok(Self { by_trip: (0..view.rows()).map(|row| (ids.value(row).to_owned(), claim(row))).collect() })
    }

    fn of(&self, trip: &str) -> Claim {
        self.by_trip.get(trip).copied().unwrap_or_default()
    }
}

struct Measured<'a> {
    discharged: &'a arrow::array::Float64Array,
    recovered: &'a arrow::array::Float64Array,
    recovered_high: &'a arrow::array::Float64Array,
    unknown_store: &'a arrow::array::Float64Array,
    unbraked: &'a arrow::array::Float64Array,
    bus: &'a arrow::array::Float64Array,
}

impl<'a> Measured<'a> {
    fn read(view: &BatchView<'a>) -> Result<Self, BatchError> {
        Ok(Self {
            discharged: view.numbers("energy_discharged_kwh")?,
            recovered: view.numbers("energy_recovered_kwh")?,
            recovered_high: view.numbers("energy_recovered_high_kwh")?,
            unknown_store: view.numbers("energy_returned_unknown_store_kwh")?,
            unbraked: view.numbers("energy_unbraked_inflow_kwh")?,
            bus: view.numbers("energy_returned_bus_kwh")?,
        })
    }

    fn row(&self, row: usize, claim: Claim) -> Option<Row> {
        let discharged = number_at(self.discharged, row)?;
        let low = self.recovered.value(row);
        let net = discharged - low - self.unknown_store.value(row) - self.unbraked.value(row);
        let claimed = claim.unexplained.is_none();
        // What a sharper change of sign would add to the inflow it adds to the outflow as well.
        let open = self.recovered_high.value(row) - low;
        let ends = [0.0, open / 2.0, open];
        Some(Row {
            evidence: Evidence::Measured,
            recovered: claimed.then(|| ends.map(|more| low + more)),
            discharged: ends.map(|more| discharged + more),
            net: [net; 3],
            bus: claimed.then(|| self.bus.value(row).max(low + open / 2.0)),
            why: claim.unexplained.unwrap_or("battery power is logged").to_owned(),
        })
    }
}

fn build(view: &BatchView<'_>, rows: &[Row]) -> Result<RecordBatch, BatchError> {
    let vehicles = view.texts("vehicle_id")?;
    let order = view.orders("segment_order")?;
    let of = |pick: fn(&Row) -> [f64; 3], at: usize| rows.iter().map(move |r| pick(r)[at]).collect::<Vec<_>>();
    let recovered = |at: usize| rows.iter().map(move |r| r.recovered.map(|v| v[at])).collect::<Vec<_>>();
    BatchBuilder::new(&tables::SEGMENT_BATTERY)
        .text("vehicle_id", (0..rows.len()).map(|i| Some(vehicles.value(i))))
        .order("segment_order", order.values().iter().copied())
        .text("evidence", rows.iter().map(|r| Some(r.evidence.as_str())))
        .number("energy_recovered_p05_kwh", recovered(0))
        .number("energy_recovered_p50_kwh", recovered(1))
        .number("energy_recovered_p95_kwh", recovered(2))
        .number("energy_discharged_p05_kwh", of(|r| r.discharged, 0))
        .number("energy_discharged_p50_kwh", of(|r| r.discharged, 1))
        .number("energy_discharged_p95_kwh", of(|r| r.discharged, 2))
        .number("energy_net_p05_kwh", of(|r| r.net, 0))
        .number("energy_net_p50_kwh", of(|r| r.net, 1))
        .number("energy_net_p95_kwh", of(|r| r.net, 2))
        .number("energy_returned_bus_p50_kwh", rows.iter().map(|r| r.bus))
        .text("why", rows.iter().map(|r| Some(r.why.as_str())))
        .finish()
}
