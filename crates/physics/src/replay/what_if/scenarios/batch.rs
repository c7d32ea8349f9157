//! Trips and scenarios as a table.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, JOULES_PER_KWH, tables};

use super::Outcome;

pub fn build(vehicle_id: &str, scenarios: &[&str], trips: &[Vec<Outcome>]) -> Result<RecordBatch, BatchError> {
    // Named as in the table of trips.
    let names: Vec<String> = (1..=trips.len()).map(|number| format!("{vehicle_id}-{number:04}")).collect();
    let rows: Vec<(usize, usize)> =
        (0..trips.len()).flat_map(|trip| (0..scenarios.len()).map(move |at| (trip, at))).collect();
    let outcomes = || rows.iter().map(|(trip, at)| (&trips[*trip][*at], &trips[*trip][0]));
    let kwh = |of: fn(&Outcome, &Outcome) -> f64| -> Vec<f64> {
        outcomes().map(|(outcome, driven)| of(outcome, driven) / JOULES_PER_KWH).collect()
    };
    BatchBuilder::new(&tables::SCENARIOS)
        .text("vehicle_id", rows.iter().map(|_| Some(vehicle_id)))
        .text("trip_id", rows.iter().map(|(trip, _)| names.get(*trip).map(String::as_str)))
        .text("scenario", rows.iter().map(|(_, at)| Some(scenarios[*at])))
        .number("distance_m", outcomes().map(|(of, _)| of.believed.distance_m))
        .number("duration_driving_s", outcomes().map(|(of, _)| of.believed.driving_s))
        .number("energy_driving_kwh", kwh(|of, _| of.believed.driving_j))
        .number("energy_standing_kwh", kwh(|of, _| of.believed.standing_j))
        .number("energy_recovered_kwh", kwh(|of, _| of.believed.recovered_j))
        .number("energy_total_low_kwh", kwh(|of, _| of.believed.total_j() + of.total.0))
        .number("energy_total_high_kwh", kwh(|of, _| of.believed.total_j() + of.total.1))
        .number("energy_change_low_kwh", kwh(|of, driven| change(of, driven) + of.change.0))
        .number("energy_change_high_kwh", kwh(|of, driven| change(of, driven) + of.change.1))
        .number("energy_recovered_low_kwh", kwh(|of, _| of.believed.recovered_j + of.recovered.0))
        .number("energy_recovered_high_kwh", kwh(|of, _| of.believed.recovered_j + of.recovered.1))
        .number("energy_recovered_change_low_kwh", kwh(|of, driven| more(of, driven) + of.recovered_change.0))
        .number("energy_recovered_change_high_kwh", kwh(|of, driven| more(of, driven) + of.recovered_change.1))
        .finish()
}

fn more(of: &Outcome, driven: &Outcome) -> f64 {
    of.believed.recovered_j - driven.believed.recovered_j
}

fn change(of: &Outcome, driven: &Outcome) -> f64 {
    of.believed.total_j() - driven.believed.total_j()
}
