//! Every trip: on one page where they are few, else on a page for each vehicle.

use std::collections::BTreeMap;

use askama::Template;

use super::{File, Replays, groups};
use crate::ReportError;
use crate::answers::{Answers, Group, UNKNOWN};
use crate::figure::{Kind, counted, cut, markup, name};
use crate::shell::{Entry, Here, Site, page};

/// More trips than these are looked for by vehicle.
const ONE_PAGE: usize = 60;

pub struct Trips {
    pub section: String,
    /// One page for each vehicle.
    pub files: Vec<File>,
}

#[derive(Template)]
#[template(path = "trips.html")]
struct View {
    trips: String,
    unit: String,
    rows: Vec<Row>,
    has_replays: bool,
}

/// A vehicle, as markup.
struct Row {
    path: String,
    vehicle: String,
    trips: String,
    miles: String,
    replayed: String,
}

pub fn all(answers: &Answers, site: &Site, replays: &Replays) -> Result<Trips, ReportError> {
    if !answers.taken_out.is_empty() {
        let section = "<section id=\"trip\"><p class=\"missing\">Trips are not shown one by one in a copy to share: a trip is a moment of \
            somebody's day.</p></section>";
        return Ok(Trips { section: section.to_owned(), files: Vec::new() });
    }
    if answers.of("trip").count() <= ONE_PAGE {
        return Ok(Trips { section: groups::section(answers, "trip", replays)?, files: Vec::new() });
    }
    by_vehicle(answers, site, replays)
}

/// Trips of one vehicle by service day, which stand together; those without one first.
fn by_day<'a>(answers: &Answers, trips: &[&'a Group], replays: &Replays) -> Vec<(String, Vec<&'a Group>)> {
    let mut days: BTreeMap<&str, Vec<&Group>> = BTreeMap::new();
    for trip in trips {
        let day = answers.trip_days.get(&trip.name).map_or("", String::as_str);
        days.entry(day).or_default().push(trip);
    }
    let told = |(day, trips): (&str, Vec<&'a Group>)| {
        let miles: f64 = trips.iter().filter_map(|trip| trip.figure("distance_mi")).sum();
        let replayed = trips.iter().filter(|trip| replays.contains_key(&trip.name)).count();
        let replayed = if replayed == 0 { String::new() } else { format!(", {replayed} to replay") };
        let several = if trips.len() == 1 { "" } else { "s" };
        let summary = format!(
            "{}: {} trip{several}, {} {}{replayed}",
            if day.is_empty() { "no date" } else { day },
            trips.len(),
            trips[0].other(Kind::Distance.si_of("_mi", miles), Kind::Distance, 1),
            trips[0].unit(Kind::Distance),
        );
        (markup(&summary), trips)
    };
    days.into_iter().map(told).collect()
}

fn by_vehicle(answers: &Answers, site: &Site, replays: &Replays) -> Result<Trips, ReportError> {
    let mut vehicles: BTreeMap<&str, Vec<&Group>> = BTreeMap::new();
    for trip in answers.of("trip") {
        let vehicle = answers.trip_vehicles.get(&trip.name).map_or("", String::as_str);
        vehicles.entry(vehicle).or_default().push(trip);
    }
    let (mut rows, mut files, mut unit) = (Vec::new(), Vec::new(), String::new());
    for (at, (vehicle, trips)) in vehicles.iter().enumerate() {
        let path = format!("trips/vehicle-{:02}.html", at + 1);
        let body = groups::table(answers, "trip", &by_day(answers, trips, replays), replays, "../")?;
        let title = format!("Trips of {}", cut(vehicle, 40));
        let html = page(site, Here { title: &title, entry: Entry::Trips, depth: 1 }, &body, &[])?;
        let whole = answers.of("vehicle").find(|group| group.name == *vehicle);
        rows.push(Row {
            path: path.clone(),
            vehicle: markup(&name(vehicle)),
            trips: counted(trips.len() as u64),
            miles: markup(
                &whole.map_or(UNKNOWN.to_owned(), |group| group.shown("distance_mi", Kind::Distance, 0)),
            ),
            replayed: counted(trips.iter().filter(|trip| replays.contains_key(&trip.name)).count() as u64),
        });
        unit = markup(&trips[0].unit(Kind::Distance));
        files.push(File { path, bytes: html.into_bytes() });
    }
    let trips = counted(answers.of("trip").count() as u64);
    Ok(Trips { section: View { trips, unit, rows, has_replays: !replays.is_empty() }.render()?, files })
}
