//! The pilot file that goes with the logs.

use std::fmt::Write as _;

use super::sheets;
use crate::fleet::trucks::{Format, Truck};
use crate::logger::columns::columns;

const HEAD: &str = r#"# Everything here is invented: the town of Quellmouth, its people and both vehicle types.
# The vehicle sheets are what an honest user would know: rounded, and in places a few percent wrong.
# What really happened stands in truth/.

[pilot]
name = "Quellmouth harbour pilot"
time_zone = "Etc/GMT+2"
units = "us"

"#;

const CHARGING: &str = r#"# What the plugs of the depot metered at the wall.
[charging]
sessions = "charge_sessions.csv"
metered = "ac"

"#;

/// What was assumed before the pilot. Whoever planned it knew town and sheet, and neither driver nor winter.
const PLAN: &str = r#"[plan]
reserve = "15 %"
target_probability = 0.95
pack_counts = [2, 3, 4, 5, 7]
price_per_kwh = 0.19
currency = "crowns"

# Ten per cent either way still agrees, unless an assumption says otherwise.
[[plan.energy]]
use = "0.7 kW.h/mi"
route = "harbour"
season = "winter"

# As it stood in the brochure: nobody said of what.
[[plan.regen]]
share = "30 %"
of = "unstated"

[[plan.climate]]
share = "8 %"
tolerance = "25 %"

# What the energies above were reckoned with.
[plan.scenario]
payload = "800 kg"
temperature = "15 degC"
grade = "level"
regen_level = "high"

[plan.charging]
from = "18:00"
until = "06:00"

[[plan.chargers]]
name = "depot post"
kind = "ac"
power = "9.6 kW"
efficiency = "89 %"

[[plan.chargers]]
name = "yard dc"
kind = "dc"
power = "40 kW"
curve = [{ state_of_charge = "0 %", power = "40 kW" }, { state_of_charge = "80 %", power = "40 kW" }, { state_of_charge = "100 %", power = "10 kW" }]

# Where a year of service would be driven.
[[plan.driving]]
season = "winter"
share = "25 %"

[[plan.driving]]
season = "summer"
share = "25 %"

[[plan.driving]]
route = "coast"
share = "30 %"

"#;

/// What was assumed of a type: energy, and range on its packs.
const PLANNED_TYPES: [(&str, &str, u32, &str); 2] =
    [("light3", "0.55 kW.h/mi", 3, "60 mi"), ("medium5", "1.1 kW.h/mi", 5, "85 mi")];

/// The text of `pilot.toml` for the trucks that have logs.
pub fn text(fleet: &[&Truck]) -> String {
    let mut text = String::from(HEAD);
    for (id, sheet) in [("light3", sheets::LIGHT), ("medium5", sheets::MEDIUM)] {
        if fleet.iter().any(|truck| truck.kind.id == id) {
            text.push_str(sheet);
            text.push('\n');
        }
    }
    for truck in fleet {
        let _ = writeln!(text, "[vehicles.{}]\ntype = \"{}\"\n", truck.id, truck.kind.id);
    }
    text.push_str(CHARGING);
    text.push_str(PLAN);
    for (id, energy, packs, range) in PLANNED_TYPES {
        if fleet.iter().any(|truck| truck.kind.id == id) {
            let _ = write!(
                text,
                "[[plan.energy]]\nuse = \"{energy}\"\nvehicle_type = \"{id}\"\n\n\
                 [[plan.range]]\npacks = {packs}\nrange = \"{range}\"\nvehicle_type = \"{id}\"\n\n"
            );
        }
    }
    if let Some(truck) = fleet.iter().find(|truck| truck.format == Format::Harbour) {
        text.push_str(
            "# Comma files, one a day, UTC. The load column is empty where the truck has no load sensor.\n",
        );
        push_harbour(&mut text, "harbour loggers", "files = \"logs/harbour/{vehicle}/*.csv\"", truck);
    }
    fleet.iter().filter(|truck| truck.format == Format::Upland).for_each(|truck| push_upland(&mut text, truck));
    text
}

const TRIAL_HEAD: &str = r#"# A trial pilot, all of it invented. The sheet is what a user would know; what really happened stands in truth/.

[pilot]
name = "trial pilot"
time_zone = "Etc/GMT+2"
units = "us"

"#;

/// The text of `pilot.toml` of a trial: trucks of one type, each with a source of its own.
pub fn trial_text(sheet: &str, fleet: &[Truck]) -> String {
    let mut text = format!("{TRIAL_HEAD}{sheet}\n");
    for truck in fleet {
        let _ = writeln!(text, "[vehicles.{}]\ntype = \"{}\"\n", truck.id, truck.kind.id);
    }
    for truck in fleet {
        let files = format!("files = \"logs/harbour/{id}/*.csv\"\nvehicle = \"{id}\"", id = truck.id);
        push_harbour(&mut text, &format!("logger of {}", truck.id), &files, truck);
    }
    text
}

/// A source of comma files. All harbour trucks of a pilot share their columns, so any of them will do.
fn push_harbour(text: &mut String, name: &str, files: &str, any: &Truck) {
    let _ = write!(
        text,
        r#"[[sources]]
name = "{name}"
{files}
delimiter = ","
decimal = "."
encoding = "utf-8"
time = {{ column = "time_utc", kind = "iso" }}

[sources.columns]
"#
    );
    push_columns(text, any);
}

/// One source for each upland truck: no two log the same columns.
fn push_upland(text: &mut String, truck: &Truck) {
    let _ = write!(
        text,
        r##"# Semicolon files with decimal commas, one a week, local time, a row every {period} s.
[[sources]]
name = "upland logger of {id}"
files = "logs/upland/{id}_*.csv"
vehicle = "{id}"
delimiter = ";"
decimal = ","
encoding = "windows-1252"
header_line = 3
time = {{ columns = ["Datum", "Uhrzeit"], kind = "local", format = "%d.%m.%Y %H:%M:%S" }}

[sources.columns]
"##,
        period = truck.period_s,
        id = truck.id
    );
    push_columns(text, truck);
}

fn push_columns(text: &mut String, truck: &Truck) {
    for column in columns(truck).iter().filter(|column| !column.signal.is_empty()) {
        let _ = write!(text, "{} = {{ column = \"{}\"", column.signal, column.header);
        if !column.unit.is_empty() {
            let _ = write!(text, ", unit = \"{}\"", column.unit);
        }
        text.push_str(match column.signal {
            "pack_current" => ", positive = \"discharge\"",
            "pack_power" => ", positive = \"charge\"",
            _ => "",
        });
        text.push_str(" }\n");
    }
    text.push('\n');
}
