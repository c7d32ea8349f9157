//! Rules of places, routes and the map. None is the pilot file's to change; each decides a figure, so each is listed.

use backwatt_estimate::rules;

use crate::document::Section;

pub fn list(root: &Section<'_, '_>) {
    let common = "common practice, no source (notebooks-docs/method/routes.md)";
    for (key, value, source) in [
        (
            "estimate.place_visit",
            format!("{} s of standing within a trip, or between two", rules::VISIT_SHORTEST_S),
            common,
        ),
        ("estimate.place_visits_least", rules::VISITS_LEAST.to_string(), common),
        ("estimate.night", format!("{} h over the cut of the service day", rules::NIGHT_S / 3600.0), common),
        ("estimate.depot", format!("{} nights", rules::NIGHTS_LEAST), common),
        ("estimate.route_alike", rules::ALIKE.to_string(), common),
        ("estimate.route_cells_least", rules::CELLS_LEAST.to_string(), common),
        (
            "estimate.map_cell",
            "H3, resolution 10".to_owned(),
            "a few times a position's error (notebooks-docs/method/routes.md)",
        ),
        (
            "estimate.map_shareable",
            format!(
                "from {} passes and {} vehicles, {} m from any night's stay",
                rules::PASSES_LEAST,
                rules::VEHICLES_LEAST,
                rules::NIGHT_NEAR_M
            ),
            common,
        ),
    ] {
        root.default(key, &value, source);
    }
}
