//! `replay --with`: the same trips with something changed.

use arrow::array::RecordBatch;
use backwatt_physics::what_if as compare_vehicle;
use backwatt_pilot::Pilot;
use backwatt_pilot::what_if::WhatIf;
use backwatt_schema::tables;
use backwatt_store::{Layout, Provenance, write_table};
use rayon::prelude::*;

use crate::stages::{read_samples, remove_absent, types};
use crate::{BackwattError, DisplayUnits, Event, Progress, WhatIfAnswers, speeds};

pub fn compare(
    pilot: &Pilot,
    layout: &Layout,
    vehicles: &[String],
    asked: &WhatIf,
    provenance: &Provenance,
    progress: Progress<'_>,
) -> Result<WhatIfAnswers, BackwattError> {
    let typed = types(pilot, vehicles)?;
    progress(Event::Stage { name: "what-if", steps: vehicles.len() });
    let settings = speeds::with_library(&pilot.replay, layout, &typed)?;
    let found = typed
        .par_iter()
        .map(|(vehicle, _, of)| {
            let name = pilot.type_of(vehicle).map_or("", |(name, _)| name);
            let (before, after) =
                asked.sides(name, of).map_err(|problem| BackwattError::Problems(vec![*problem]))?;
            let samples = read_samples(layout, vehicle)?;
            let batch = compare_vehicle(vehicle, &samples, &before, &after, &asked.change, &settings)?;
            let path = layout.vehicle_table(&tables::WHAT_IF, vehicle);
            write_table(&path, &tables::WHAT_IF, &batch, provenance)?;
            progress(Event::Step { what: (*vehicle).to_owned() });
            Ok(batch)
        })
        .collect::<Result<Vec<RecordBatch>, BackwattError>>()?;
    remove_absent(layout, &tables::WHAT_IF, vehicles)?;
    let metric = pilot.units == DisplayUnits::Metric;
    Ok(WhatIfAnswers::new(&pilot.name, metric, &asked.change.text, &found)?)
}
