//! Where the braking events lie that coaching sheets name.

use std::collections::{BTreeMap, BTreeSet};

use backwatt_schema::{BatchView, number_at, tables, text_at};

use crate::ReportError;
use crate::source::Source;
use crate::topics::{Person, Places};

/// The named place that each event is near, by trip and number with a # between.
pub fn places(
    source: &Source<'_>,
    vehicles: &[String],
    people: &[Person],
    places: &Places,
) -> Result<BTreeMap<String, String>, ReportError> {
    let examples = people.iter().flat_map(|person| &person.examples);
    let wanted: BTreeSet<&str> = examples.flat_map(|of| &of.events).map(String::as_str).collect();
    let mut found = BTreeMap::new();
    if wanted.is_empty() {
        return Ok(found);
    }
    for vehicle in vehicles {
        let events = source.vehicle_table(&tables::BRAKING_EVENTS, vehicle)?;
        let view = BatchView::new(&tables::BRAKING_EVENTS, &events);
        let (trips, orders) = (view.texts("trip_id")?, view.orders("event_order")?);
        let (lat, lon) = (view.numbers("lat_deg")?, view.numbers("lon_deg")?);
        for row in 0..view.rows() {
            let event = format!("{}#{}", text_at(trips, row).unwrap_or_default(), orders.value(row));
            let at = number_at(lat, row).zip(number_at(lon, row));
            let near = at.and_then(|(lat, lon)| places.near(lat, lon));
            if let Some(near) = near.filter(|_| wanted.contains(event.as_str())) {
                found.insert(event, near.to_owned());
            }
        }
    }
    Ok(found)
}
