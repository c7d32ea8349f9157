//! Which rows and cells of the other tables may be handed over.

use arrow::array::Array;
use backwatt_schema::{BatchError, BatchView, Table, tables, text_at};

use super::groups::LEAST_VEHICLE_DAYS;

/// True for rows that stay.
pub fn mask(
    table: &'static Table,
    view: &BatchView<'_>,
    people: bool,
    trucks: bool,
) -> Result<Vec<bool>, BatchError> {
    let is = |other: &'static Table| table.name == other.name;
    let has = |name: &str| table.columns.iter().any(|column| column.name == name);
    let mut mask = vec![true; view.rows()];
    for (row, keep) in mask.iter_mut().enumerate() {
        let text = |name: &str| -> Result<&str, BatchError> {
            Ok(text_at(view.texts(name)?, row).unwrap_or_default())
        };
        let known = |name: &str| -> Result<bool, BatchError> { Ok(view.texts(name)?.is_valid(row)) };
        *keep = if is(&tables::ROAD_CELLS) {
            view.flags("is_shareable")?.value(row)
        } else if is(&tables::ROUTES) {
            view.counts("days")?.value(row) >= LEAST_VEHICLE_DAYS && view.counts("vehicles")?.value(row) >= 2
        } else if is(&tables::DRIVERS) || is(&tables::HABITS) {
            people && !known("why_not_shown")?
        } else if is(&tables::CHANGES) || is(&tables::LEVEL_WHAT_IF) {
            !known("why_not_shown")? && if text("subject")? == "driver" { people } else { trucks }
        } else if has("vehicle_days") {
            let days = view.counts("vehicle_days")?;
            // Nothing driven names nobody.
            !days.is_valid(row) || days.value(row) == 0 || days.value(row) >= LEAST_VEHICLE_DAYS
        } else {
            true
        };
    }
    Ok(mask)
}

/// True of cells that would say where or when somebody drove.
pub fn is_blanked(table: &'static Table, column: &str) -> bool {
    match table.name {
        "habits" => column == "examples",
        "routes" => matches!(column, "way" | "stops" | "place_start_id" | "place_end_id"),
        "receipts" => matches!(column, "digest_sha256" | "source" | "problem" | "dialect"),
        _ => false,
    }
}
