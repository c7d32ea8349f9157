//! The first page: the pilot at a glance, then every question with its answer, and where the rest of it stands.

use std::collections::BTreeSet;

use askama::Template;
use backwatt_schema::unit::parse_quantity;

use super::glance::{self, Glance};
use crate::ReportError;
use crate::answers::Answers;
use crate::figure::{self, Kind, counted, markup};
use crate::shell::Entry;

#[derive(Template)]
#[template(path = "overview.html")]
struct Overview<'a> {
    answers: &'a Answers,
    glance: Glance<'a>,
    told: Vec<Told>,
    trips: String,
    rows: String,
    refused: String,
    /// What the names of types stand for; empty where no type is known.
    types: String,
}

struct Told {
    question: &'static str,
    lead: String,
    /// Sentence by sentence.
    rest: Vec<String>,
    href: String,
    more: String,
}

/// Answers in the order of the page: what was used, what came back, what another choice would do, who and where, the
/// plan, and what all of it is worth.
const ORDER: [&str; 16] = [
    "use",
    "recapture",
    "shares",
    "rest",
    "levels",
    "otherwise",
    "coaching",
    "routes",
    "plan",
    "packs",
    "charging",
    "climate",
    "worth",
    "logs",
    "time",
    "coverage",
];
/// Sentences of a topic beside its first that belong to the answer, with what is missing to it.
const FURTHER: [(&str, usize); 6] =
    [("levels", 4), ("logs", 3), ("coaching", 2), ("packs", 2), ("time", 2), ("coverage", 2)];

/// An answer of more sentences is told by its first and a list.
const LEAD_SENTENCES: usize = 4;

pub fn body(answers: &Answers) -> Result<String, ReportError> {
    let told = ORDER.iter().filter_map(|id| sentence(answers, id).or_else(|| topic(answers, id))).collect();
    let (rows, rejected) = (answers.trust.rows_in(), answers.trust.rows_rejected());
    let share = if rows == 0 { 0.0 } else { 100.0 * rejected as f64 / rows as f64 };
    let page = Overview {
        answers,
        glance: glance::of(answers),
        told,
        trips: counted(answers.trust.trips),
        rows: counted(rows),
        refused: format!("{share:.2} %"),
        types: markup(&stand_for(answers)),
    };
    Ok(page.render()?)
}

fn sentence(answers: &Answers, id: &str) -> Option<Told> {
    let sentence = answers.sentences.iter().find(|sentence| sentence.id == id)?;
    Some(Told {
        question: sentence.question,
        lead: markup(&sentence.text),
        rest: sentences(&sentence.more).map(markup).collect(),
        href: match id {
            "use" => "use.html",
            "rest" => "regen.html#cascade",
            "worth" => "trust.html#worth",
            _ => "regen.html#ratios",
        }
        .to_owned(),
        more: "The figures".to_owned(),
    })
}

/// Sentence by sentence: a point between digits ends none.
fn sentences(text: &str) -> impl Iterator<Item = &str> {
    let mut rest = text.trim();
    std::iter::from_fn(move || {
        if rest.is_empty() {
            return None;
        }
        let end = rest.find(". ").map_or(rest.len(), |at| at + 1);
        let (one, after) = rest.split_at(end);
        rest = after.trim_start();
        Some(one)
    })
}

fn topic(answers: &Answers, id: &str) -> Option<Told> {
    let topic = answers.topics.iter().find(|topic| topic.id == id)?;
    let lead = if topic.answer.is_empty() {
        vec![topic.missing.first()?.clone()]
    } else {
        of_each_type(&topic.answer, &types(answers))
    };
    let further = FURTHER.iter().find(|(of, _)| *of == id).map_or(0, |(_, n)| *n);
    let lacking = if further > 0 && !topic.answer.is_empty() { topic.missing.as_slice() } else { &[] };
    let beyond = topic.answer.iter().filter(|told| !lead.contains(told));
    let lead = lead.join(" ");
    let mut told: Vec<&str> = sentences(&lead).collect();
    // What takes more sentences to answer is a list under its first.
    let kept = if told.len() > LEAD_SENTENCES { 1 } else { told.len() };
    let rest = told.split_off(kept);
    let rest = rest.into_iter().chain(beyond.take(further).chain(lacking).flat_map(|told| sentences(told)));
    let more = match topic.answer.len() {
        0 | 1 => topic.heading.to_owned(),
        n => format!("All {n} findings: {}", topic.heading),
    };
    Some(Told {
        question: topic.question,
        lead: markup(&told.join(" ")),
        rest: rest.map(markup).collect(),
        href: format!("{}#{}", entry(topic.id).file(), topic.id),
        more,
    })
}

/// "light3 (8,598 lb empty, 3 packs of 20 kWh, 54 kWh of it usable)", as the vehicle data states it.
fn stand_for(answers: &Answers) -> String {
    let stated = |name: &str, key: &str| {
        let key = format!("vehicle_types.{name}.{key}");
        answers.settings.iter().find(|setting| setting.key == key).map(|setting| setting.value.as_str())
    };
    let quantity = |name: &str, key: &str| parse_quantity(stated(name, key)?).ok().map(|(si, _)| si);
    let number = |name: &str, key: &str| stated(name, key)?.parse::<f64>().ok();
    let shown = |si: f64, kind: Kind| {
        let (value, unit) = (figure::figure(si, kind, 0, answers.metric), figure::unit(kind, answers.metric));
        format!("{value} {unit}")
    };
    let one = |name: &str| {
        let packs = number(name, "packs").zip(quantity(name, "pack_energy"));
        let packs = packs.map_or(String::new(), |(packs, each_j)| {
            let usable = number(name, "usable_fraction").map_or(String::new(), |share| {
                format!(", {} of it usable", shown(packs * each_j * share, Kind::Energy))
            });
            format!(", {packs} packs of {}{usable}", shown(each_j, Kind::Energy))
        });
        let mass = quantity(name, "mass")
            .map_or(String::new(), |kg| format!(" ({} empty{packs})", shown(kg, Kind::Mass)));
        format!("{}{mass}", figure::name(&figure::scrub(name)))
    };
    types(answers).into_iter().map(one).collect::<Vec<_>>().join("; ")
}

/// Names of the vehicle types, from the settings they have.
fn types(answers: &Answers) -> BTreeSet<&str> {
    let keys = answers.settings.iter().filter_map(|setting| setting.key.strip_prefix("vehicle_types."));
    keys.filter_map(|key| key.split('.').next()).collect()
}

/// The first sentence; where sentences tell of one type each, the first of every type.
fn of_each_type(answer: &[String], types: &BTreeSet<&str>) -> Vec<String> {
    let of = |sentence: &str| {
        let (name, _) = sentence.split_once(": ")?;
        types.get(name).map(|name| (*name).to_owned())
    };
    let Some(first) = answer.first() else { return Vec::new() };
    let mut told = vec![first.clone()];
    let Some(first) = of(first) else { return told };
    let mut known = BTreeSet::from([first]);
    for sentence in answer {
        if of(sentence).is_some_and(|name| known.insert(name)) {
            told.push(sentence.clone());
        }
    }
    told
}

/// The page a topic stands on.
pub fn entry(topic: &str) -> Entry {
    match topic {
        "levels" | "otherwise" => Entry::Regen,
        "time" => Entry::Use,
        "routes" => Entry::Routes,
        "coaching" => Entry::Drivers,
        "packs" | "charging" | "climate" => Entry::Packs,
        "logs" => Entry::Trust,
        _ => Entry::Plan,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_topic_has_its_place_on_the_page() {
        let known = crate::topics::all(&crate::topics::Tables::empty()).unwrap();
        assert!(known.len() > 10);
        for topic in known {
            assert!(ORDER.contains(&topic.id), "{} is not told on the overview", topic.id);
        }
    }

    #[test]
    fn every_type_has_its_first_sentence() {
        let types = BTreeSet::from(["van", "truck"]);
        let answer = ["van: one", "van: two", "truck: one", "other: one"].map(str::to_owned);
        assert_eq!(of_each_type(&answer, &types), ["van: one", "truck: one"]);
        let answer = ["All of them: one", "van: two"].map(str::to_owned);
        assert_eq!(of_each_type(&answer, &types), ["All of them: one"]);
    }
}
