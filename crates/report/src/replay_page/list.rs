//! The list of replay pages, and why these trips.

use arrow::array::RecordBatch;
use askama::Template;
use backwatt_schema::tables;

use super::facts::kwh;
use super::view::OfTrip;
use super::{Chosen, ReplayInput, Written, file};
use crate::ReportError;
use crate::figure::{Kind, figure, markup, name, unit};
use crate::shell::{self, Entry, Here, Site};

#[derive(Template)]
#[template(path = "replay_list.html")]
struct Body {
    rule: String,
    megabytes: String,
    distance_unit: String,
    rows: Vec<Row>,
}

struct Row {
    href: String,
    trip: String,
    cells: Vec<String>,
}

pub fn render(
    input: &ReplayInput,
    site: &Site,
    chosen: &Chosen,
    trips: &[(String, RecordBatch)],
    written: &[Written],
) -> Result<String, ReportError> {
    let mut rows = Vec::new();
    for page in written {
        let Some((_, batch)) = trips.iter().find(|(vehicle, _)| *vehicle == page.vehicle_id) else { continue };
        let trip = OfTrip::new(&tables::TRIPS, batch, &page.trip_id)?;
        let Some(row) = trip.rows.first().copied() else { continue };
        let number = |column| trip.number(column, row);
        let words = |column| -> Result<String, ReportError> {
            Ok(trip.text(column, row)?.map_or("–".to_owned(), name))
        };
        let metric = input.metric;
        let cells = [
            words("vehicle_id")?,
            words("service_day")?,
            words("route_id")?,
            figure(number("distance_m")?.unwrap_or(f64::NAN), Kind::Distance, 1, metric),
            number("energy_braking_kwh")?.map_or("–".to_owned(), |v| kwh(v, 2, metric)),
            words("braking_claim")?,
            words("evidence")?,
        ];
        let path = file(&page.trip_id);
        rows.push(Row {
            href: path.rsplit('/').next().unwrap_or(&path).to_owned(),
            trip: markup(&name(&page.trip_id)),
            cells: cells.iter().map(|cell| markup(cell)).collect(),
        });
    }
    let bytes: usize = written.iter().map(|page| page.bytes).sum();
    let body = Body {
        rule: chosen.rule(),
        megabytes: format!("{:.1}", bytes as f64 / 1e6),
        distance_unit: markup(&unit(Kind::Distance, input.metric)),
        rows,
    }
    .render()?;
    let here = Here { title: "Trips to replay", entry: Entry::Trips, depth: 1 };
    shell::page(site, here, &body, &[])
}
