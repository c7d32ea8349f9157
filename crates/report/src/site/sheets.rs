//! A page for each driver, to print and to talk over.

use askama::Template;

use super::{File, Replays, examples, methods, section};
use crate::ReportError;
use crate::answers::Answers;
use crate::chart::escape;
use crate::figure::{cut, markup, name};
use crate::shell::{Entry, Here, Site, page};
use crate::topics::{PEOPLE_NOTES, Person};

pub struct Sheet {
    driver: String,
    pub file: File,
}

#[derive(Template)]
#[template(path = "sheet.html")]
struct View {
    told: Vec<String>,
    habits: Vec<String>,
    steps: Vec<String>,
    notes: [&'static str; 3],
    grids: Vec<String>,
    allowed_for: String,
    exposure: String,
    examples: Vec<String>,
    raw: Option<[String; 4]>,
    method: String,
}

pub fn all(answers: &Answers, site: &Site, replays: &Replays) -> Result<Vec<Sheet>, ReportError> {
    let mut sheets = Vec::new();
    for (at, person) in answers.people.iter().enumerate() {
        let view = View {
            told: person.told.iter().map(|told| markup(told)).collect(),
            habits: person.habits.iter().map(|told| markup(told)).collect(),
            steps: person.steps.iter().map(|told| markup(told)).collect(),
            notes: PEOPLE_NOTES,
            grids: person.grids.iter().map(|grid| section::grid(grid, "../")).collect::<Result<_, _>>()?,
            allowed_for: markup(&person.allowed_for),
            exposure: markup(&person.exposure),
            examples: person.examples.iter().map(|told| examples::told(told, answers, replays)).collect(),
            raw: raw(answers, person),
            method: format!("../{}", methods::href("comparing-drivers.md")),
        };
        let title = format!("Coaching sheet: {}", cut(&person.driver, 40));
        let html = page(site, Here { title: &title, entry: Entry::Drivers, depth: 1 }, &view.render()?, &[])?;
        let path = format!("drivers/sheet-{:02}.html", at + 1);
        sheets.push(Sheet { driver: person.driver.clone(), file: File { path, bytes: html.into_bytes() } });
    }
    Ok(sheets)
}

/// Links to the sheets, as a section of the page of drivers.
pub fn list(sheets: &[Sheet]) -> String {
    let head = "<section id=\"sheets\"><h2>Coaching sheets</h2>";
    if sheets.is_empty() {
        return format!(
            "{head}<p class=\"missing\">No driver has enough driving for a sheet; the reasons stand above.</p></section>"
        );
    }
    let links = sheets
        .iter()
        .map(|sheet| format!("<li><a href=\"{}\">{}</a></li>", sheet.file.path, markup(&name(&sheet.driver))));
    format!(
        "{head}<p class=\"note\">A sheet for each driver, to print and to talk over: what stands out, what to try next, what was held equal, where to look, \
         and how to contest it. In the order of the alphabet.</p><ul class=\"columns\">{}</ul></section>",
        links.collect::<String>()
    )
}

/// What was driven, before anything is allowed for: distance, use with its interval, recapture with its interval, evidence.
fn raw(answers: &Answers, person: &Person) -> Option<[String; 4]> {
    use crate::figure::Kind;
    let group = answers.of("driver").find(|group| group.name == person.driver)?;
    let with = |column: &str, stem: &str, unit: &str, kind: Kind, digits: usize| {
        let range = group.range(stem, unit, kind, digits);
        let range = range.map_or(String::new(), |range| format!(" ({range}, 90 %)"));
        format!("{} {}{range}", group.shown(column, kind, digits), group.unit(kind))
    };
    let use_ = with("consumption_kwh_mi", "consumption", "kwh_mi", Kind::PerDistance, 3);
    let back = with("recapture_of_braking_frac", "recapture_of_braking", "frac", Kind::Share, 1);
    Some([
        markup(&format!("{} {}", group.shown("distance_mi", Kind::Distance, 0), group.unit(Kind::Distance))),
        markup(&use_),
        markup(&back),
        escape(&format!("{}; recovery {}", group.evidence, group.recapture_evidence)),
    ])
}
