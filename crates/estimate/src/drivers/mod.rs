//! Drivers compared, what is not their doing allowed for. notebooks-docs/method/comparing-drivers.md says why it is so.
//!
//! First pass, one vehicle at a time: [`driver_days`] adds up what each driver did on each vehicle, route and day. Second
//! pass: [`drivers`] and [`habits`] compare within each group of drivers that share trucks and routes, [`changes`] follows each
//! over time. Memory grows with the
//! driver-days and with nothing else.
//!
//! Deliberately absent: ranks, scores, any figure about safety; any covariate that is partly the driver's doing (level, speed,
//! braking intensity, stops a mile), since allowing for it would take the habit away that is looked for.
//!
//! # What a coach should read
//!
//! One sentence for each row, by the first of these that holds; figures in brackets are columns of the row:
//!
//! - `why_not_shown` is set: "No figure for {driver_id}: {why_not_shown}."
//! - `effect_p05_kwh_day` above 0: "{driver_id} leaves {effect_kwh_day} kWh a day more on the road than the average of
//!   {drivers_compared} drivers at like work ({effect_p05_kwh_day} to {effect_p95_kwh_day}, 90 %), about {effect_mi_day}
//!   miles of range a day; {adjusted_for} allowed for, from {driving_days} days."
//! - `effect_p95_kwh_day` below 0: "{driver_id} needs {-effect_kwh_day} kWh a day less than the average .." and so on.
//! - else: "{driver_id} cannot be told from the average of {drivers_compared} drivers: the difference lies between
//!   {effect_p05_kwh_day} and {effect_p95_kwh_day} kWh a day."
//!
//! With `worst_quarter_probability_frac` at 0.8 or more, after it: "The chance of being among the quarter that costs most is
//! {worst_quarter_probability_frac}." Of the habits, the one with the largest `above_group_kwh_day` whose `above_group_p05_kwh_day`
//! is above 0: "What stands out is {habit}: {above_group_kwh_day} kWh a day beyond the others at like work, for example
//! {examples}. {caution}" Where none stands out: "No single habit stands out from the others."
//!
//! Before any of them, once: "These are estimates about energy, made to help in coaching. They are no basis on their own for
//! discipline or pay, and say nothing of safe driving; whoever they are about may see what they rest on and contest it."

mod changes;
mod comparison;
mod driver_days;
mod group;
mod habits;
mod occasions;
mod response;
mod table;
#[cfg(test)]
mod tests;
mod whose;

pub use changes::{StatedEvent, changes};
pub use driver_days::{DriverDay, DriverDays, DriverTables, Key, driver_days};
pub(crate) use group::WhyHidden;
pub use group::{EXPOSURE_BRAKING_KWH, EXPOSURE_DAYS, SMALL_GROUP};
pub use habits::habits;
pub use occasions::{Example, Habit};
pub use table::drivers;
