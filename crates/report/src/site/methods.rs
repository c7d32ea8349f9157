//! The method pages of the handbook, shipped with every report: "how was this computed" has to lead somewhere.

use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd, html};

use super::File;
use crate::ReportError;
use crate::shell::{Asset, Entry, Here, Site, page};

macro_rules! handbook {
    ($($name:literal),* $(,)?) => {
        [$(($name, include_str!(concat!("../../../../notebooks-docs/method/", $name)))),*]
    };
}

const PAGES: [(&str, &str); 13] = handbook![
    "ledger.md",
    "smoothing.md",
    "sparse-logs.md",
    "evidence.md",
    "inference.md",
    "estimation-on-real-logs.md",
    "study.md",
    "what-if.md",
    "routes.md",
    "comparing-drivers.md",
    "plan-and-packs.md",
    "charge-sessions.md",
    "sharing.md",
];

const PICTURES: [(&str, &str); 4] =
    handbook!["cascade.svg", "passenger-ev-power.svg", "smoothed-stop.svg", "trolleybus-braking.svg"];

/// Of a page of the handbook, from the report's folder.
pub fn href(name: &str) -> String {
    format!("methods/{}.html", name.trim_end_matches(".md"))
}

/// The first heading of a page of the handbook.
pub fn title(name: &str) -> &'static str {
    let text = PAGES.iter().find(|(known, _)| *known == name).map_or("", |(_, text)| *text);
    text.lines().find_map(|line| line.strip_prefix("# ")).unwrap_or_default()
}

pub fn list() -> String {
    let links = PAGES.iter().map(|(name, _)| {
        format!("<li><a href=\"{}\">{}</a></li>", href(name), crate::chart::escape(title(name)))
    });
    format!(
        "<section id=\"methods\"><p>Equations, sources and what was checked against what. These pages belong to the version of the \
         program that made this report.</p><ul>{}</ul></section>",
        links.collect::<String>()
    )
}

pub fn files(site: &Site) -> Result<Vec<File>, ReportError> {
    let mut files = Vec::new();
    for (name, text) in PAGES {
        let here = Here { title: title(name), entry: Entry::Methods, depth: 1 };
        let body = format!("<article class=\"handbook\">{}</article>", rendered(text));
        let html = page(site, here, &body, &[Asset::Pictures])?;
        files.push(File { path: href(name), bytes: html.into_bytes() });
    }
    for (name, svg) in PICTURES {
        files.push(File { path: format!("methods/{name}"), bytes: svg.as_bytes().to_vec() });
    }
    Ok(files)
}

/// The body without its title, which heads the page; a link that would lead out of the report is its words alone.
fn rendered(text: &str) -> String {
    let mut ended_links = Vec::new();
    let mut in_title = false;
    let events = Parser::new_ext(text, Options::ENABLE_TABLES).filter_map(|event| {
        match &event {
            Event::Start(Tag::Heading { level, .. }) if *level as usize == 1 => in_title = true,
            Event::End(TagEnd::Heading(level)) if *level as usize == 1 => {
                in_title = false;
                return None;
            }
            _ => {}
        }
        if in_title {
            return None;
        }
        match event {
            Event::Start(Tag::Link { link_type, dest_url, title, id }) => {
                let inside = inside(&dest_url);
                ended_links.push(inside.is_some());
                let dest_url = inside?.into();
                Some(Event::Start(Tag::Link { link_type, dest_url, title, id }))
            }
            Event::End(TagEnd::Link) => ended_links.pop().unwrap_or(false).then_some(event),
            // The handbook's own markup would need styles that the policy refuses.
            Event::Html(text) | Event::InlineHtml(text) => Some(Event::Text(text)),
            Event::Start(Tag::Table(_)) | Event::End(TagEnd::Table) => Some(event),
            other => Some(other),
        }
    });
    let mut out = String::new();
    html::push_html(&mut out, events);
    let out = out
        .replace("<table>", "<div class=\"scroll\" tabindex=\"0\"><table>")
        .replace("</table>", "</table></div>");
    unstyled(&out)
}

/// Where a link of the handbook leads within the report, if it does.
fn inside(target: &str) -> Option<String> {
    let (file, anchor) = target.split_once('#').map_or((target, ""), |(file, anchor)| (file, anchor));
    let known = PAGES.iter().any(|(name, _)| *name == file);
    (known && anchor.is_empty()).then(|| file.replace(".md", ".html"))
}

/// Alignment comes as style attributes, which the policy refuses; figures are right-aligned anyway.
fn unstyled(html: &str) -> String {
    let mut out = html.to_owned();
    for side in ["left", "center", "right"] {
        out = out.replace(&format!(" style=\"text-align: {side}\""), "");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_page_has_a_title_and_a_body_without_styles() {
        for (name, text) in PAGES {
            assert!(!title(name).is_empty(), "{name}");
            let body = rendered(text);
            assert!(!body.contains("<h1") && !body.contains(" style="), "{name}");
            assert!(body.contains("<p>"), "{name}");
        }
    }

    #[test]
    fn a_link_out_of_the_report_is_words() {
        let body = rendered("# T\n\n[a](ledger.md) [b](../reference/x.md) [c](https://example.org)\n");
        assert_eq!(body.trim(), "<p><a href=\"ledger.html\">a</a> b c</p>");
    }
}
