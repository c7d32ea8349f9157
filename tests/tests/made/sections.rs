//! The pages of the small made-up pilot: a section for each question, and figures that are the tables'.

use backwatt::tables;
use backwatt_testkit::Table;

use crate::truth::SMALL;

/// The section of one page that has it, figures and units as a reader sees them.
fn section(id: &str) -> String {
    let report = SMALL.out.join("report");
    for file in std::fs::read_dir(report).expect("a report").flatten() {
        let path = file.path();
        if path.extension().is_none_or(|ending| ending != "html") {
            continue;
        }
        let page = std::fs::read_to_string(&path).expect("a page");
        if let Some(from) = page.find(&format!("<section id=\"{id}\">")) {
            let length = page[from..].find("</section>").expect("the section ends");
            return shown(&page[from..from + length]);
        }
    }
    panic!("no section {id}")
}

/// Markup without the tags around figures and units.
fn shown(markup: &str) -> String {
    let mut out = String::new();
    for part in markup.split_inclusive('>') {
        let (text, tag) = part.split_once('<').unwrap_or((part, ""));
        out.push_str(text);
        let name = tag.trim_start_matches('/').split([' ', '>']).next().unwrap_or_default();
        if !tag.is_empty() && !matches!(name, "data" | "span") {
            out.push('<');
            out.push_str(tag);
        }
    }
    out
}

fn table(of: &'static backwatt_schema::Table) -> Table {
    Table::read(&[backwatt_store::Layout::new(&SMALL.out).table(of)], of)
}

fn holds(id: &str, text: &str) {
    let section = section(id);
    assert!(section.contains(text), "section {id} lacks {text:?}");
}

#[test]
fn every_question_has_its_section_on_page_and_terminal() {
    let text = std::fs::read_to_string(SMALL.out.join("report/summary.txt")).expect("a summary");
    for (id, heading) in [
        ("plan", "The plan"),
        ("packs", "Packs"),
        ("charging", "Charging"),
        ("climate", "Climate"),
        ("routes", "Routes and the map"),
        ("coaching", "Drivers, on like work"),
        ("levels", "Regen levels as driven"),
        ("otherwise", "The same trips, one thing changed"),
        ("time", "Over time"),
        ("logs", "What to log next, and what these logs hide"),
        ("coverage", "Coverage of the pilot"),
    ] {
        holds(id, &format!("<h2>{heading}</h2>"));
        holds(id, "<a href=\"methods/");
        assert!(text.contains(&format!("\n{heading}\n---")), "{heading}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 80), "a line is wider than 80 columns");
}

#[test]
fn the_plan_is_told_as_its_table_has_it() {
    let checks = table(&tables::PLAN_CHECK);
    let (verdicts, units) = (checks.texts("verdict"), checks.texts("unit"));
    let (driven, evidence) = (checks.numbers("value_p50"), checks.texts("evidence"));
    let mut compared = 0;
    for row in 0..checks.rows() {
        holds("plan", verdicts[row].as_deref().expect("a verdict"));
        holds("plan", evidence[row].as_deref().expect("evidence"));
        let (Some(value), Some(unit)) = (driven[row], units[row].as_deref()) else { continue };
        match unit {
            "kW.h/[mi_i]" => holds("plan", &format!("{value:.3} kWh/mile")),
            "[mi_i]" => holds("plan", &format!("{value:.0} miles")),
            _ => holds("plan", &format!("{:.1} %", 100.0 * value)),
        }
        compared += 1;
    }
    assert!(compared >= 5, "only {compared} values to compare");
    // The verdict is followed by the number of its remark, where it has one.
    let cells = section("plan").matches("<td class=\"words\">cannot tell").count();
    let told = verdicts.iter().filter(|verdict| verdict.as_deref() == Some("cannot tell")).count();
    assert_eq!(cells, told);
}

#[test]
fn packs_chargers_and_climate_are_their_tables() {
    let packs = table(&tables::PACK_SIZING);
    let (chances, counts) = (packs.numbers("probability_finish_frac"), packs.counts("packs"));
    let fewest = packs.flags("is_smallest");
    let mut compared = 0;
    for row in 0..packs.rows() {
        let Some(chance) = chances[row].filter(|chance| fewest[row] && *chance < 0.995) else { continue };
        holds("packs", &format!("{}: {:.0} (", counts[row], 100.0 * chance));
        compared += 1;
    }
    assert!(compared > 0, "a count that may fail");
    let charging = table(&tables::CHARGING);
    let nights = charging.counts("nights")[0];
    holds("charging", &format!("<td>{nights}</td>"));
    let climate = table(&tables::CLIMATE_COST);
    let kwh = climate.numbers("energy_p50_kwh").into_iter().flatten().next().expect("a known load");
    holds("climate", &format!("took {kwh:.1} kWh"));
}

#[test]
fn levels_capacity_signals_and_coverage_are_their_tables() {
    let levels = table(&tables::LEVEL_COMPARISON);
    for difference in levels.numbers("recapture_difference_frac").into_iter().flatten() {
        holds("levels", &format!("<td>{:.1}</td>", 100.0 * difference));
    }
    holds("levels", "Levels were chosen, not assigned");
    let same = table(&tables::SAME_TRIPS);
    let changes: Vec<f64> = same.numbers("energy_change_kwh").into_iter().flatten().collect();
    assert!(changes.len() >= 8, "hot, cold, heavy, slow, one pack more and the levels: {}", changes.len());
    // A change that rounds to nothing has no sign on the page.
    let told = changes.iter().filter(|change| change.abs() >= 0.05);
    told.for_each(|change| holds("otherwise", &format!("<td>{change:.1}</td>")));
    for measured in table(&tables::CAPACITY).numbers("capacity_measured_p50_kwh").into_iter().flatten() {
        holds("time", &format!("<td>{measured:.1}</td>"));
    }
    for half_width in table(&tables::SIGNAL_VALUE).numbers("half_width_recovered_frac").into_iter().flatten() {
        holds("logs", &format!("<td>{:.1}</td>", 100.0 * half_width));
    }
    for planned in table(&tables::COVERAGE).numbers("planned_share_frac").into_iter().flatten() {
        holds("coverage", &format!("<td>{:.1}</td>", 100.0 * planned));
    }
}

#[test]
fn nobody_is_shown_whom_the_table_does_not_show() {
    let drivers = table(&tables::DRIVERS);
    let (names, why) = (drivers.texts("driver_id"), drivers.texts("why_not_shown"));
    let hidden = names.iter().zip(&why).filter(|(_, why)| why.is_some()).filter_map(|(name, _)| name.clone());
    let section = section("coaching");
    let hidden: Vec<String> = hidden.collect();
    assert!(!hidden.is_empty(), "three days are too few for anybody");
    for name in hidden {
        assert!(!section.contains(&format!("<td class=\"words\">{name}</td>")), "{name}");
    }
    for words in
        ["no basis on their own for discipline or pay", "this is no ranking", "Safe stopping comes first"]
    {
        assert!(section.contains(words), "{words}");
    }
}

#[test]
fn the_map_to_share_holds_only_what_may_be_shared() {
    let cells = table(&tables::ROAD_CELLS);
    let shareable = cells.flags("is_shareable").into_iter().filter(|flag| *flag).count();
    let placed = cells.texts("cell").iter().flatten().count();
    assert!(0 < shareable && shareable < placed, "{shareable} of {placed}");
    let svg = std::fs::read_to_string(SMALL.out.join("report/map-to-share.svg")).expect("a map");
    assert_eq!(svg.matches("<polygon").count(), shareable);
    assert!(svg.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\""));
    let page = section("routes");
    let maps: Vec<&str> =
        page.split("<svg class=\"map\"").skip(1).filter_map(|map| map.split("</svg>").next()).collect();
    let of = |legend: &str| *maps.iter().find(|map| map.contains(legend)).expect("a map of all cells");
    let (braked, lost) = (of(">kWh braked<"), of(">kWh lost<"));
    assert_eq!(braked.matches("<polygon").count(), placed);
    let recovered = cells.numbers("energy_recovered_p50_kwh");
    let names = cells.texts("cell");
    let claimed = names.iter().zip(recovered).filter(|(cell, kwh)| cell.is_some() && kwh.is_some()).count();
    assert_eq!(lost.matches("<polygon").count(), claimed);
    assert!(braked.contains("miles, north is up") || braked.contains("mile, north is up"));
}

#[test]
fn tables_lie_beside_the_pages_in_every_form() {
    for of in [&tables::PLAN_CHECK, &tables::PACK_SIZING, &tables::ROAD_CELLS, &tables::SAMPLING_AUDIT] {
        let rows = table(of).rows();
        let parquet = SMALL.out.join("report/tables").join(format!("{}.parquet", of.name));
        assert_eq!(Table::read(&[parquet], of).rows(), rows, "{}", of.name);
        let beside = |ending: &str| {
            let path = SMALL.out.join("report/tables").join(format!("{}.{ending}", of.name));
            std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
        };
        let json: serde_json::Value = serde_json::from_str(&beside("json")).expect("JSON");
        assert_eq!(json.as_array().map(Vec::len), Some(rows), "{}", of.name);
        assert!(beside("csv").lines().count() > rows, "{}", of.name);
    }
}

#[test]
fn the_map_is_geojson_too() {
    let cells = table(&tables::ROAD_CELLS);
    let text = std::fs::read_to_string(SMALL.out.join("report/tables/road_cells.geojson")).expect("GeoJSON");
    let json: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let features = json["features"].as_array().expect("features");
    assert_eq!(features.len(), cells.texts("cell").iter().flatten().count());
    let middles = cells.numbers("lon_deg");
    for (feature, middle) in features.iter().zip(middles.into_iter().flatten()) {
        let ring = feature["geometry"]["coordinates"][0].as_array().expect("a ring");
        assert_eq!(ring.first(), ring.last(), "RFC 7946, 3.1.6: closed");
        let at = |point: &serde_json::Value, n: usize| point[n].as_f64().expect("a coordinate");
        // Twice the area by the shoelace formula: counterclockwise is positive.
        let area: f64 =
            ring.windows(2).map(|w| at(&w[0], 0) * at(&w[1], 1) - at(&w[1], 0) * at(&w[0], 1)).sum();
        assert!(area > 0.0, "RFC 7946, 3.1.6: the right-hand rule");
        let west = ring.iter().map(|point| at(point, 0)).fold(f64::MAX, f64::min);
        let east = ring.iter().map(|point| at(point, 0)).fold(f64::MIN, f64::max);
        assert!(west < middle && middle < east, "longitude first");
    }
}
