//! One question as a section of a page.

use askama::Template;

use super::methods;
use crate::ReportError;
use crate::answers::Answers;
use crate::figure::markup;
use crate::topics::{Cell, Drawing, Grid, Head, Topic};

#[derive(Template)]
#[template(path = "topic.html")]
struct Section<'a> {
    topic: &'a Topic,
    told: Vec<String>,
    missing: Vec<String>,
    grids: Vec<GridView<'a>>,
    drawings: &'a [Drawing],
    method: String,
    method_title: &'static str,
}

#[derive(Template)]
#[template(path = "grid.html")]
struct GridView<'a> {
    grid: &'a Grid,
    caption: String,
    heads: Vec<CellView>,
    /// Rows that share what is told once above them; a single part without a heading where nothing is shared.
    parts: Vec<PartView>,
    remarks: Vec<String>,
    /// From the page's folder to the report's.
    root: &'static str,
    has_json: bool,
    has_shape: bool,
}

struct PartView {
    heading: String,
    rows: Vec<Vec<CellView>>,
}

struct CellView {
    markup: String,
    is_words: bool,
    notes: String,
}

/// The section of a topic; nothing where there is none of this name.
pub fn topic(answers: &Answers, id: &str) -> Result<String, ReportError> {
    let Some(topic) = answers.topics.iter().find(|topic| topic.id == id) else { return Ok(String::new()) };
    let marked = |told: &[String]| told.iter().map(|told| markup(told)).collect();
    let section = Section {
        topic,
        told: marked(&topic.answer),
        missing: marked(&topic.missing),
        grids: topic.grids.iter().map(|grid| view(grid, "")).collect(),
        drawings: &topic.drawings,
        method: methods::href(topic.method),
        method_title: methods::title(topic.method),
    };
    Ok(section.render()?)
}

/// A table by itself, on a page in a folder of its own.
pub fn grid(grid: &Grid, root: &'static str) -> Result<String, ReportError> {
    Ok(view(grid, root).render()?)
}

fn view<'a>(grid: &'a Grid, root: &'static str) -> GridView<'a> {
    let of_page = || grid.heads.iter().filter(|head| !head.is_shared);
    let head =
        |head: &Head| CellView { markup: markup(&head.text), is_words: head.is_words, notes: String::new() };
    GridView {
        grid,
        caption: markup(&grid.caption),
        heads: of_page().map(head).collect(),
        parts: parts(grid),
        remarks: grid.remarks.iter().map(|remark| markup(remark)).collect(),
        root,
        has_json: true,
        has_shape: crate::export::SHAPED.contains(&grid.table),
    }
}

/// Rows in their order, cut wherever what they share changes.
fn parts(grid: &Grid) -> Vec<PartView> {
    let mut parts: Vec<PartView> = Vec::new();
    for row in &grid.rows {
        let (shared, own): (Vec<_>, Vec<_>) = grid.heads.iter().zip(row).partition(|(head, _)| head.is_shared);
        let heading = shared.iter().map(|(_, cell)| markup(&cell.text)).collect::<Vec<_>>().join("; ");
        let cells = own.into_iter().map(|(_, cell)| filled(cell)).collect();
        match parts.last_mut() {
            Some(last) if last.heading == heading => last.rows.push(cells),
            _ => parts.push(PartView { heading, rows: vec![cells] }),
        }
    }
    parts
}

fn filled(cell: &Cell) -> CellView {
    let notes: Vec<String> = cell.notes.iter().map(ToString::to_string).collect();
    CellView { markup: markup(&cell.text), is_words: cell.is_words, notes: notes.join(", ") }
}
