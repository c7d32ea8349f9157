//! What every page has in common: head, policy, style, navigation, switch of units, caution.
//!
//! A page is one file that opens by itself, from a disk, without a network: style and small scripts stand in it and are
//! let in by their digests. Only a heavy script that many pages share is a file of its own, beside them.
//!
//! Deliberately absent: style attributes and event attributes, which the policy refuses.

mod policy;

use askama::Template;

use crate::ReportError;
use crate::chart::clean;
use crate::figure::{cut, scrub};
use crate::text::CAUTION;
use policy::Policy;

/// Longest name of a pilot that heads a page.
const PILOT_CHARS: usize = 60;
const STYLE: &str = include_str!("../../assets/report.css");

/// What all pages of one report say of themselves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Site {
    pub pilot: String,
    pub program: String,
    /// The system shown without a script, and before anybody chose.
    pub metric: bool,
    /// What was taken out, on pages meant to leave the building.
    pub shared: Option<String>,
}

/// Where a page stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Here<'a> {
    /// Of the page, without the pilot's name.
    pub title: &'a str,
    /// The entry of the navigation it belongs to.
    pub entry: Entry,
    /// Folders below the report's own: 1 for `trips/one.html`.
    pub depth: usize,
}

/// What a page needs beside the shell. Markup of scripts and styles is trusted: it is ours, never a log's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(
    not(test),
    expect(dead_code, reason = "pages with heavy charts bring scripts and styles of their own")
)]
pub enum Asset<'a> {
    /// Stands in the page, and is let in by its digest.
    Script(&'a str),
    /// A file of the report, by its path below the report's folder.
    ScriptFile(&'a str),
    Style(&'a str),
    StyleFile(&'a str),
    /// Pictures that lie beside the page.
    Pictures,
}

/// An entry of the navigation, which is a page of the report's folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Entry {
    Overview,
    Regen,
    Use,
    Routes,
    Drivers,
    Plan,
    Packs,
    Trips,
    Trust,
    Methods,
    Glossary,
}

impl Entry {
    pub const ALL: [Entry; 11] = [
        Entry::Overview,
        Entry::Regen,
        Entry::Use,
        Entry::Routes,
        Entry::Drivers,
        Entry::Plan,
        Entry::Packs,
        Entry::Trips,
        Entry::Trust,
        Entry::Methods,
        Entry::Glossary,
    ];

    pub fn file(self) -> &'static str {
        match self {
            Entry::Overview => "index.html",
            Entry::Regen => "regen.html",
            Entry::Use => "use.html",
            Entry::Routes => "routes.html",
            Entry::Drivers => "drivers.html",
            Entry::Plan => "plan.html",
            Entry::Packs => "packs.html",
            Entry::Trips => "trips.html",
            Entry::Trust => "trust.html",
            Entry::Methods => "methods.html",
            Entry::Glossary => "glossary.html",
        }
    }

    pub fn label(self) -> &'static str {
        match self {
            Entry::Overview => "Overview",
            Entry::Regen => "Regen",
            Entry::Use => "Energy use",
            Entry::Routes => "Routes",
            Entry::Drivers => "Drivers",
            Entry::Plan => "Plan",
            Entry::Packs => "Packs and charging",
            Entry::Trips => "Trips",
            Entry::Trust => "Trust",
            Entry::Methods => "Methods",
            Entry::Glossary => "Glossary",
        }
    }
}

struct Link {
    href: String,
    label: &'static str,
    is_here: bool,
}

#[derive(Template)]
#[template(path = "shell.html")]
struct Shell<'a> {
    site: &'a Site,
    title: String,
    pilot: String,
    pilot_hover: String,
    policy: String,
    styles: Vec<&'a str>,
    style_files: Vec<String>,
    scripts: Vec<&'a str>,
    script_files: Vec<String>,
    links: Vec<Link>,
    body: &'a str,
    caution: &'static str,
}

/// A whole page around a body of markup.
pub fn page(site: &Site, here: Here<'_>, body: &str, assets: &[Asset<'_>]) -> Result<String, ReportError> {
    let root = "../".repeat(here.depth);
    let mut policy = Policy::default();
    let (mut styles, mut scripts) = (vec![STYLE], Vec::new());
    let (mut style_files, mut script_files) = (Vec::new(), Vec::new());
    for asset in assets {
        match asset {
            Asset::Script(text) => scripts.push(*text),
            Asset::Style(text) => styles.push(*text),
            Asset::ScriptFile(path) => script_files.push(format!("{root}{path}")),
            Asset::Pictures => policy.pictures(),
            Asset::StyleFile(path) => style_files.push(format!("{root}{path}")),
        }
    }
    let units = crate::figure::script();
    scripts.insert(0, &units);
    styles.iter().for_each(|text| policy.style(text));
    scripts.iter().for_each(|text| policy.script(text));
    policy.files(!style_files.is_empty(), !script_files.is_empty());
    let links = Entry::ALL
        .iter()
        .map(|entry| Link {
            href: format!("{root}{}", entry.file()),
            label: entry.label(),
            is_here: *entry == here.entry,
        })
        .collect();
    let shell = Shell {
        site,
        title: clean(here.title),
        pilot: cut(&clean(&scrub(&site.pilot)), PILOT_CHARS),
        pilot_hover: cut(&clean(&scrub(&site.pilot)), 10 * PILOT_CHARS),
        policy: policy.to_string(),
        styles,
        style_files,
        scripts,
        script_files,
        links,
        body,
        caution: CAUTION,
    };
    Ok(shell.render()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn site() -> Site {
        Site { pilot: "<b>Pilot".to_owned(), program: "backwatt".to_owned(), metric: false, shared: None }
    }

    #[test]
    fn names_are_text_and_paths_lead_back_to_the_report() {
        let here = Here { title: "A \"trip\"", entry: Entry::Trips, depth: 1 };
        let assets = [
            Asset::ScriptFile("assets/replay.js"),
            Asset::StyleFile("assets/replay.css"),
            Asset::Script("let one;"),
            Asset::Style(".one {}"),
        ];
        let made = page(&site(), here, "<p>body</p>", &assets).expect("a page");
        assert!(!made.contains("<b>Pilot"), "a name became markup");
        for held in [
            "<p>body</p>",
            "href=\"../index.html\"",
            "href=\"../assets/replay.css\"",
            "src=\"../assets/replay.js\"",
            "aria-current=\"page\"",
        ] {
            assert!(made.contains(held), "{held}");
        }
        assert!(made.contains("script-src 'self' 'sha256-"), "files of the report are let in");
    }

    #[test]
    fn nothing_is_let_in_that_is_not_ours() {
        let here = Here { title: "Overview", entry: Entry::Overview, depth: 0 };
        let made = page(&site(), here, "", &[]).expect("a page");
        assert!(made.contains("default-src 'none'"));
        for open in ["unsafe-inline", "unsafe-eval", "'self'", "http:", "https:", " style=", " onclick="] {
            assert!(!made.contains(open), "{open}");
        }
    }
}
