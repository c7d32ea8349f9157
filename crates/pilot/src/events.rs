//! `[[events]]`: what happened on a day to some drivers or vehicles, to be looked at before and after.

use jiff::civil::Date;

use crate::document::Section;

/// One event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// First service day after it, spelt as tables spell days.
    pub day: String,
    pub what: String,
    pub drivers: Vec<String>,
    pub vehicles: Vec<String>,
}

pub fn read(root: &Section<'_, '_>) -> Vec<Event> {
    root.sections("events").iter().filter_map(event).collect()
}

fn event(section: &Section<'_, '_>) -> Option<Event> {
    let day = section.text("day");
    let what = section.text("what").map_or_else(|| "event".to_owned(), |at| at.value);
    let names = |key: &str| section.texts(key).map(|at| at.value).unwrap_or_default();
    let (drivers, vehicles) = (names("drivers"), names("vehicles"));
    section.finish();
    let hint = || "day = \"2026-03-09\", the first service day after it".to_owned();
    let Some(day) = day else {
        if !section.has("day") {
            section.fault("pilot-event-day", "day", "an event needs its day".into(), hint());
        }
        return None;
    };
    let Ok(date) = day.value.parse::<Date>() else {
        section.fault("pilot-event-day", "day", format!("\"{}\" is no date", day.value), hint());
        return None;
    };
    if drivers.is_empty() && vehicles.is_empty() {
        let hint = "drivers = [\"...\"] or vehicles = [\"...\"]".to_owned();
        section.fault("pilot-event-whose", "drivers", "an event names no driver and no vehicle".into(), hint);
        return None;
    }
    Some(Event { day: date.to_string(), what, drivers, vehicles })
}
