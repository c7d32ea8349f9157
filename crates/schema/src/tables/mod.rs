//! The tables, one file each.

mod approaches;
mod avoidable_losses;
mod braking_balance;
mod braking_events;
mod calibration;
mod capacity;
mod changes;
mod charge_sessions;
mod charges;
mod charging;
mod climate_cost;
mod coverage;
mod crossings;
mod drivers;
mod habits;
mod ledger_trace;
mod level_comparison;
mod level_fits;
mod level_what_if;
mod open_values;
mod pack_sizing;
mod places;
mod plan_check;
mod plan_gap;
mod power_trace;
mod receipts;
mod recovery;
mod rejects;
mod road_cells;
mod routes;
mod same_trips;
mod samples;
mod sampling_audit;
mod scenarios;
mod segment_battery;
mod segments;
mod signal_value;
mod step_swings;
mod stops;
mod trip_routes;
mod trips;
mod what_if;
mod what_if_trace;

pub use approaches::APPROACHES;
pub use avoidable_losses::AVOIDABLE_LOSSES;
pub use braking_balance::{BRAKING_BALANCE, CASCADE_RANGES};
pub use braking_events::BRAKING_EVENTS;
pub use calibration::CALIBRATION;
pub use capacity::CAPACITY;
pub use changes::CHANGES;
pub use charge_sessions::CHARGE_SESSIONS;
pub use charges::CHARGES;
pub use charging::CHARGING;
pub use climate_cost::CLIMATE_COST;
pub use coverage::COVERAGE;
pub use crossings::CROSSINGS;
pub use drivers::DRIVERS;
pub use habits::HABITS;
pub use ledger_trace::LEDGER_TRACE;
pub use level_comparison::LEVEL_COMPARISON;
pub use level_fits::LEVEL_FITS;
pub use level_what_if::LEVEL_WHAT_IF;
pub use open_values::OPEN_VALUES;
pub use pack_sizing::PACK_SIZING;
pub use places::PLACES;
pub use plan_check::PLAN_CHECK;
pub use plan_gap::PLAN_GAP;
pub use power_trace::POWER_TRACE;
pub use receipts::RECEIPTS;
pub use recovery::RECOVERY;
pub use rejects::REJECTS;
pub use road_cells::ROAD_CELLS;
pub use routes::ROUTES;
pub use same_trips::SAME_TRIPS;
pub use samples::SAMPLES;
pub use sampling_audit::SAMPLING_AUDIT;
pub use scenarios::SCENARIOS;
pub use segment_battery::SEGMENT_BATTERY;
pub use segments::{CASCADE, GAINS, SEGMENTS};
pub use signal_value::SIGNAL_VALUE;
pub use step_swings::{STEP_SWINGS, SWINGS};
pub use stops::STOPS;
pub use trip_routes::TRIP_ROUTES;
pub use trips::TRIPS;
pub use what_if::WHAT_IF;
pub use what_if_trace::WHAT_IF_TRACE;

use crate::Table;

/// Every table, in the order the stages write them; traces are written by none, what-if only when asked.
pub static ALL: [&Table; 43] = [
    &SAMPLES,
    &REJECTS,
    &RECEIPTS,
    &TRIPS,
    &SEGMENTS,
    &BRAKING_EVENTS,
    &STOPS,
    &CHARGES,
    &APPROACHES,
    &LEVEL_FITS,
    &CROSSINGS,
    &STEP_SWINGS,
    &SAMPLING_AUDIT,
    &CHARGE_SESSIONS,
    &CAPACITY,
    &CALIBRATION,
    &SIGNAL_VALUE,
    &SEGMENT_BATTERY,
    &PLACES,
    &TRIP_ROUTES,
    &ROUTES,
    &ROAD_CELLS,
    &AVOIDABLE_LOSSES,
    &RECOVERY,
    &DRIVERS,
    &HABITS,
    &CHANGES,
    &LEVEL_COMPARISON,
    &BRAKING_BALANCE,
    &OPEN_VALUES,
    &SCENARIOS,
    &LEVEL_WHAT_IF,
    &SAME_TRIPS,
    &PLAN_CHECK,
    &PLAN_GAP,
    &PACK_SIZING,
    &CHARGING,
    &COVERAGE,
    &CLIMATE_COST,
    &POWER_TRACE,
    &LEDGER_TRACE,
    &WHAT_IF,
    &WHAT_IF_TRACE,
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Kind, unit::Unit};

    /// The unit stands last in each numeric column's name, as one suffix of this list.
    #[test]
    fn every_number_carries_its_unit_in_its_name() {
        const SUFFIXES: [(&str, &str); 24] = [
            ("_kwh_mi", "kW.h/[mi_i]"),
            ("_kwh_km", "kW.h/km"),
            ("_kwh_ton_mi", "kW.h/([ston_av].[mi_i])"),
            ("_kwh_day", "kW.h/d"),
            ("_mi_day", "[mi_i]/d"),
            ("_s_day", "s/d"),
            ("_m_s2", "m/s2"),
            ("_rad_s", "rad/s"),
            ("_m_s", "m/s"),
            ("_n_m", "N.m"),
            ("_kwh", "kW.h"),
            ("_deg", "deg"),
            ("_frac", "1"),
            ("_ns", "ns"),
            ("_kg", "kg"),
            ("_kg_m3", "kg/m3"),
            ("_pa", "Pa"),
            ("_mi", "[mi_i]"),
            ("_s", "s"),
            ("_m", "m"),
            ("_v", "V"),
            ("_a", "A"),
            ("_w", "W"),
            ("_k", "K"),
        ];
        let mut numbers = 0;
        for table in ALL {
            // Rows of unlike units, which a column of its own says.
            if [CALIBRATION.name, PLAN_CHECK.name].contains(&table.name) {
                assert!(table.column("unit").is_some());
                continue;
            }
            for column in table.columns.iter().filter(|c| c.kind == Kind::F64) {
                numbers += 1;
                let plain = column.unit == "1" && column.name.ends_with("_share_frac");
                let known = SUFFIXES
                    .iter()
                    .chain(&[("_n", "N"), ("_n2_s", "N2.s")])
                    .any(|(suffix, unit)| column.name.ends_with(suffix) && *unit == column.unit);
                assert!(known || plain, "{}.{} [{}]", table.name, column.name, column.unit);
            }
        }
        assert!(numbers > 80);
    }

    #[test]
    fn names_are_unique_within_a_table() {
        for table in ALL {
            let mut names: Vec<_> = table.columns.iter().map(|c| c.name).collect();
            names.sort_unstable();
            let before = names.len();
            names.dedup();
            assert_eq!(names.len(), before, "{}", table.name);
        }
    }

    #[test]
    fn simple_units_are_in_the_units_table() {
        for table in ALL {
            for column in table.columns.iter().filter(|c| !c.unit.is_empty()) {
                let compound = column.unit.contains(['/', '2', '3']);
                assert!(compound || Unit::parse(column.unit).is_some(), "{}", column.name);
            }
        }
    }
}
