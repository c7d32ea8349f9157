//! The report as a folder of pages that open from a disk.
//!
//! Deliberately absent: any figure that is reckoned here. Pages show what [`Answers`] holds.

mod examples;
mod glance;
mod glossary;
mod groups;
mod methods;
mod overview;
mod regen;
mod section;
mod sheets;
mod steps;
mod trips;
mod trust;

use std::collections::BTreeMap;

use crate::ReportError;
use crate::answers::Answers;
use crate::shell::{Entry, Here, Site, page};

/// A file of the report's folder.
pub struct File {
    pub path: String,
    pub bytes: Vec<u8>,
}

/// Pages that replay a trip, by trip: the path below the report's folder.
pub type Replays = BTreeMap<String, String>;

/// Every page, with the pictures of the method.
pub fn files(answers: &Answers, site: &Site, replays: &Replays) -> Result<Vec<File>, ReportError> {
    let shell = |entry: Entry, title: &str, sections: &[String]| -> Result<File, ReportError> {
        let body = format!("{}{}", contents(sections), sections.concat());
        let html = page(site, Here { title, entry, depth: 0 }, &body, &[])?;
        Ok(File { path: entry.file().to_owned(), bytes: html.into_bytes() })
    };
    let topic = |id: &str| section::topic(answers, id);
    let groups = |grouping: &str| groups::section(answers, grouping, replays);
    let sheets = sheets::all(answers, site, replays)?;
    let trips = trips::all(answers, site, replays)?;
    let mut files = vec![
        shell(Entry::Overview, "What braking gave back", &[overview::body(answers)?])?,
        shell(
            Entry::Regen,
            "Regen: where the braking energy went",
            &[
                regen::cascade(answers)?,
                regen::ratios(answers)?,
                topic("levels")?,
                topic("otherwise")?,
                groups(answers.level_grouping())?,
            ],
        )?,
        shell(
            Entry::Use,
            "Energy use",
            &[groups("vehicle")?, groups("temperature_band")?, topic("time")?, groups("service_day")?],
        )?,
        shell(Entry::Routes, "Routes and the map", &[topic("routes")?, groups("route")?])?,
        shell(Entry::Drivers, "Drivers", &[topic("coaching")?, sheets::list(&sheets), groups("driver")?])?,
        shell(Entry::Plan, "The plan against the pilot", &[topic("plan")?, topic("coverage")?])?,
        shell(
            Entry::Packs,
            "Packs, charging and climate",
            &[topic("packs")?, topic("charging")?, topic("climate")?],
        )?,
        shell(Entry::Trips, "Trips", &[trips.section])?,
        shell(
            Entry::Trust,
            "What the logs are worth",
            &[
                trust::taken_out(answers),
                trust::logs(answers)?,
                trust::files(answers)?,
                topic("logs")?,
                trust::assumptions(answers)?,
            ],
        )?,
        shell(Entry::Methods, "How it is computed", &[methods::list()])?,
        shell(Entry::Glossary, "Glossary", &[glossary::body()?])?,
    ];
    files.extend(sheets.into_iter().map(|sheet| sheet.file));
    files.extend(trips.files);
    files.extend(methods::files(site)?);
    Ok(files)
}

/// Links to the sections of a page that has several.
fn contents(sections: &[String]) -> String {
    let mut links = Vec::new();
    for section in sections {
        let id = section.split_once("<section id=\"").and_then(|(_, rest)| rest.split_once('"'));
        let heading = section.split_once("<h2>").and_then(|(_, rest)| rest.split_once("</h2>"));
        if let (Some((id, _)), Some((heading, _))) = (id, heading) {
            links.push(format!("<li><a href=\"#{id}\">{heading}</a></li>"));
        }
    }
    if links.len() < 2 {
        return String::new();
    }
    format!("<nav class=\"contents\" aria-label=\"On this page\"><ul>{}</ul></nav>", links.concat())
}
