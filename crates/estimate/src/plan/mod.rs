//! What the pilot says of a plan: its assumptions, packs, chargers, coverage and climate.
//!
//! First pass, one vehicle at a time: [`observe_days`] turns its tables into service days. Second pass, over the days of
//! all vehicles: one function for each table. Deliberately absent: the physics of a scenario, which comes as a table of
//! trips; a time zone, which comes as a function; any money that no user has named.

mod charge;
mod charging;
mod check;
mod climate;
mod coverage;
mod days;
mod gap;
mod judged;
mod packs;
mod range;
mod same_trips;
mod scale;
mod scope;
mod sentences;
mod settings;
mod spread;

pub use charge::{Charger, ChargerKind, Supply};
pub use charging::{Dwell, charging};
pub use check::plan_check;
pub use climate::climate_cost;
pub use coverage::coverage;
pub use days::{ByScenario, Leg, VehicleDay, VehicleTables, observe_days};
pub use gap::{CAUSES, gap_scenarios, plan_gap};
pub(crate) use packs::OF_BOUND;
pub use packs::{ONE_PACK_MORE, PackScenario, SPEED_CAP, pack_sizing};
pub use same_trips::{SameTrips, Set, same_trips};
pub use scope::{Scope, Season};
pub use sentences::plan_sentences;
pub use settings::{Assumption, Covers, Kind, Measure, PlanSettings, PlannedShare, Price, TypePlan};
