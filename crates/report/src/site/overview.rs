//! The first page: every question with its answer in a sentence, and where the rest of it stands.

use std::collections::BTreeSet;

use askama::Template;

use crate::ReportError;
use crate::answers::Answers;
use crate::figure::{counted, markup};
use crate::shell::Entry;

#[derive(Template)]
#[template(path = "overview.html")]
struct Overview<'a> {
    answers: &'a Answers,
    told: Vec<Told>,
    trips: u64,
    rows: String,
    refused: String,
}

struct Told {
    question: &'static str,
    text: String,
    href: String,
    more: String,
}

pub fn body(answers: &Answers) -> Result<String, ReportError> {
    let first = answers.sentences.iter().zip(SENTENCES).map(|(sentence, href)| Told {
        question: sentence.question,
        text: markup(&sentence.text),
        href: href.to_owned(),
        more: "The figures".to_owned(),
    });
    let types = types(answers);
    let topics = answers.topics.iter().filter_map(|topic| {
        let lead = if topic.answer.is_empty() {
            topic.missing.first()?.clone()
        } else {
            of_each_type(&topic.answer, &types).join(" ")
        };
        let more = match topic.answer.len() {
            0 | 1 => topic.heading.to_owned(),
            n => format!("All {n} findings: {}", topic.heading),
        };
        Some(Told {
            question: topic.question,
            text: markup(&lead),
            href: format!("{}#{}", entry(topic.id).file(), topic.id),
            more,
        })
    });
    let told = first.chain(topics).collect();
    let (rows, rejected) = (answers.trust.rows_in(), answers.trust.rows_rejected());
    let share = if rows == 0 { 0.0 } else { 100.0 * rejected as f64 / rows as f64 };
    let rows = counted(rows);
    let page = Overview { answers, told, trips: answers.trust.trips, rows, refused: format!("{share:.2} %") };
    Ok(page.render()?)
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

/// Where the figures behind each of the sentences stand, in their order.
const SENTENCES: [&str; 5] =
    ["use.html", "regen.html#ratios", "regen.html#ratios", "regen.html#cascade", "trust.html#worth"];

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
    fn every_type_has_its_first_sentence() {
        let types = BTreeSet::from(["van", "truck"]);
        let answer = ["van: one", "van: two", "truck: one", "other: one"].map(str::to_owned);
        assert_eq!(of_each_type(&answer, &types), ["van: one", "truck: one"]);
        let answer = ["All of them: one", "van: two"].map(str::to_owned);
        assert_eq!(of_each_type(&answer, &types), ["All of them: one"]);
    }
}
