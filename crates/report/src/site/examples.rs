//! Braking events in which a habit shows, as a reader finds them: day, route, place, and the replay at that event.

use super::Replays;
use crate::answers::Answers;
use crate::chart::escape;
use crate::figure::{markup, name};
use crate::topics::Examples;

/// One habit with its events, as markup.
pub fn told(of: &Examples, answers: &Answers, replays: &Replays) -> String {
    let events: Vec<String> = of.events.iter().map(|event| one(event, answers, replays)).collect();
    format!("{}: {}", escape(&of.habit), events.join("; "))
}

fn one(event: &str, answers: &Answers, replays: &Replays) -> String {
    let (trip, order) = event.rsplit_once('#').unwrap_or((event, ""));
    let number = order.parse::<u64>().map_or(String::new(), |order| format!(", braking event {}", order + 1));
    let mut where_and_when: Vec<String> = answers
        .trip_places
        .get(trip)
        .map(|place| name(place.trim_start_matches('(').trim_end_matches(')')))
        .into_iter()
        .collect();
    where_and_when.extend(answers.event_places.get(event).map(|place| format!("near {}", name(place))));
    let what = format!("trip {}{number}", name(trip));
    let text = if where_and_when.is_empty() {
        markup(&what)
    } else {
        markup(&format!("{} ({what})", where_and_when.join(", ")))
    };
    match replays.get(trip) {
        Some(path) if order.is_empty() => format!("<a href=\"../{}\">{text}</a>", escape(path)),
        Some(path) => format!("<a href=\"../{}#event-{}\">{text}</a>", escape(path), escape(order)),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_event_is_found_by_day_and_place_and_opened_at_itself() {
        let mut answers = Answers::default();
        answers.trip_places.insert("H1-7".to_owned(), "(2026-03-02, old-town)".to_owned());
        answers.event_places.insert("H1-7#0".to_owned(), "stop 38".to_owned());
        let replays = Replays::from([("H1-7".to_owned(), "replay/H1-7.html".to_owned())]);
        let of = Examples { habit: "speed".to_owned(), events: vec!["H1-7#0".to_owned(), "H2-9#3".to_owned()] };
        assert_eq!(
            told(&of, &answers, &replays),
            "speed: <a href=\"../replay/H1-7.html#event-0\">2026-03-02, old-town, near stop 38 (trip H1-7, braking event 1)</a>; \
             trip H2-9, braking event 4"
        );
    }
}
