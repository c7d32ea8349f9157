//! What the interval, the resolution and the noise of each log hide or invent of its braking energy.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, BatchView, number_at, tables, text_at};

struct Row {
    vehicle: String,
    trips: u64,
    interval_s: Option<f64>,
    speed_error_m_s: Option<f64>,
    soc_step_frac: Option<f64>,
    as_logged_kwh: f64,
    corrected_kwh: f64,
    claimed_kwh: Option<(f64, f64)>,
    /// Full, banded, imputed, without.
    claims: [u64; 4],
    library: Option<String>,
}

/// One row for each vehicle's trips, in the order given.
///
/// Shape    one batch of `trips` a vehicle, with its name
/// Errors   a column is missing or of another type
pub fn sampling_audit(of_vehicles: &[(String, RecordBatch)]) -> Result<RecordBatch, BatchError> {
    let rows = of_vehicles.iter().map(|(vehicle, trips)| row(vehicle, trips)).collect::<Result<Vec<_>, _>>()?;
    build(&rows)
}

fn row(vehicle: &str, trips: &RecordBatch) -> Result<Row, BatchError> {
    let view = BatchView::new(&tables::TRIPS, trips);
    let numbers = |name| -> Result<Vec<Option<f64>>, BatchError> {
        let array = view.numbers(name)?;
        Ok((0..view.rows()).map(|row| number_at(array, row)).collect())
    };
    let sum = |values: &[Option<f64>]| values.iter().flatten().sum::<f64>();
    let (low, high) = (numbers("energy_braking_low_kwh")?, numbers("energy_braking_high_kwh")?);
    let claims_of = view.texts("braking_claim")?;
    let mut claims = [0; 4];
    for row in 0..view.rows() {
        let at = match claims_of.value(row) {
            "full" => 0,
            "banded" => 1,
            "imputed" => 2,
            _ => 3,
        };
        claims[at] += 1;
    }
    let library = view.texts("speed_library")?;
    Ok(Row {
        vehicle: vehicle.to_owned(),
        trips: view.rows() as u64,
        interval_s: median(numbers("sample_interval_s")?),
        speed_error_m_s: median(numbers("speed_error_m_s")?),
        soc_step_frac: numbers("soc_step_frac")?.into_iter().flatten().reduce(f64::max),
        as_logged_kwh: sum(&numbers("energy_braking_raw_kwh")?),
        corrected_kwh: sum(&numbers("energy_braking_kwh")?),
        claimed_kwh: low.iter().any(Option::is_some).then(|| (sum(&low), sum(&high))),
        claims,
        library: (0..view.rows()).find_map(|row| text_at(library, row)).map(str::to_owned),
    })
}

fn median(values: Vec<Option<f64>>) -> Option<f64> {
    let mut known: Vec<f64> = values.into_iter().flatten().collect();
    known.sort_by(f64::total_cmp);
    known.get(known.len() / 2).copied()
}

impl Row {
    fn correction(&self) -> Option<f64> {
        (self.as_logged_kwh > 0.0).then(|| self.corrected_kwh / self.as_logged_kwh - 1.0)
    }

    fn verdict(&self) -> String {
        let Some(correction) = self.correction() else { return "no braking energy in this log".to_owned() };
        let interval = self.interval_s.map_or("unknown".to_owned(), |s| format!("{s:.1} s"));
        let percent = 100.0 * correction.abs();
        let effect = match correction {
            c if c > 0.01 => format!("hides: {percent:.0} % was added to the braking energy of its samples"),
            c if c < -0.01 => format!("invents: {percent:.0} % of the braking energy of its samples was noise"),
            _ => "neither hides nor invents more than 1 % of the braking energy".to_owned(),
        };
        let without = self.claims[3];
        let refused = if without > 0 { format!("; {without} trips claim none") } else { String::new() };
        format!("a speed every {interval} {effect}{refused}")
    }
}

fn build(rows: &[Row]) -> Result<RecordBatch, BatchError> {
    let verdicts: Vec<String> = rows.iter().map(Row::verdict).collect();
    let some = |row: &Row, value: f64| (row.trips > 0).then_some(value);
    BatchBuilder::new(&tables::SAMPLING_AUDIT)
        .text("vehicle_id", rows.iter().map(|r| Some(r.vehicle.as_str())))
        .count("trips", rows.iter().map(|r| r.trips))
        .number("sample_interval_s", rows.iter().map(|r| r.interval_s))
        .number("speed_error_m_s", rows.iter().map(|r| r.speed_error_m_s))
        .number("soc_step_frac", rows.iter().map(|r| r.soc_step_frac))
        .number("energy_braking_as_logged_kwh", rows.iter().map(|r| some(r, r.as_logged_kwh)))
        .number("energy_braking_kwh", rows.iter().map(|r| some(r, r.corrected_kwh)))
        .number("energy_braking_low_kwh", rows.iter().map(|r| r.claimed_kwh.map(|c| c.0)))
        .number("energy_braking_high_kwh", rows.iter().map(|r| r.claimed_kwh.map(|c| c.1)))
        .number("correction_frac", rows.iter().map(Row::correction))
        .count("trips_full", rows.iter().map(|r| r.claims[0]))
        .count("trips_banded", rows.iter().map(|r| r.claims[1]))
        .count("trips_imputed", rows.iter().map(|r| r.claims[2]))
        .count("trips_without_claim", rows.iter().map(|r| r.claims[3]))
        .text("speed_library", rows.iter().map(|r| r.library.as_deref()))
        .text("verdict", verdicts.iter().map(|v| Some(v.as_str())))
        .finish()
}
