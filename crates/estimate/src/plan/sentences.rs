//! The tables of the plan in sentences, computed from their rows.

use arrow::array::{Array, RecordBatch};
use backwatt_schema::{BatchError, BatchView, Table, number_at, tables, text_at};

/// Answers in the order in which they are asked: plan, packs, charging, climate, coverage.
pub fn plan_sentences(
    plan_check: &RecordBatch,
    pack_sizing: &RecordBatch,
    charging: &RecordBatch,
    climate_cost: &RecordBatch,
    coverage: &RecordBatch,
) -> Result<Vec<String>, BatchError> {
    let mut told = Vec::new();
    Rows::new(&tables::PLAN_CHECK, plan_check).each(&mut told, checked)?;
    Rows::new(&tables::PACK_SIZING, pack_sizing).each(&mut told, sized)?;
    Rows::new(&tables::CHARGING, charging).each(&mut told, charged)?;
    Rows::new(&tables::CLIMATE_COST, climate_cost).each(&mut told, cost)?;
    Rows::new(&tables::COVERAGE, coverage).each(&mut told, covered)?;
    Ok(told)
}

struct Rows<'a> {
    view: BatchView<'a>,
}

impl<'a> Rows<'a> {
    fn new(table: &'static Table, batch: &'a RecordBatch) -> Self {
        Self { view: BatchView::new(table, batch) }
    }

    fn each(
        &self,
        told: &mut Vec<String>,
        sentence: fn(&Self, usize) -> Result<Option<String>, BatchError>,
    ) -> Result<(), BatchError> {
        for row in 0..self.view.rows() {
            told.extend(sentence(self, row)?);
        }
        Ok(())
    }

    fn text(&self, name: &str, row: usize) -> Result<Option<&'a str>, BatchError> {
        Ok(text_at(self.view.texts(name)?, row))
    }

    fn named(&self, name: &str, row: usize) -> Result<&'a str, BatchError> {
        Ok(self.text(name, row)?.unwrap_or("every"))
    }

    fn number(&self, name: &str, row: usize) -> Result<Option<f64>, BatchError> {
        Ok(number_at(self.view.numbers(name)?, row))
    }

    fn flag(&self, name: &str, row: usize) -> Result<bool, BatchError> {
        let flags = self.view.flags(name)?;
        Ok(flags.is_valid(row) && flags.value(row))
    }

    fn count(&self, name: &str, row: usize) -> Result<u64, BatchError> {
        Ok(self.view.counts(name)?.value(row))
    }
}

fn checked(rows: &Rows<'_>, row: usize) -> Result<Option<String>, BatchError> {
    let scope: Vec<&str> = ["vehicle_type", "route", "season"]
        .into_iter()
        .filter_map(|name| rows.text(name, row).transpose())
        .collect::<Result<_, _>>()?;
    let scope = if scope.is_empty() { "the whole pilot".to_owned() } else { scope.join(", ") };
    Ok(Some(format!(
        "{} of {scope}, {}: the plan's {:.3} {}. {} [{}]",
        rows.named("assumption", row)?,
        rows.named("measure", row)?,
        rows.number("plan_value", row)?.unwrap_or(f64::NAN),
        rows.named("verdict", row)?,
        rows.named("why", row)?,
        rows.named("evidence", row)?,
    )))
}

fn sized(rows: &Rows<'_>, row: usize) -> Result<Option<String>, BatchError> {
    if !rows.flag("is_smallest", row)? || rows.named("scenario", row)? != "as driven" {
        return Ok(None);
    }
    let percent =
        |name: &str| -> Result<f64, BatchError> { Ok(100.0 * rows.number(name, row)?.unwrap_or(f64::NAN)) };
    let breaks = match rows.text("breaks", row)? {
        None | Some("") => "it holds in every scenario looked at".to_owned(),
        Some(names) => format!("it misses the target when {names}"),
    };
    Ok(Some(format!(
        "{} on {} in {}, midday charging {}: {} packs are the fewest that end the day with {:.0} % in reserve at {:.0} % or more \
         ({:.0} %, {:.0} to {:.0} %, {} vehicle-days); {breaks}. [{}]",
        rows.named("vehicle_type", row)?,
        rows.named("route", row)?,
        rows.named("season", row)?,
        rows.named("midday_charging", row)?,
        rows.count("packs", row)?,
        percent("reserve_frac")?,
        percent("target_frac")?,
        percent("probability_finish_frac")?,
        percent("probability_finish_p05_frac")?,
        percent("probability_finish_p95_frac")?,
        rows.count("vehicle_days", row)?,
        rows.named("evidence", row)?,
    )))
}

fn charged(rows: &Rows<'_>, row: usize) -> Result<Option<String>, BatchError> {
    if !rows.flag("is_smallest", row)? || rows.named("route", row)? != "all" {
        return Ok(None);
    }
    let percent =
        |name: &str| -> Result<f64, BatchError> { Ok(100.0 * rows.number(name, row)?.unwrap_or(f64::NAN)) };
    let cost =
        rows.text("cost_night", row)?.map_or(String::new(), |cost| format!(", {cost} for the median night"));
    Ok(Some(format!(
        "{}: {} is the weakest {} charger looked at that refills {:.0} % of nights or more ({:.0} %, {:.0} to {:.0} %, {} nights){cost}. [{}]",
        rows.named("vehicle_type", row)?,
        rows.named("charger", row)?,
        rows.named("kind", row)?,
        percent("target_frac")?,
        percent("refilled_frac")?,
        percent("refilled_p05_frac")?,
        percent("refilled_p95_frac")?,
        rows.count("nights", row)?,
        rows.named("evidence", row)?,
    )))
}

fn cost(rows: &Rows<'_>, row: usize) -> Result<Option<String>, BatchError> {
    let (Some(share), Some(kwh)) =
        (rows.number("share_of_use_frac", row)?, rows.number("energy_p50_kwh", row)?)
    else {
        return Ok(None);
    };
    if rows.named("temperature_band", row)? != "all" {
        return Ok(None);
    }
    let end =
        |name: &str| -> Result<f64, BatchError> { Ok(100.0 * rows.number(name, row)?.unwrap_or(f64::NAN)) };
    Ok(Some(format!(
        "{}: {} took {kwh:.0} kWh, {:.1} % of gross discharge ({:.1} to {:.1} %). [{}]",
        rows.named("vehicle_type", row)?,
        rows.named("load", row)?,
        100.0 * share,
        end("share_of_use_p05_frac")?,
        end("share_of_use_p95_frac")?,
        rows.named("evidence", row)?,
    )))
}

fn covered(rows: &Rows<'_>, row: usize) -> Result<Option<String>, BatchError> {
    let Some(planned) = rows.number("planned_share_frac", row)? else { return Ok(None) };
    let names = ["route", "season", "temperature_band"].map(|name| rows.named(name, row));
    let [route, season, band] = names;
    Ok(Some(format!(
        "route {}, season {}, temperature {}: {:.0} % of the pilot's miles ({:.0} mi on {} vehicle-days) where the plan foresees {:.0} %.",
        route?,
        season?,
        band?,
        100.0 * rows.number("distance_share_frac", row)?.unwrap_or(0.0),
        rows.number("distance_mi", row)?.unwrap_or(0.0),
        rows.count("vehicle_days", row)?,
        100.0 * planned,
    )))
}
