//! Words of the report.

use askama::Template;

use crate::ReportError;

#[derive(Template)]
#[template(path = "glossary.html")]
struct Glossary;

pub fn body() -> Result<String, ReportError> {
    Ok(Glossary.render()?)
}
