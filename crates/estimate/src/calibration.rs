//! What the logs say of the values a sheet states.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, Evidence, tables};

use crate::learned::{Learned, Spread, Z_90};

struct Row {
    vehicle_type: String,
    vehicle: Option<String>,
    unknown: String,
    unit: &'static str,
    before: (f64, f64),
    after: (f64, f64),
    moved: f64,
    tied: Option<(String, f64)>,
    rows: [u64; 2],
}

/// Below this no two unknowns are called tied.
const TIED: f64 = 0.5;

/// The unknowns of each type and of its vehicles, before and after the logs.
pub fn calibration<'l>(types: impl Iterator<Item = &'l Learned>) -> Result<RecordBatch, BatchError> {
    let rows: Vec<Row> = types.flat_map(of_type).collect();
    build(&rows)
}

fn of_type(learned: &Learned) -> Vec<Row> {
    let (names, shared) = (learned.names(), learned.of_type());
    let mut rows = Vec::new();
    let total = learned.members().fold([0, 0], |sum, (_, rows, _)| [sum[0] + rows[0], sum[1] + rows[1]]);
    for (place, (id, count, spreads)) in learned.members().enumerate() {
        let correlations = Correlations::of(&spreads[1]);
        let one = |at: usize| {
            let (name, unit) = &names[at];
            let of = |spread: &Spread| (spread.mean[at], Z_90 * spread.sd(at));
            let [before, after, wide] = [&spreads[0], &spreads[1], &spreads[2]].map(of);
            let is_type = at < shared;
            let among = if is_type { shared } else { names.len() };
            Row {
                vehicle_type: learned.sheet().name.clone(),
                vehicle: (!is_type).then(|| id.to_owned()),
                unknown: name.clone(),
                unit,
                before,
                after,
                moved: (wide.0 - after.0).abs(),
                tied: correlations.strongest(at, among).map(|(with, r)| (names[with].0.clone(), r)),
                rows: if is_type { total } else { count },
            }
        };
        // The type's unknowns are the same seen from every vehicle.
        if place == 0 {
            rows.extend((0..shared).map(one));
        }
        rows.extend((shared..names.len()).map(one));
        rows.extend(capacity(learned, id, count, &spreads));
    }
    rows
}

/// Usable energy: the sheet's over the factor that windows see, its interval by the ends.
fn capacity(learned: &Learned, id: &str, rows: [u64; 2], spreads: &[Spread; 3]) -> Option<Row> {
    let sheet_kwh = learned.sheet().battery?.capacity_kwh;
    let at = learned.of_type();
    let of = |spread: &Spread| {
        let factor = spread.mean[at];
        (sheet_kwh / factor, sheet_kwh * Z_90 * spread.sd(at) / (factor * factor))
    };
    let [before, after, wide] = [&spreads[0], &spreads[1], &spreads[2]].map(of);
    Some(Row {
        vehicle_type: learned.sheet().name.clone(),
        vehicle: Some(id.to_owned()),
        unknown: "capacity".to_owned(),
        unit: "kW.h",
        before,
        after,
        moved: (wide.0 - after.0).abs(),
        tied: None,
        rows,
    })
}

struct Correlations {
    covariance: nalgebra::DMatrix<f64>,
}

impl Correlations {
    fn of(spread: &Spread) -> Self {
        Self { covariance: &spread.parts * spread.parts.transpose() }
    }

    /// The other unknown among the first ones that is most strongly correlated.
    fn strongest(&self, at: usize, among: usize) -> Option<(usize, f64)> {
        let c = &self.covariance;
        let r = |with: usize| c[(at, with)] / (c[(at, at)] * c[(with, with)]).sqrt();
        let others = (0..among).filter(|with| *with != at).map(|with| (with, r(with)));
        others.filter(|(_, r)| r.abs() > TIED).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
    }
}

fn build(rows: &[Row]) -> Result<RecordBatch, BatchError> {
    let number = |of: fn(&Row) -> f64| rows.iter().map(of).map(Some).collect::<Vec<_>>();
    let evidence = |row: &Row| {
        let seen = row.rows[0] + row.rows[1] > 0;
        let told = seen && row.after.1 <= 0.5 * row.before.1 && row.moved < row.after.1;
        if told { Evidence::Inferred } else { Evidence::Modelled }
    };
    BatchBuilder::new(&tables::CALIBRATION)
        .text("vehicle_type", rows.iter().map(|r| Some(r.vehicle_type.as_str())))
        .text("vehicle_id", rows.iter().map(|r| r.vehicle.as_deref()))
        .text("unknown", rows.iter().map(|r| Some(r.unknown.as_str())))
        .text("unit", rows.iter().map(|r| Some(r.unit)))
        .text("evidence", rows.iter().map(|r| Some(evidence(r).as_str())))
        .number("before_p50", number(|r| r.before.0))
        .number("before_half_width", number(|r| r.before.1))
        .number("value_p05", number(|r| r.after.0 - r.after.1))
        .number("value_p50", number(|r| r.after.0))
        .number("value_p95", number(|r| r.after.0 + r.after.1))
        .number("moved_by_wide_doubt", number(|r| r.moved))
        .text("tied_to", rows.iter().map(|r| r.tied.as_ref().map(|tied| tied.0.as_str())))
        .number("tied_to_correlation", rows.iter().map(|r| r.tied.as_ref().map(|tied| tied.1)))
        .count("windows", rows.iter().map(|r| r.rows[0]))
        .count("measured_rows", rows.iter().map(|r| r.rows[1]))
        .finish()
}
