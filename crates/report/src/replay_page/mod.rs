//! A page for a trip: its way, its time strips, and the ledger of any span of it.
//!
//! Every sum on the page is a sum of the ledger's own intervals (`ledger_trace`), packed so that a span's sum is the
//! difference of two whole numbers; the sum of a trip is printed from `segments` beside it. Not every trip of a long
//! pilot gets a page: [`choose`] says which.
//!
//! Deliberately absent: map tiles, a second set of formulas, any value between two samples that the ledger has not.

mod accounts;
mod bins;
mod choice;
mod facts;
mod list;
mod pack;
mod page;
mod rows;
mod view;
mod what_if;

use arrow::array::RecordBatch;
use backwatt_schema::tables;
use backwatt_store::{Layout, digest_bytes, read_table, read_table_if_present, write_bytes};

use crate::ReportError;
use crate::shell::Site;

pub use choice::{Chosen, choose};
pub use page::assets;

/// What the pages have to be told beside the tables.
#[derive(Debug, Clone)]
pub struct ReplayInput {
    pub pilot_name: String,
    pub program: String,
    pub metric: bool,
    /// IANA name of the zone that clock times are shown in.
    pub zone: Option<String>,
}

/// One vehicle's chosen trips, interval by interval.
#[derive(Debug, Clone)]
pub struct VehicleTraces {
    pub ledger: RecordBatch,
    /// Of the what-if asked for last, where there is one.
    pub what_if: Option<RecordBatch>,
}

/// A page that was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Written {
    pub vehicle_id: String,
    pub trip_id: String,
    pub bytes: usize,
}

impl ReplayInput {
    fn site(&self) -> Site {
        Site {
            pilot: self.pilot_name.clone(),
            program: self.program.clone(),
            metric: self.metric,
            shared: None,
        }
    }
}

/// Longest name of a trip that names its page by itself.
const FILE_CHARS: usize = 60;

/// Path of a trip's page below the report's folder: one that needs no escaping in a link or on any disk. What a name has
/// beyond that is told by its digest.
pub fn file(trip_id: &str) -> String {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_');
    if trip_id.len() <= FILE_CHARS && trip_id.chars().all(is_plain) {
        return format!("replay/{trip_id}.html");
    }
    let plain: String =
        trip_id.chars().map(|c| if is_plain(c) { c } else { '-' }).take(FILE_CHARS / 2).collect();
    format!("replay/{plain}-{}.html", &digest_bytes(trip_id.as_bytes())[..12])
}

/// Writes the pages of one vehicle's chosen trips.
pub fn write_vehicle(
    input: &ReplayInput,
    layout: &Layout,
    vehicle_id: &str,
    chosen: &[String],
    traces: &VehicleTraces,
) -> Result<Vec<Written>, ReportError> {
    let read = |table| read_table(&layout.vehicle_table(table, vehicle_id), table);
    let batches = view::Batches {
        trips: read(&tables::TRIPS)?,
        segments: read(&tables::SEGMENTS)?,
        battery: read(&tables::SEGMENT_BATTERY)?,
        events: read(&tables::BRAKING_EVENTS)?,
        stops: read(&tables::STOPS)?,
        what_if: read_table_if_present(&layout.vehicle_table(&tables::WHAT_IF, vehicle_id), &tables::WHAT_IF)?,
        traces,
    };
    let site = input.site();
    let mut written = Vec::new();
    for (trip, (before, after)) in view::in_order(&batches.trips, chosen)? {
        let neighbours = (before.as_deref(), after.as_deref());
        let Some(html) = page::render(input, &site, &batches, &trip, neighbours)? else { continue };
        write_bytes(&layout.report().join(file(&trip)), html.as_bytes())?;
        written.push(Written { vehicle_id: vehicle_id.to_owned(), trip_id: trip, bytes: html.len() });
    }
    Ok(written)
}

/// Writes the scripts that all pages share, and the list of pages with the rule they were chosen by.
pub fn write_list(
    input: &ReplayInput,
    layout: &Layout,
    chosen: &Chosen,
    trips: &[(String, RecordBatch)],
    written: &[Written],
) -> Result<(), ReportError> {
    for (path, text) in assets() {
        write_bytes(&layout.report().join(path), text.as_bytes())?;
    }
    let html = list::render(input, &input.site(), chosen, trips, written)?;
    write_bytes(&layout.report().join("replay/index.html"), html.as_bytes())?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_has_a_name_that_any_link_and_disk_can_hold() {
        assert_eq!(file("H12-0001"), "replay/H12-0001.html");
        let odd = [file("a/../b-0001"), file("a b-0001"), file("a?b-0001"), file(&"W".repeat(10_000))];
        for path in &odd {
            assert!(path.len() < 80 && !path.contains("..") && path.matches('/').count() == 1, "{path}");
        }
        assert_ne!(odd[1], odd[2]);
    }
}
