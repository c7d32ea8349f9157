//! One trip's page.

use askama::Template;
use backwatt_schema::{BatchError, tables};
use serde_json::json;

use super::bins::{self, Bins};
use super::facts::{self, Facts, LedgerGroup, TripSums};
use super::pack::Packer;
use super::rows::{self, Row};
use super::view::{Batches, OfTrip};
use super::what_if::{self, PER_KWH, WhatIf};
use super::{ReplayInput, accounts, file};
use crate::ReportError;
use crate::figure::{Kind, cut, markup, scrub, unit};
use crate::shell::{self, Asset, Entry, Here, Site};

const SCRIPT: &str = "assets/replay.js";
const STRIPS: &str = "assets/uplot.js";
const STYLE: &str = "assets/replay.css";
/// Longest name of a level beside its strip.
const LEVEL_CHARS: usize = 24;
/// Parts of one script, in the order they lean on each other.
const PARTS: [&str; 8] = [
    include_str!("../../assets/replay/unpack.js"),
    include_str!("../../assets/replay/trip.js"),
    include_str!("../../assets/replay/words.js"),
    include_str!("../../assets/replay/ledger.js"),
    include_str!("../../assets/replay/map.js"),
    include_str!("../../assets/replay/strips.js"),
    include_str!("../../assets/replay/player.js"),
    include_str!("../../assets/replay/page.js"),
];

/// Files that all replay pages share, by their paths below the report's folder.
pub fn assets() -> [(&'static str, String); 4] {
    let script = format!("\"use strict\";\n(() => {{\n{}\n}})();\n", PARTS.join("\n"));
    let strips = include_str!("../../assets/uplot/uPlot.iife.min.js").to_owned();
    let style =
        [include_str!("../../assets/uplot/uPlot.min.css"), include_str!("../../assets/replay/replay.css")];
    [
        (SCRIPT, script),
        (STRIPS, strips),
        (STYLE, style.join("\n")),
        ("assets/uplot-LICENSE.txt", include_str!("../../assets/uplot/LICENSE.txt").to_owned()),
    ]
}

#[derive(Template)]
#[template(path = "replay.html")]
struct Body<'a> {
    facts: Facts,
    before: Option<String>,
    after: Option<String>,
    ledger: Vec<LedgerGroup>,
    events: Vec<Row>,
    segments: Vec<Row>,
    more_segments: usize,
    what_if: Option<WhatIf>,
    speed_unit: String,
    distance_unit: String,
    head: String,
    trace: &'a str,
}

/// `None` for a trip without a single interval.
pub fn render(
    input: &ReplayInput,
    site: &Site,
    batches: &Batches<'_>,
    trip_id: &str,
    (before, after): (Option<&str>, Option<&str>),
) -> Result<Option<String>, ReportError> {
    let trip = OfTrip::new(&tables::TRIPS, &batches.trips, trip_id)?;
    let Some(row) = trip.rows.first().copied() else { return Ok(None) };
    let began_ns = trip.time_ns("time_start_ns", row)?;
    let trace = bins::view(&batches.traces.ledger);
    let of_trip = bins::rows_of(&tables::LEDGER_TRACE, &batches.traces.ledger, trip_id)?;
    let bins = bins::bins(&trace, of_trip, began_ns)?;
    if bins.len() == 0 {
        return Ok(None);
    }
    let sums = sums(batches, trip_id)?;
    let mut packer = packed(&bins);
    let what_if = what_if::pack(batches, trip_id, &bins, &mut packer)?;
    let events = OfTrip::new(&tables::BRAKING_EVENTS, &batches.events, trip_id)?;
    let stops = OfTrip::new(&tables::STOPS, &batches.stops, trip_id)?;
    let events = rows::events(&events, began_ns, site.metric)?;
    let (segments, more_segments) = rows::segments(&sums, began_ns, site.metric)?;
    let (series, text) = packer.finish().map_err(ReportError::Pack)?;
    let head = json!({
        "bins": bins.len(),
        "began_ms": began_ns.div_euclid(1_000_000),
        "zone": input.zone,
        "is_relative": trip.flag("clock_relative", row)?,
        "series": series,
        "pieces": bins.pieces.iter().map(|piece| json!({
            "level": piece.level.as_deref().map(shown_level),
            "standing": piece.is_standing,
            "measured": piece.is_measured,
            "height": piece.has_height,
        })).collect::<Vec<_>>(),
        "events": events.iter().map(|row| [row.start_ms, row.end_ms]).collect::<Vec<_>>(),
        "stops": spans(&stops, began_ns)?,
        "what_if": what_if.is_some(),
    });
    let facts = facts::of(&trip, row, &sums, input.zone.as_deref(), site.metric)?;
    let title = crate::figure::plain(&facts.title);
    let body = Body {
        ledger: facts::ledger(&sums)?,
        facts,
        before: before.map(|trip| name_of(&file(trip))),
        after: after.map(|trip| name_of(&file(trip))),
        events,
        segments,
        more_segments,
        what_if,
        speed_unit: markup(&unit(Kind::Speed, site.metric)),
        distance_unit: markup(&unit(Kind::Distance, site.metric)),
        // Inside markup no text may end the element it stands in.
        head: head.to_string().replace('<', "\\u003c").replace('&', "\\u0026"),
        trace: &text,
    }
    .render()?;
    let here = Here { title: &title, entry: Entry::Trips, depth: 1 };
    let assets = [Asset::StyleFile(STYLE), Asset::ScriptFile(STRIPS), Asset::ScriptFile(SCRIPT)];
    Ok(Some(shell::page(site, here, &body, &assets)?))
}

fn sums<'a>(batches: &'a Batches<'_>, trip_id: &str) -> Result<TripSums<'a>, BatchError> {
    let segments = OfTrip::new(&tables::SEGMENTS, &batches.segments, trip_id)?;
    // One row for one segment, in the same order.
    let battery = OfTrip::at(&tables::SEGMENT_BATTERY, &batches.battery, &segments)?;
    Ok(TripSums { segments, battery })
}

fn packed(bins: &Bins) -> Packer {
    let mut packer = Packer::default();
    packer.whole("start_ms", bins.start_ms.iter().copied());
    packer.whole("length_ms", bins.start_ms.iter().zip(&bins.end_ms).map(|(start, end)| end - start));
    packer.whole("piece", bins.piece.iter().map(|piece| *piece as i64));
    packer.known("speed_m_s", 100, &bins.speed_m_s);
    packer.known("lat_deg", 100_000, &bins.lat_deg);
    packer.known("lon_deg", 100_000, &bins.lon_deg);
    packer.known("height_m", 10, &bins.height_m);
    packer.known("soc_frac", 10_000, &bins.soc_frac);
    packer.numbers("duration_s", 1000, &bins.duration_s);
    packer.numbers("moving_s", 1000, &bins.moving_s);
    packer.numbers("distance_m", 10, &bins.distance_m);
    for (account, sums) in accounts::packed().zip(&bins.accounts) {
        packer.numbers(account.column, PER_KWH, sums);
    }
    packer
}

fn spans(of: &OfTrip<'_>, began_ns: i64) -> Result<Vec<[i64; 2]>, BatchError> {
    let ms = |ns: i64| (ns - began_ns).div_euclid(1_000_000);
    of.rows
        .iter()
        .map(|row| Ok([ms(of.time_ns("time_start_ns", *row)?), ms(of.time_ns("time_end_ns", *row)?)]))
        .collect()
}

/// A level's name as a script may draw it: short, and turning nothing around it.
fn shown_level(level: &str) -> String {
    let turns = |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    cut(&scrub(level).replace(turns, "\u{fffd}"), LEVEL_CHARS)
}

fn name_of(path: &str) -> String {
    path.rsplit('/').next().unwrap_or(path).to_owned()
}

#[cfg(test)]
mod tests {
    use sha2::{Digest as _, Sha256};

    /// The card names the files as they lie here.
    #[test]
    fn vendored_files_are_those_of_the_card() {
        let card = include_str!("../../assets/uplot/CARD.md");
        for (file, text) in [
            ("uPlot.iife.min.js", include_str!("../../assets/uplot/uPlot.iife.min.js")),
            ("uPlot.min.css", include_str!("../../assets/uplot/uPlot.min.css")),
        ] {
            let digest: String =
                Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
            assert!(card.contains(&format!("| `{file}` | `{digest}` |")), "{file} {digest}");
        }
    }
}
