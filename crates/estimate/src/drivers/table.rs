//! The table of drivers.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};

use super::driver_days::DriverDays;
use super::group::{Exposure, Group, groups};
use super::response::{Found, Response, Shown, compare_by};

/// No statement on quarters with fewer drivers than this.
const QUARTERS_FROM: usize = 8;
/// A day counts as measured where this share of the distance is.
const MEASURED: f64 = 0.95;

/// Every driver by avoidable loss and by consumption, within its group. With `pseudonyms` nothing is said of small groups.
pub fn drivers(days: &DriverDays, pseudonyms: bool) -> Result<RecordBatch, BatchError> {
    let groups = groups(days);
    let mut rows: Vec<Row<'_>> = Vec::new();
    for group in &groups {
        let consumption = compare_by(days, group, Response::Consumption, pseudonyms);
        let group_consumption =
            consumption.values().find_map(|found| Some(found.shown.as_ref().ok()?.group_kwh_mi));
        let avoidable = compare_by(days, group, Response::Avoidable, pseudonyms);
        for (response, found) in [(Response::Avoidable, avoidable), (Response::Consumption, consumption)] {
            let of_driver = found.into_iter().filter_map(|(driver, found)| {
                let exposure = group.drivers.get(&driver)?;
                Some(Row { group, driver, exposure, response, found, group_consumption })
            });
            rows.extend(of_driver);
        }
    }
    rows.sort_by(|a, b| (&a.driver, a.response.name()).cmp(&(&b.driver, b.response.name())));
    build(&rows)
}

struct Row<'g> {
    group: &'g Group,
    driver: String,
    exposure: &'g Exposure,
    response: Response,
    found: Found,
    /// Of the drivers compared, to turn energy into miles.
    group_consumption: Option<f64>,
}

impl Row<'_> {
    fn shown(&self) -> Option<&Shown> {
        self.found.shown.as_ref().ok()
    }

    fn miles_a_day(&self) -> f64 {
        self.exposure.distance_mi / self.exposure.days.len().max(1) as f64
    }

    fn evidence(&self) -> &'static str {
        match self.response {
            Response::Consumption if self.found.measured_share >= MEASURED => "measured",
            Response::Consumption if self.found.days > 0 => "inferred",
            _ => "modelled",
        }
    }

    fn caution(&self) -> String {
        let Some(shown) = self.shown() else { return String::new() };
        let mut texts = Vec::new();
        if shown.effect.p05 <= 0.0 && shown.effect.p95 >= 0.0 {
            texts.push("cannot be told from the others");
        }
        if shown.drivers < QUARTERS_FROM {
            texts.push("few drivers compared: nothing is said of quarters");
        }
        if self.evidence() == "inferred" {
            texts.push("read from the state of charge on some or all days");
        }
        texts.join("; ")
    }
}

fn build(rows: &[Row<'_>]) -> Result<RecordBatch, BatchError> {
    let of = |pick: &dyn Fn(&Row<'_>, &Shown) -> f64| -> Vec<Option<f64>> {
        rows.iter().map(|row| row.shown().map(|shown| pick(row, shown))).collect()
    };
    let counts = |pick: &dyn Fn(&Row<'_>, &Shown) -> usize| -> Vec<Option<u64>> {
        rows.iter().map(|row| row.shown().map(|shown| pick(row, shown) as u64)).collect()
    };
    let maybe = |pick: &dyn Fn(&Row<'_>, &Shown) -> Option<f64>| -> Vec<Option<f64>> {
        rows.iter().map(|row| row.shown().and_then(|shown| pick(row, shown))).collect()
    };
    let quarter =
        |pick: fn(&Shown) -> f64| maybe(&move |_, shown| (shown.drivers >= QUARTERS_FROM).then(|| pick(shown)));
    let cautions: Vec<String> = rows.iter().map(Row::caution).collect();
    BatchBuilder::new(&tables::DRIVERS)
        .text("driver_id", rows.iter().map(|row| Some(row.driver.as_str())))
        .text("response", rows.iter().map(|row| Some(row.response.name())))
        .text("comparison_group", rows.iter().map(|row| row.shown().map(|_| row.group.name.as_str())))
        .text("why_not_shown", rows.iter().map(|row| row.found.shown.as_ref().err().map(String::as_str)))
        .count("drivers_compared", counts(&|_, shown| shown.drivers))
        .count("driving_days", counts(&|row, _| row.exposure.days.len()))
        .number("energy_braking_kwh", of(&|row, _| row.exposure.braking_kwh))
        .number("distance_mi", of(&|row, _| row.exposure.distance_mi))
        .number("distance_mi_day", of(&|row, _| row.miles_a_day()))
        .count("vehicles", counts(&|row, _| row.exposure.vehicles.len()))
        .count("vehicles_shared", counts(&|row, _| row.group.shared(&row.driver, |of| &of.vehicles)))
        .count("routes", counts(&|row, _| row.exposure.routes.len()))
        .count("routes_shared", counts(&|row, _| row.group.shared(&row.driver, |of| &of.routes)))
        .number("raw_kwh_mi", maybe(&|row, _| row.found.raw_kwh_mi))
        .number("group_kwh_mi", of(&|_, shown| shown.group_kwh_mi))
        .number("effect_unshrunken_kwh_mi", of(&|_, shown| shown.effect.unshrunken))
        .number("contrast_error_kwh_mi", of(&|_, shown| shown.effect.unshrunken_error))
        .number("effect_kwh_mi", of(&|_, shown| shown.effect.mean))
        .number("effect_p05_kwh_mi", of(&|_, shown| shown.effect.p05))
        .number("effect_p95_kwh_mi", of(&|_, shown| shown.effect.p95))
        .number("effect_kwh_day", of(&|row, shown| shown.effect.mean * row.miles_a_day()))
        .number("effect_p05_kwh_day", of(&|row, shown| shown.effect.p05 * row.miles_a_day()))
        .number("effect_p95_kwh_day", of(&|row, shown| shown.effect.p95 * row.miles_a_day()))
        .number(
            "effect_mi_day",
            maybe(&|row, shown| Some(shown.effect.mean * row.miles_a_day() / row.group_consumption?)),
        )
        .number("positive_probability_frac", of(&|_, shown| shown.effect.positive))
        .number("best_quarter_probability_frac", quarter(|shown| shown.effect.best_quarter))
        .number("worst_quarter_probability_frac", quarter(|shown| shown.effect.worst_quarter))
        .count("rows", counts(&|_, shown| shown.rows))
        .number("spread_drivers_kwh_mi", of(&|_, shown| shown.spreads[0]))
        .number("spread_vehicles_kwh_mi", of(&|_, shown| shown.spreads[1]))
        .number("spread_routes_kwh_mi", of(&|_, shown| shown.spreads[2]))
        .text("evidence", rows.iter().map(|row| Some(row.evidence())))
        .text("adjusted_for", rows.iter().map(|row| row.shown().map(|shown| shown.adjusted_for.as_str())))
        .text("caution", cautions.iter().map(|text| Some(text.as_str())))
        .finish()
}
