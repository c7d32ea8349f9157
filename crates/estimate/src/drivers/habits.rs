//! The table of habits: what a driver's difference is made of.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};

use super::driver_days::DriverDays;
use super::group::{Exposure, Group, SMALL_GROUP, groups};
use super::occasions::Habit;
use super::response::{Found, Response, compare_by};

/// Every driver and habit: against the habit's own reference, and beyond the others at like work.
pub fn habits(days: &DriverDays, pseudonyms: bool) -> Result<RecordBatch, BatchError> {
    let groups = groups(days);
    let mut rows: Vec<Row<'_>> = Vec::new();
    for group in &groups {
        let small = pseudonyms && group.compared().len() < SMALL_GROUP;
        let consumption = consumption(days, group);
        for habit in Habit::ALL {
            for (driver, found) in compare_by(days, group, Response::Habit(habit), pseudonyms) {
                let Some(exposure) = group.drivers.get(&driver) else { continue };
                let examples = examples(days, &driver, habit);
                let occasions = occasions(days, &driver, habit);
                let is_open = exposure.is_enough() && !small && occasions > 0;
                rows.push(Row {
                    group,
                    driver,
                    exposure,
                    habit,
                    found,
                    consumption,
                    occasions,
                    examples,
                    is_open,
                });
            }
        }
    }
    rows.sort_by(|a, b| (&a.driver, a.habit.name()).cmp(&(&b.driver, b.habit.name())));
    build(&rows)
}

struct Row<'g> {
    group: &'g Group,
    driver: String,
    exposure: &'g Exposure,
    habit: Habit,
    found: Found,
    consumption: Option<f64>,
    occasions: u64,
    examples: String,
    /// Enough driving, nobody given away, and something to go by.
    is_open: bool,
}

impl Row<'_> {
    fn miles_a_day(&self) -> f64 {
        self.exposure.distance_mi / self.exposure.days.len().max(1) as f64
    }

    fn kwh_a_day(&self) -> Option<f64> {
        self.habit.reference().filter(|_| self.is_open)?;
        Some(self.found.raw_kwh_mi? * self.miles_a_day())
    }

    /// Value and interval beyond the others.
    fn above(&self) -> Option<[f64; 3]> {
        let shown = self.found.shown.as_ref().ok().filter(|_| self.is_open)?;
        Some([shown.effect.mean, shown.effect.p05, shown.effect.p95].map(|effect| effect * self.miles_a_day()))
    }

    fn why(&self) -> Option<String> {
        match &self.found.shown {
            Err(why) => Some(why.clone()),
            Ok(_) if !self.is_open => Some(match self.habit {
                Habit::LowLevel => "no regen level is logged".to_owned(),
                _ => "nothing in the log to go by".to_owned(),
            }),
            Ok(_) => None,
        }
    }
}

/// Net energy over distance of the drivers compared, where it is known.
fn consumption(days: &DriverDays, group: &Group) -> Option<f64> {
    let compared = group.compared();
    let parts = days.days.iter().filter(|(key, _)| compared.contains(key.driver.as_str()));
    let parts = parts.filter_map(|(_, day)| Response::Consumption.part(day));
    let (kwh, miles) = parts.fold((0.0, 0.0), |sum, part| (sum.0 + part.kwh, sum.1 + part.miles));
    (miles > 0.0).then(|| kwh / miles)
}

fn occasions(days: &DriverDays, driver: &str, habit: Habit) -> u64 {
    days.days.iter().filter(|(key, _)| key.driver == driver).map(|(_, day)| day.occasions[habit.place()]).sum()
}

fn examples(days: &DriverDays, driver: &str, habit: Habit) -> String {
    let kept = days.examples.get(&(driver.to_owned(), habit));
    let events = kept.into_iter().flatten().map(|example| example.event.as_str());
    events.collect::<Vec<_>>().join(" ")
}

fn build(rows: &[Row<'_>]) -> Result<RecordBatch, BatchError> {
    let above = |at: usize| rows.iter().map(move |row| row.above().map(|above| above[at])).collect::<Vec<_>>();
    let miles = |kwh: Vec<Option<f64>>| {
        rows.iter().zip(kwh).map(|(row, kwh)| Some(kwh? / row.consumption?)).collect::<Vec<_>>()
    };
    let energy: Vec<Option<f64>> = rows.iter().map(Row::kwh_a_day).collect();
    let open = |row: &Row<'_>| row.is_open;
    let whys: Vec<Option<String>> = rows.iter().map(Row::why).collect();
    BatchBuilder::new(&tables::HABITS)
        .text("driver_id", rows.iter().map(|row| Some(row.driver.as_str())))
        .text("habit", rows.iter().map(|row| Some(row.habit.name())))
        .text("why_not_shown", whys.iter().map(Option::as_deref))
        .text("comparison_group", rows.iter().map(|row| row.above().map(|_| row.group.name.as_str())))
        .count("driving_days", rows.iter().map(|row| open(row).then_some(row.exposure.days.len() as u64)))
        .number("energy_kwh_day", energy.clone())
        .number("energy_mi_day", miles(energy))
        .number("above_group_kwh_day", above(0))
        .number("above_group_p05_kwh_day", above(1))
        .number("above_group_p95_kwh_day", above(2))
        .number("above_group_mi_day", miles(above(0)))
        .count("occasions", rows.iter().map(|row| open(row).then_some(row.occasions)))
        .text(
            "examples",
            rows.iter().map(|row| Some(row.examples.as_str()).filter(|text| open(row) && !text.is_empty())),
        )
        .text(
            "reference",
            rows.iter().map(|row| {
                Some(row.habit.reference().unwrap_or("none of its own: the other drivers at like work"))
            }),
        )
        .text("evidence", rows.iter().map(|_| Some("modelled")))
        .text("caution", rows.iter().map(|row| Some(row.habit.caution())))
        .finish()
}
