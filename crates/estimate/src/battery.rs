//! Battery figures of every segment: measured where they were, else inferred or modelled, with an interval.

use std::collections::HashMap;

use arrow::array::{Float64Array, RecordBatch};
use backwatt_schema::{BatchBuilder, BatchError, BatchView, Evidence, number_at, tables, text_at};

use crate::claims::{Claim, TripClaims};
use crate::features::Reader;
use crate::learned::{Figure, OfDay, Posterior, Z_90};
use crate::statistics::day_of;

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
    posterior: &Posterior<'_>,
) -> Result<RecordBatch, BatchError> {
    let view = BatchView::new(&tables::SEGMENTS, segments);
    let claims = TripClaims::read(trips)?;
    let measured = Measured::read(&view)?;
    let reader = Reader::new(segments, trips, posterior.sheet())?;
    let (trip_ids, days) = (view.texts("trip_id")?, view.texts("service_day")?);
    let (evidence, why) = (posterior.told(None).evidence, posterior.why());
    let mut of_days: HashMap<&str, OfDay> = HashMap::new();
    let mut rows = Vec::with_capacity(view.rows());
    for row in 0..view.rows() {
        let trip = text_at(trip_ids, row);
        let claim = trip.map_or(Claim::default(), |id| claims.of(id));
        let day = day_of(text_at(days, row), trip);
        let of_day = of_days.entry(day).or_insert_with(|| posterior.on_day(day));
        let found = measured
            .row(row, claim, of_day, &reader)
            .unwrap_or_else(|| predicted(of_day, &reader, row, claim, evidence, &why));
        rows.push(found);
    }
    build(&view, &rows)
}

fn predicted(
    of_day: &OfDay,
    reader: &Reader<'_>,
    row: usize,
    claim: Claim,
    evidence: Evidence,
    why: &str,
) -> Row {
    let x = reader.features(row);
    let discharged = band(&of_day.discharged.figure(&x)).map(|value| value.max(0.0));
    let net = band(&of_day.net.figure(&x));
    if let Some(reason) = claim.hides.or(claim.unexplained) {
        let why = reason.to_owned();
        return Row { evidence: Evidence::Modelled, recovered: None, discharged, net, bus: None, why };
    }
    // More than was braked cannot come back, and less than nothing neither.
    let most = reader.braking(row).max(0.0);
    let recovered = band(&of_day.recovered.figure(&x)).map(|value| value.clamp(0.0, most));
    let bus = of_day.bus.figure(&x).value.clamp(recovered[1], most.max(recovered[1]));
    Row { evidence, recovered: Some(recovered), discharged, net, bus: Some(bus), why: why.to_owned() }
}

/// 5th, 50th and 95th percentile.
fn band(figure: &Figure) -> [f64; 3] {
    let half = Z_90 * figure.sd();
    [figure.value - half, figure.value, figure.value + half]
}

struct Measured<'a> {
    discharged: &'a Float64Array,
    recovered: &'a Float64Array,
    recovered_high: &'a Float64Array,
    unknown_store: &'a Float64Array,
    unbraked: &'a Float64Array,
    bus: &'a Float64Array,
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

    /// Energies as measured, less what the sensor's offset makes of them.
    fn row(&self, row: usize, claim: Claim, of_day: &OfDay, reader: &Reader<'_>) -> Option<Row> {
        let discharged = number_at(self.discharged, row)?;
        let low = self.recovered.value(row);
        let x = reader.features(row);
        let (hidden, added) = (of_day.hidden_inflow.figure(&x), of_day.false_net.figure(&x));
        let net = discharged - low - self.unknown_store.value(row) - self.unbraked.value(row) - added.value;
        let claimed = claim.unexplained.is_none();
        // Torque changes its sign within some tenths of a second: between samples a second or more apart power jumps rather
        // than runs along a line. The jump is the middle, the line one end, and as much again the other. What a sharper
        // change adds to the inflow it adds to the outflow as well.
        let open = self.recovered_high.value(row) - low;
        let ends = [(-1.0, 0.0), (0.0, open), (1.0, 2.0 * open)];
        let (inflow_half, net_half) = (Z_90 * hidden.sd(), Z_90 * added.sd());
        let recovered = ends.map(|(side, more)| (low + hidden.value + side * inflow_half + more).max(0.0));
        // Where less flows in than stands there, as much less flows out.
        let out_half = (net_half - inflow_half).abs();
        let discharged = ends
            .map(|(side, more)| (discharged - added.value + hidden.value + side * out_half + more).max(0.0));
        Some(Row {
            evidence: Evidence::Measured,
            recovered: claimed.then_some(recovered),
            discharged,
            net: [net - net_half, net, net + net_half],
            bus: claimed.then(|| (self.bus.value(row) + hidden.value).max(recovered[1])),
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
