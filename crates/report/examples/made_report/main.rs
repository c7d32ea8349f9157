//! A report over tables made by hand, for the browser suite and for timing: many drivers, many trips, hostile names.
//!
//! Usage: made_report FOLDER [--drivers N] [--vehicles N] [--trips N] [--cells N] [--metric] [--hostile] [--share]

mod cells;
mod rows;

use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;

use backwatt_report::{ReportInput, ReportOptions, SettingRow, write};
use backwatt_schema::{Table, tables};
use backwatt_store::{Layout, Provenance, write_table};

use cells::Pilot;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().ok_or("a folder to write into")?;
    let mut asked: BTreeMap<String, String> = BTreeMap::new();
    while let Some(option) = arguments.next() {
        let is_flag = matches!(option.as_str(), "--metric" | "--hostile" | "--share");
        let value = if is_flag { String::new() } else { arguments.next().ok_or("a number")? };
        asked.insert(option, value);
    }
    let number = |option: &str, usual: usize| asked.get(option).and_then(|n| n.parse().ok()).unwrap_or(usual);
    let pilot = Pilot {
        drivers: number("--drivers", 12),
        vehicles: number("--vehicles", 6),
        trips: number("--trips", 60),
        cells: number("--cells", 120),
        hostile: asked.contains_key("--hostile"),
    };
    make(&pilot, Path::new(&folder), asked.contains_key("--metric"), asked.contains_key("--share"))
}

fn make(pilot: &Pilot, folder: &Path, metric: bool, share: bool) -> Result<(), Box<dyn Error>> {
    let layout = Layout::new(folder);
    let provenance = Provenance { program: "made by hand".to_owned(), ..Provenance::default() };
    let vehicles: Vec<String> = (0..pilot.vehicles).map(|n| pilot.vehicle(n)).collect();
    let mut whole: Vec<&'static Table> = vec![&tables::RECEIPTS, &tables::RECOVERY];
    whole.extend(backwatt_report::SHOWN);
    for table in whole {
        let batch = rows::batch(pilot, table, rows::count(pilot, table), None)?;
        write_table(&layout.table(table), table, &batch, &provenance)?;
    }
    for (at, vehicle) in vehicles.iter().enumerate() {
        for table in rows::OF_VEHICLE {
            let trips = pilot.trips.div_ceil(pilot.vehicles.max(1));
            let batch = rows::batch(pilot, table, trips, Some(at))?;
            write_table(&layout.vehicle_table(table, vehicle), table, &batch, &provenance)?;
        }
    }
    let input = ReportInput {
        replays: std::collections::BTreeMap::new(),
        pilot_name: pilot.named("Made-up pilot", 0),
        metric,
        vehicle_types: vec![pilot.named("van", 0); vehicles.len()],
        vehicles,
        settings: vec![
            SettingRow {
                key: "vehicle_types.van.mass".to_owned(),
                value: pilot.named("3500 kg", 0),
                origin: "pilot file, line 7".to_owned(),
            },
            SettingRow {
                key: format!("vehicle_types.{}.packs", pilot.named("van", 0)),
                value: "3".to_owned(),
                origin: "pilot file, line 8".to_owned(),
            },
        ],
        problems: Vec::new(),
        program: "backwatt, over tables made by hand".to_owned(),
        drivers_are_pseudonyms: true,
    };
    let answers = write(&input, &layout, &provenance, ReportOptions { no_pages: false, to_share: share })?;
    answers.taken_out.iter().for_each(|line| println!("{line}"));
    Ok(())
}
