//! One question as a section of a page.

use askama::Template;

use super::methods;
use crate::ReportError;
use crate::answers::Answers;
use crate::figure::markup;
use crate::topics::{Cell, Drawing, Grid, Topic};

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
    rows: Vec<Vec<CellView>>,
    remarks: Vec<String>,
    /// From the page's folder to the report's.
    root: &'static str,
    has_json: bool,
    has_shape: bool,
}

struct CellView {
    markup: String,
    is_words: bool,
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
    let cell = |cell: &Cell| CellView { markup: markup(&cell.text), is_words: cell.is_words };
    GridView {
        grid,
        caption: markup(&grid.caption),
        heads: grid
            .heads
            .iter()
            .map(|head| CellView { markup: markup(&head.text), is_words: head.is_words })
            .collect(),
        rows: grid.rows.iter().map(|row| row.iter().map(cell).collect()).collect(),
        remarks: grid.remarks.iter().map(|remark| markup(remark)).collect(),
        root,
        has_json: true,
        has_shape: crate::export::SHAPED.contains(&grid.table),
    }
}
