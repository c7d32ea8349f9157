//! Levels fitted, as an Arrow batch.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables::LEVEL_FITS};

use super::Level;
use crate::kernels::level_fit::Fitted;

pub fn batch(vehicle_id: &str, levels: &[Level]) -> Result<RecordBatch, BatchError> {
    let each = || levels.iter();
    let sheet_n = |level: &Level| level.sheet.and_then(|sheet| sheet.lift_off_n);
    let per_kg = |level: &Level, n: f64| n / level.seen.effective_mass_kg;
    let lift_off = |level: &Level| level.fit.ok().map(|fit| fit.lift_off);
    let slowing = |level: &Level| {
        lift_off(level).map(|n| Fitted {
            value: n.value.map(|n| per_kg(level, n)),
            low: per_kg(level, n.low),
            high: per_kg(level, n.high),
        })
    };
    let start = |level: &Level| level.fit.ok().map(|fit| fit.fade_start_m_s);
    let end = |level: &Level| level.fit.ok().map(|fit| fit.fade_end_m_s);
    let columns = Columns { levels, builder: BatchBuilder::new(&LEVEL_FITS) }
        .figure("lift_off", "n", lift_off, sheet_n)
        .figure("lift_off", "m_s2", slowing, |level| sheet_n(level).map(|n| per_kg(level, n)))
        .figure("fade_start", "m_s", start, |level| level.sheet.map(|sheet| sheet.fade_start_m_s))
        .figure("fade_end", "m_s", end, |level| level.sheet.map(|sheet| sheet.fade_end_m_s));
    columns
        .builder
        .text("vehicle_id", each().map(|_| Some(vehicle_id)))
        .text("regen_level", each().map(|level| level.name.as_deref()))
        .text("level_basis", each().map(|level| Some(level.basis)))
        .text("basis", each().map(|level| Some(fit_basis(level))))
        .count("samples", each().map(|level| level.seen.samples as u64))
        .number("duration_s", each().map(|level| level.seen.seconds))
        .number("mass_kg", each().map(|level| level.seen.mass_kg))
        .finish()
}

fn fit_basis(level: &Level) -> &'static str {
    match level.fit {
        Err(why) => why,
        Ok(fit) => {
            let known = [fit.lift_off, fit.fade_start_m_s, fit.fade_end_m_s].iter().all(|f| f.value.is_some());
            if known { "fitted" } else { "bounded" }
        }
    }
}

struct Columns<'a> {
    levels: &'a [Level],
    builder: BatchBuilder,
}

impl Columns<'_> {
    /// A figure's four columns: value, ends, and what the sheet says.
    fn figure(
        mut self,
        name: &str,
        unit: &str,
        fitted: impl Fn(&Level) -> Option<Fitted>,
        sheet: impl Fn(&Level) -> Option<f64>,
    ) -> Self {
        let of = |pick: fn(Fitted) -> Option<f64>| {
            self.levels.iter().map(|level| fitted(level).and_then(pick)).collect()
        };
        let high = |f: Fitted| f.high.is_finite().then_some(f.high);
        let columns: [(&str, Vec<Option<f64>>); 4] = [
            ("", of(|f| f.value)),
            ("_low", of(|f| Some(f.low))),
            ("_high", of(high)),
            ("_sheet", self.levels.iter().map(sheet).collect()),
        ];
        for (end, values) in columns {
            self.builder = self.builder.number(&format!("{name}{end}_{unit}"), values);
        }
        self
    }
}
