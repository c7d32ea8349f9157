//! A what-if on a terminal: the same trips, as driven and changed.

use std::fmt::Write as _;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchError, BatchView, METRES_PER_MILE, number_at, tables, text_at};
use comfy_table::{CellAlignment, Table, presets};
use serde::Serialize;

use crate::text::{shortened, wrapped};

/// Sums over the trips of one vehicle, or of all. Energies in kWh, both sides modelled.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct WhatIfSums {
    pub vehicle: String,
    pub trips: u64,
    pub distance_mi: f64,
    pub hours_driven: f64,
    pub hours_changed: f64,
    pub braking_driven_kwh: f64,
    pub braking_changed_kwh: f64,
    pub recovered_driven_kwh: f64,
    pub recovered_changed_kwh: f64,
    /// Changed less driven, over the sheet's ends.
    pub recovered_change_kwh: (f64, f64),
    pub net_driven_kwh: f64,
    pub net_changed_kwh: f64,
    pub net_change_kwh: (f64, f64),
    /// Bound; `None` where no stronger level was asked for.
    pub lost_coasting_kwh: Option<f64>,
    pub infeasible_s: f64,
    pub infeasible_trips: u64,
    pub empty_trips: u64,
    /// Usable capacity over consumption: as driven and changed, where a capacity is stated.
    pub range_mi: Option<(f64, f64)>,
}

/// What came out of a what-if.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WhatIfAnswers {
    pub pilot: String,
    pub change: String,
    pub kinematics: String,
    #[serde(skip)]
    pub metric: bool,
    pub all: WhatIfSums,
    pub vehicles: Vec<WhatIfSums>,
}

impl WhatIfAnswers {
    pub fn new(pilot: &str, metric: bool, change: &str, batches: &[RecordBatch]) -> Result<Self, BatchError> {
        let vehicles: Vec<WhatIfSums> = batches
            .iter()
            .map(|batch| sums(&BatchView::new(&tables::WHAT_IF, batch)))
            .collect::<Result<_, _>>()?;
        let mut all = WhatIfSums { vehicle: "all".to_owned(), ..WhatIfSums::default() };
        vehicles.iter().for_each(|one| all.add(one));
        // Ranges of different batteries have no sum; one vehicle's is everybody's.
        all.range_mi = if vehicles.len() == 1 { vehicles[0].range_mi } else { None };
        let kinematics = batches.iter().find_map(|batch| {
            text_at(BatchView::new(&tables::WHAT_IF, batch).texts("kinematics").ok()?, 0).map(str::to_owned)
        });
        Ok(Self {
            pilot: pilot.to_owned(),
            change: change.to_owned(),
            kinematics: kinematics.unwrap_or_else(|| "as driven".to_owned()),
            metric,
            all,
            vehicles: vehicles.into_iter().filter(|one| one.trips > 0).collect(),
        })
    }
}

fn sums(view: &BatchView<'_>) -> Result<WhatIfSums, BatchError> {
    let mut sums = WhatIfSums::default();
    let vehicles = view.texts("vehicle_id")?;
    let column = |name: &str| view.numbers(name);
    let (distance, infeasible) = (column("distance_m")?, column("infeasible_s")?);
    let (lost, least) = (column("energy_lost_coasting_kwh")?, column("soc_least_changed_frac")?);
    let (range_driven, used) = (column("range_driven_mi")?, column("consumption_driven_kwh_mi")?);
    let (range_changed, used_changed) = (column("range_changed_mi")?, column("consumption_changed_kwh_mi")?);
    let mut capacities = None;
    for row in 0..view.rows() {
        let at =
            |name: &str| -> Result<f64, BatchError> { Ok(number_at(view.numbers(name)?, row).unwrap_or(0.0)) };
        sums.vehicle = vehicles.value(row).to_owned();
        let one = WhatIfSums {
            trips: 1,
            distance_mi: number_at(distance, row).unwrap_or(0.0) / METRES_PER_MILE,
            hours_driven: at("duration_driven_s")? / 3600.0,
            hours_changed: at("duration_changed_s")? / 3600.0,
            braking_driven_kwh: at("energy_braking_driven_kwh")?,
            braking_changed_kwh: at("energy_braking_changed_kwh")?,
            recovered_driven_kwh: at("energy_recovered_driven_kwh")?,
            recovered_changed_kwh: at("energy_recovered_changed_kwh")?,
            recovered_change_kwh: (
                at("energy_recovered_change_low_kwh")?,
                at("energy_recovered_change_high_kwh")?,
            ),
            net_driven_kwh: at("energy_net_driven_kwh")?,
            net_changed_kwh: at("energy_net_changed_kwh")?,
            net_change_kwh: (at("energy_net_change_low_kwh")?, at("energy_net_change_high_kwh")?),
            lost_coasting_kwh: number_at(lost, row),
            infeasible_s: number_at(infeasible, row).unwrap_or(0.0),
            infeasible_trips: u64::from(number_at(infeasible, row).is_some_and(|s| s > 0.0)),
            empty_trips: u64::from(number_at(least, row).is_some_and(|soc| soc <= 0.0)),
            ..WhatIfSums::default()
        };
        let capacity =
            |range, used| number_at(range, row).zip(number_at(used, row)).map(|(range, used)| range * used);
        capacities =
            capacities.or_else(|| capacity(range_driven, used).zip(capacity(range_changed, used_changed)));
        sums.add(&one);
    }
    sums.range_mi = capacities.and_then(|(driven, changed)| {
        let positive = sums.net_driven_kwh > 0.0 && sums.net_changed_kwh > 0.0;
        positive.then(|| {
            (driven * sums.distance_mi / sums.net_driven_kwh, changed * sums.distance_mi / sums.net_changed_kwh)
        })
    });
    Ok(sums)
}

impl WhatIfSums {
    fn add(&mut self, other: &WhatIfSums) {
        self.trips += other.trips;
        self.distance_mi += other.distance_mi;
        self.hours_driven += other.hours_driven;
        self.hours_changed += other.hours_changed;
        self.braking_driven_kwh += other.braking_driven_kwh;
        self.braking_changed_kwh += other.braking_changed_kwh;
        self.recovered_driven_kwh += other.recovered_driven_kwh;
        self.recovered_changed_kwh += other.recovered_changed_kwh;
        self.recovered_change_kwh.0 += other.recovered_change_kwh.0;
        self.recovered_change_kwh.1 += other.recovered_change_kwh.1;
        self.net_driven_kwh += other.net_driven_kwh;
        self.net_changed_kwh += other.net_changed_kwh;
        self.net_change_kwh.0 += other.net_change_kwh.0;
        self.net_change_kwh.1 += other.net_change_kwh.1;
        self.lost_coasting_kwh = match (self.lost_coasting_kwh, other.lost_coasting_kwh) {
            (None, more) | (more, None) => more,
            (Some(a), Some(b)) => Some(a + b),
        };
        self.infeasible_s += other.infeasible_s;
        self.infeasible_trips += other.infeasible_trips;
        self.empty_trips += other.empty_trips;
    }
}

/// The whole comparison, 80 columns wide.
pub fn what_if_text(answers: &WhatIfAnswers) -> String {
    let all = &answers.all;
    let mut out = format!("{}: what if {}\n\n", answers.pilot, answers.change);
    let mut say = |text: String| {
        let _ = writeln!(out, "{}\n", wrapped(&text));
    };
    say(format!(
        "The same {} trips, model against model (evidence: modelled). {}",
        all.trips,
        if answers.kinematics == "re-timed" {
            "The speed cap re-times them over the same road; otherwise speeds stay as driven."
        } else {
            "Speeds stay as driven: what drivers would do otherwise is not in it."
        }
    ));
    let (scale, unit, name) = if answers.metric { (1.609_344, "km", "km") } else { (1.0, "mi", "mile") };
    let distance = all.distance_mi * scale;
    let per = |kwh: f64| if distance > 0.0 { kwh / distance } else { 0.0 };
    say(format!(
        "Net use at the battery: {:.1} kWh as driven, {:.1} kWh changed: {:+.1} kWh ({:+.1} to {:+.1} over the sheet's ends), \
         or {:.3} against {:.3} kWh/{name} over {:.0} {unit}.",
        all.net_driven_kwh,
        all.net_changed_kwh,
        all.net_changed_kwh - all.net_driven_kwh,
        all.net_change_kwh.0,
        all.net_change_kwh.1,
        per(all.net_driven_kwh),
        per(all.net_changed_kwh),
        distance,
    ));
    say(format!(
        "Into the battery while braking: {:.1} kWh as driven, {:.1} kWh changed: {:+.1} kWh ({:+.1} to {:+.1} over the sheet's ends), of \
         {:.1} and {:.1} kWh of braking energy at the wheels.",
        all.recovered_driven_kwh,
        all.recovered_changed_kwh,
        all.recovered_changed_kwh - all.recovered_driven_kwh,
        all.recovered_change_kwh.0,
        all.recovered_change_kwh.1,
        all.braking_driven_kwh,
        all.braking_changed_kwh,
    ));
    if let Some(lost) = all.lost_coasting_kwh {
        say(format!(
            "If drivers let the stronger level slow the truck where they coasted before, stops would cost up to {lost:.1} kWh more: coasting beats \
             recovering and accelerating again. Levels are the driver's choice: on slippery roads the manufacturer's instruction decides."
        ));
    }
    if answers.kinematics == "re-timed" {
        say(format!("Time: {:.1} h as driven, {:.1} h changed.", all.hours_driven, all.hours_changed));
    }
    if all.infeasible_s > 0.0 {
        say(format!(
            "For {:.0} s (trips: {}) the change asks more of the motor than the sheet's limits and than was ever driven: those speeds \
             could not have been held.",
            all.infeasible_s, all.infeasible_trips
        ));
    }
    if all.empty_trips > 0 {
        say(format!("The battery would have run empty in trips: {}.", all.empty_trips));
    }
    out.push_str(&table(answers, scale, name));
    out
}

fn table(answers: &WhatIfAnswers, scale: f64, name: &str) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header([
        "vehicle",
        "trips",
        "net kWh",
        "change",
        "recovered",
        "change",
        &format!("range {name}"),
        "change",
    ]);
    for one in &answers.vehicles {
        let range = one.range_mi.map(|(driven, changed)| (driven * scale, changed * scale));
        table.add_row(vec![
            shortened(&one.vehicle, 16),
            one.trips.to_string(),
            format!("{:.1}", one.net_driven_kwh),
            format!("{:+.1}", one.net_changed_kwh - one.net_driven_kwh),
            format!("{:.1}", one.recovered_driven_kwh),
            format!("{:+.1}", one.recovered_changed_kwh - one.recovered_driven_kwh),
            range.map_or("-".to_owned(), |(driven, _)| format!("{driven:.0}")),
            range.map_or("-".to_owned(), |(driven, changed)| format!("{:+.0}", changed - driven)),
        ]);
    }
    for at in 1..8 {
        if let Some(column) = table.column_mut(at) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    let lines: Vec<String> = table.lines().map(|line| line.trim_end().to_owned()).collect();
    format!("{}\n", lines.join("\n"))
}
