//! How much of what is planned was driven.

use std::collections::{BTreeMap, BTreeSet};

use arrow::array::{Array, RecordBatch};
use backwatt_schema::{BatchBuilder, BatchError, BatchView, tables, text_at};

use super::days::VehicleDay;
use super::scope::Season;
use super::settings::PlanSettings;
use crate::tally::UNKNOWN;

const ALL: &str = "all";
/// Fewer vehicle-days than this say little of a cell. Common practice, no source.
const FEW_DAYS: usize = 5;

/// Quarters of the sheet's upper payload.
pub(super) fn payload_band(payload_kg: Option<f64>, full_kg: f64) -> String {
    let Some(payload) = payload_kg.filter(|_| full_kg > 0.0) else { return UNKNOWN.to_owned() };
    match payload / full_kg {
        share if share < 0.25 => "0 to 25 % of full",
        share if share < 0.5 => "25 to 50 % of full",
        share if share < 0.75 => "50 to 75 % of full",
        _ => "75 % of full and more",
    }
    .to_owned()
}

/// Route, season, band of temperature, band of payload; [`ALL`] stands for every one.
type Key = [String; 4];

#[derive(Default)]
struct Cell {
    days: BTreeSet<(String, String)>,
    distance_mi: f64,
    planned: Option<f64>,
}

/// Cells and their margins; `checks` is the plan check, whose open questions say how much more is needed.
pub fn coverage(
    days: &[VehicleDay],
    settings: &PlanSettings,
    checks: &RecordBatch,
) -> Result<RecordBatch, BatchError> {
    let mut cells: BTreeMap<Key, Cell> = BTreeMap::new();
    for day in days {
        let season = day.season.map_or("(undated)", Season::as_str);
        for ((route, band, load), distance_mi) in &day.cells {
            let full = [route.as_str(), season, band, load];
            for kept in [
                [0, 0, 0, 0],
                [1, 0, 0, 0],
                [0, 1, 0, 0],
                [1, 1, 0, 0],
                [0, 0, 1, 0],
                [0, 0, 0, 1],
                [0, 0, 1, 1],
                [1, 1, 1, 1],
            ] {
                let key = std::array::from_fn(|at| if kept[at] == 1 { full[at] } else { ALL }.to_owned());
                let cell = cells.entry(key).or_default();
                cell.days.insert((day.vehicle.clone(), day.day.clone()));
                cell.distance_mi += distance_mi;
            }
        }
    }
    for planned in &settings.planned {
        let season = planned.season.map(Season::as_str);
        let named = [planned.route.as_deref(), season, planned.temperature_band.as_deref(), None];
        let key = named.map(|name| name.unwrap_or(ALL).to_owned());
        if !cells.contains_key(&key) {
            // Planned in a combination that has no margin of its own: gather it.
            let gathered = gather(days, &key);
            cells.insert(key.clone(), gathered);
        }
        if let Some(cell) = cells.get_mut(&key) {
            cell.planned = Some(planned.share_frac);
        }
    }
    let open = open_questions(checks)?;
    build(&cells, &open)
}

fn gather(days: &[VehicleDay], key: &Key) -> Cell {
    let mut cell = Cell::default();
    for day in days {
        let season = day.season.map_or("(undated)", Season::as_str);
        for ((route, band, load), distance_mi) in &day.cells {
            let full = [route.as_str(), season, band, load];
            if key.iter().zip(full).all(|(wanted, name)| wanted == ALL || wanted == name) {
                cell.days.insert((day.vehicle.clone(), day.day.clone()));
                cell.distance_mi += distance_mi;
            }
        }
    }
    cell
}

/// An assumption without a verdict: route, season, days more, and which it is.
type Open = (String, String, Option<u64>, String);

fn open_questions(checks: &RecordBatch) -> Result<Vec<Open>, BatchError> {
    let view = BatchView::new(&tables::PLAN_CHECK, checks);
    let (routes, seasons) = (view.texts("route")?, view.texts("season")?);
    let (assumptions, types) = (view.texts("assumption")?, view.texts("vehicle_type")?);
    let (verdicts, more) = (view.texts("verdict")?, view.counts("more_vehicle_days")?);
    let vehicles = view.counts("more_vehicles")?;
    let row = |row: usize| {
        let all = |text: Option<&str>| text.unwrap_or(ALL).to_owned();
        let more = more.is_valid(row).then(|| more.value(row));
        let of = text_at(types, row).map_or(String::new(), |of| format!(" of {of}"));
        let needs = match (more, vehicles.is_valid(row)) {
            (Some(days), _) => format!("{days} more vehicle-days"),
            (None, true) => format!("{} more vehicles", vehicles.value(row)),
            (None, false) => "neither days nor vehicles bring one".to_owned(),
        };
        let text = format!("{}{of}: {needs}", assumptions.value(row));
        (all(text_at(routes, row)), all(text_at(seasons, row)), more, text)
    };
    Ok((0..view.rows()).filter(|at| verdicts.value(*at) == "cannot tell").map(row).collect())
}

fn build(cells: &BTreeMap<Key, Cell>, open: &[Open]) -> Result<RecordBatch, BatchError> {
    let whole = cells.get(&[ALL; 4].map(str::to_owned)).map_or(0.0, |cell| cell.distance_mi);
    let share = |cell: &Cell| if whole > 0.0 { cell.distance_mi / whole } else { 0.0 };
    let mut rows: Vec<(&Key, &Cell)> = cells.iter().collect();
    // Margins first, each the coarser the earlier.
    rows.sort_by_key(|(key, _)| key.iter().filter(|name| *name != ALL).count());
    let asked = |key: &Key| {
        let is_margin = key[2] == ALL && key[3] == ALL;
        open.iter().filter(|of| is_margin && of.0 == key[0] && of.1 == key[1]).collect::<Vec<_>>()
    };
    let texts: Vec<String> = rows
        .iter()
        .map(|(key, _)| asked(key).iter().map(|of| of.3.as_str()).collect::<Vec<_>>().join("; "))
        .collect();
    let note = |cell: &Cell| match (cell.distance_mi > 0.0, cell.days.len()) {
        (false, _) => "planned and not driven",
        (true, days) if days < FEW_DAYS => "few days",
        _ => "",
    };
    let vehicles =
        |cell: &Cell| cell.days.iter().map(|(vehicle, _)| vehicle).collect::<BTreeSet<_>>().len() as u64;
    let name = |at: usize| rows.iter().map(move |(key, _)| Some(key[at].as_str())).collect::<Vec<_>>();
    BatchBuilder::new(&tables::COVERAGE)
        .text("route", name(0))
        .text("season", name(1))
        .text("temperature_band", name(2))
        .text("payload_band", name(3))
        .count("vehicle_days", rows.iter().map(|(_, cell)| cell.days.len() as u64))
        .count("vehicles", rows.iter().map(|(_, cell)| vehicles(cell)))
        .number("distance_mi", rows.iter().map(|(_, cell)| cell.distance_mi))
        .number("distance_share_frac", rows.iter().map(|(_, cell)| share(cell)))
        .number("planned_share_frac", rows.iter().map(|(_, cell)| cell.planned))
        .number(
            "represented_frac",
            rows.iter().map(|(_, cell)| cell.planned.filter(|p| *p > 0.0).map(|p| (share(cell) / p).min(1.0))),
        )
        .count("more_vehicle_days", rows.iter().map(|(key, _)| asked(key).iter().filter_map(|of| of.2).max()))
        .text("undecided", texts.iter().map(|text| Some(text.as_str()).filter(|text| !text.is_empty())))
        .text("note", rows.iter().map(|(_, cell)| Some(note(cell))))
        .finish()
}
