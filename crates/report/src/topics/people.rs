//! What is told of one driver: everything shown of that person, and nothing of anybody else.

use backwatt_schema::tables;

use super::drivers::{self, ABOUT, SAFETY};
use super::grid::Grid;
use super::rows::{Read, Row};
use super::units::Units;
use super::{Tables, habits};

/// One driver with enough driving to be told something.
#[derive(Debug, Clone, PartialEq)]
pub struct Person {
    /// As the logs say, or the pseudonym.
    pub driver: String,
    /// The comparison in words, the habit it may come from second.
    pub told: Vec<String>,
    /// What was held equal, for each response.
    pub allowed_for: Vec<String>,
    /// Days driven and energy braked: what the figures rest on.
    pub exposure: String,
    pub grids: Vec<Grid>,
    /// Trips in which a habit shows.
    pub examples: Vec<String>,
}

/// How to take it, and what comes before any figure.
pub const NOTES: [&str; 2] = [ABOUT, SAFETY];

/// In the order of the table, which is that of the names.
pub fn all(tables: &Tables, units: Units) -> Read<Vec<Person>> {
    let rows = tables.rows(&tables::DRIVERS);
    let named = tables.rows(&tables::HABITS);
    let mut shown = Vec::new();
    for row in &rows {
        if row.text("why_not_shown")?.is_empty() {
            shown.push(*row);
        }
    }
    let same = |a: &Row<'_>, b: &Row<'_>| a.text("driver_id").ok() == b.text("driver_id").ok();
    shown.chunk_by(same).map(|own| person(own, &named, units)).collect()
}

fn person(own: &[Row<'_>], named: &[Row<'_>], units: Units) -> Read<Person> {
    let driver = own[0].text("driver_id")?;
    let mut told = Vec::new();
    let mut allowed_for = Vec::new();
    for row in own {
        told.push(drivers::compared(row, units)?);
        let remark = row.joined(&["adjusted_for", "caution"])?;
        allowed_for.push(format!("{}: {remark}", row.text("response")?));
    }
    let mut habits = Vec::new();
    for row in named {
        if row.text("driver_id")? == driver {
            habits.push(*row);
        }
    }
    if !habits.is_empty() {
        told.push(habits::standing_out(&habits, driver, units)?);
    }
    let mut examples = Vec::new();
    for row in &habits {
        let text = row.text("examples")?;
        if !text.is_empty() {
            examples.push(format!("{}: {text}", row.text("habit")?));
        }
    }
    let mut grids = vec![Grid::new(
        "Difference from the average of the drivers compared, at like work; plus costs energy",
        &tables::DRIVERS,
        own,
        &drivers::OWN,
        units,
    )?];
    grids.extend(habits::grid(&habits, units)?);
    Ok(Person {
        driver: driver.to_owned(),
        told,
        allowed_for,
        exposure: format!(
            "{} driving days, {} kWh of braking energy at the wheels",
            own[0].whole("driving_days")?,
            own[0].fixed("energy_braking_kwh", 0)?
        ),
        grids,
        examples,
    })
}
