//! What the depot's plugs metered: one line for each night.

use std::fmt::Write as _;

use super::truck_logs::TruckLogs;
use crate::drive::standing::PLUG_W;
use crate::fleet::trucks::Truck;

/// Name of the file, beside the pilot file.
pub const FILE: &str = "charge_sessions.csv";

const MINUTE_S: i64 = 60;

/// The text of the file. The plugs' clock shows whole minutes, their meters tenths of a kilowatt hour.
pub fn text(fleet: &[Truck], all: &[TruckLogs]) -> String {
    let mut text = String::from("vehicle,from,until,energy [kWh],power [kW]\n");
    for truth in all.iter().flat_map(|logs| &logs.days) {
        let (from_s, until_s) = truth.charge_s;
        let wall_kwh = truth.day.wall_j / 3.6e6;
        if wall_kwh < 0.05 {
            continue;
        }
        let _ = writeln!(
            text,
            "{},{},{},{wall_kwh:.1},{:.1}",
            fleet[truth.shift.truck].id,
            time(from_s.div_euclid(MINUTE_S)),
            time((until_s + MINUTE_S - 1).div_euclid(MINUTE_S)),
            PLUG_W / 1000.0,
        );
    }
    text
}

fn time(minute: i64) -> jiff::Timestamp {
    jiff::Timestamp::from_second(minute * MINUTE_S).unwrap_or_default()
}
