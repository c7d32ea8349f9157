//! The trips that were driven, with one thing changed: level, load, weather, packs, speed.

use std::collections::BTreeMap;

use backwatt_schema::tables;

use crate::chart::clean;
use crate::differences::{Difference, Words, differences};
use crate::figure::{self, Kind, plain};

use super::grid::{Grid, figure, page_only, words};
use super::rows::{Read, Row, UNKNOWN};
use super::units::Units;
use super::{Drawing, Tables, Topic, grid};

const COLUMNS: [grid::Column; 11] = [
    words("type", |row, _| row.words("vehicle_type")),
    words("changed to", changed),
    page_only(figure("driven, {kWh/mile}", |row, _| {
        row.shown("consumption_driven_kwh_mi", Kind::PerDistance, 3)
    })),
    figure("then, {kWh/mile}", |row, _| row.shown("consumption_kwh_mi", Kind::PerDistance, 3)),
    figure("change, kWh", |row, _| row.fixed("energy_change_kwh", 1)),
    figure("bounds, kWh", |row, _| {
        row.range(["energy_change_low_kwh", "energy_change_high_kwh"], Kind::Energy, 1)
    }),
    page_only(figure("more recovered, kWh", |row, _| row.fixed("energy_recovered_change_kwh", 1))),
    page_only(figure("bounds, kWh", |row, _| {
        row.range(["energy_recovered_change_low_kwh", "energy_recovered_change_high_kwh"], Kind::Energy, 1)
    })),
    page_only(figure("longer, h", |row, _| row.shown("duration_change_s", Kind::Hours, 1))),
    page_only(figure("trips", |row, _| row.whole("trips"))),
    words("evidence", |row, _| row.words("evidence")),
];

fn changed(row: &Row<'_>, units: Units) -> Read<String> {
    changed_in(row, units.metric)
}

/// "level high", "payload 2,200 lb", "air 14 °F": the one thing a row sets.
fn changed_in(row: &Row<'_>, metric: bool) -> Read<String> {
    let kinds: [(&str, &str, Kind, usize); 3] = [
        ("payload", "payload_kg", Kind::Mass, 0),
        ("air", "temperature_ambient_k", Kind::Temperature, 0),
        ("at most", "speed_cap_m_s", Kind::Speed, 0),
    ];
    for (word, column, kind, digits) in kinds {
        if let Some(value) = row.number(column)? {
            let shown = figure::figure(kind.si_of(column, value), kind, digits, metric);
            return Ok(format!("{word} {shown} {}", figure::unit(kind, metric)));
        }
    }
    if row.count("packs")?.is_some() {
        return Ok(format!("{} packs", row.whole("packs")?));
    }
    match row.words("regen_level")?.as_str() {
        UNKNOWN => row.words("scenario"),
        level => Ok(format!("level {level}")),
    }
}

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "otherwise",
        "The same trips, one thing changed",
        "What would another level, payload, temperature, pack more or speed cap have done on the same trips?",
        "what-if.md",
    );
    let rows = tables.rows(&tables::SAME_TRIPS);
    if rows.is_empty() {
        topic.miss(
            "No trips of a known vehicle type were driven, so none could be modelled with something changed.",
        );
        return Ok(topic);
    }
    let mut of_type: BTreeMap<&str, Vec<&Row<'_>>> = BTreeMap::new();
    for row in &rows {
        of_type.entry(row.text("vehicle_type")?).or_default().push(row);
    }
    for (vehicle_type, rows) in &of_type {
        topic.tell(sentence(rows, units)?);
        topic.drawings.extend(drawing(vehicle_type, rows)?);
    }
    topic.notes.push(
        "Model against model over the roads and stops that were driven, standing within trips included. Bounds: what the vehicle data's ends make of it, no probability. A level asks for the pedals of a \
         driver used to it; what letting the truck roll is worth, and any other change, replay --with shows, one change or several at a time. Temperature: air, cab climate and air density; tyres only in the bounds \
         where the vehicle data does not say. Weather nobody drove in is the model's alone. Which values: [plan.hard_days] in the pilot file.",
    );
    topic.grids.push(Grid::new(
        "The same trips, one thing changed",
        &tables::SAME_TRIPS,
        &rows,
        &COLUMNS,
        units,
    )?);
    Ok(topic)
}

/// The change in energy under each change, from least to most.
fn drawing(vehicle_type: &str, rows: &[&Row<'_>]) -> Read<Option<Drawing>> {
    let mut drawn = Vec::new();
    for row in rows {
        let columns = ["energy_change_low_kwh", "energy_change_kwh", "energy_change_high_kwh"];
        let [Some(low), Some(middle), Some(high)] =
            [row.number(columns[0])?, row.number(columns[1])?, row.number(columns[2])?]
        else {
            continue;
        };
        let driven = row.number("energy_driven_kwh")?.filter(|kwh| *kwh > 0.0);
        let told = |metric: bool| -> Read<String> { Ok(plain(&changed_in(row, metric)?)) };
        drawn.push(Difference {
            label: told(false)?,
            label_metric: Some(told(true)?),
            values: [low, middle, high],
            cells: columns.map(|column| row.cell(column)),
            evidence: row.text("evidence")?.to_owned(),
            rests: driven.map_or(String::new(), |kwh| format!("{:+.1} %", 100.0 * middle / kwh)),
        });
    }
    drawn.sort_by(|a, b| a.values[1].total_cmp(&b.values[1]));
    let words = Words { zero: "as driven", unit: format!("{}, kWh", clean(vehicle_type)), open: "either way" };
    let title = format!("{}: change in energy on the same trips", clean(vehicle_type));
    Ok((!drawn.is_empty()).then(|| Drawing {
        caption: "What one thing changed would have taken more or less on the same trips, in kWh over all of them and in % of what they took as driven; lines are \
                  bounds over the ends of the vehicle data, no probability. Modelled; whose trips stands below the chart.",
        svg: differences(&title, &words, &drawn),
        is_half: false,
        is_detail: false,
    }))
}

/// What every change would have taken, of one type; with the change and its bounds where it is the least or the most.
fn sentence(rows: &[&Row<'_>], units: Units) -> Read<String> {
    let mut by_change = Vec::new();
    for row in rows {
        by_change.push((row.number("energy_change_kwh")?.unwrap_or(0.0), *row));
    }
    by_change.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut parts = Vec::new();
    for (at, (_, row)) in by_change.iter().enumerate() {
        let told =
            format!("{} {}", changed(row, units)?, row.shown("consumption_kwh_mi", Kind::PerDistance, 3)?);
        let is_end = at == 0 || at + 1 == by_change.len();
        parts.push(if is_end {
            let bounds = row.range(["energy_change_low_kwh", "energy_change_high_kwh"], Kind::Energy, 0)?;
            format!("{told} (change {} kWh, bounds {bounds})", row.fixed("energy_change_kwh", 0)?)
        } else {
            told
        });
    }
    let first = rows[0];
    Ok(format!(
        "{}: the {} trips as driven take {} {} by the model, stops included. With one thing changed, from least to most: {} (modelled).",
        first.words("vehicle_type")?,
        first.whole("trips")?,
        first.shown("consumption_driven_kwh_mi", Kind::PerDistance, 3)?,
        units.per_distance(),
        parts.join("; "),
    ))
}
