//! The report's pages, read as text: what they must and must not hold.

use std::path::Path;

use crate::{TINY, backwatt, code, stderr, stdout, tiny_pilot};

fn page(pilot: &str) -> String {
    let (folder, _) = tiny_pilot(pilot);
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    pages(&folder.path().join("out/report"))
}

/// Every page of the folder, one after the other; the handbook's are not of this pilot.
fn pages(report: &Path) -> String {
    let mut paths: Vec<_> = std::fs::read_dir(report).expect("a report").flatten().map(|e| e.path()).collect();
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "html"));
    paths.sort();
    assert!(paths.len() >= 11, "{paths:?}");
    paths.iter().map(|path| std::fs::read_to_string(path).expect("a page")).collect()
}

#[test]
fn it_needs_no_network_and_runs_no_script_but_its_own() {
    let page = page(TINY);
    assert!(page.contains("default-src 'none'") && page.contains("script-src 'sha256-"));
    for outside in [
        "http://",
        "https://",
        "<script src",
        "<link",
        "@import",
        "url(http",
        "unsafe-",
        " style=",
        " onclick=",
    ] {
        assert!(!page.contains(outside), "{outside}");
    }
}

#[test]
fn hostile_names_stay_text() {
    let page = page(
        &TINY.replace("\"V1\"", "\"<script>alert(1)</script>\\\"'\"").replace("\"Tiny\"", "\"<img src=x>\""),
    );
    assert!(!page.contains("<script>alert") && !page.contains("<img src=x>"));
    assert!(page.contains("&lt;img src=x&gt;") || page.contains("&#60;img src=x&#62;"));
}

#[test]
fn cautions_and_denominators_are_there() {
    let page = page(TINY);
    for words in [
        "no assessment of brake condition",
        "friction brakes stay in use",
        "personal data",
        "recovered / gross discharge",
        "recovered / braking energy at the wheels",
    ] {
        assert!(page.contains(words), "{words}");
    }
}

/// Names that reach the sections of plan, routes, drivers and map, from the logs and from the pilot file.
#[test]
fn hostile_names_stay_text_in_every_section() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let demo = backwatt(folder.path(), &["demo", ".", "--small", "--quiet"]);
    assert_eq!(code(&demo), 0, "{}", stderr(&demo));
    let hostile = "<svg onload=alert(1)>\u{202e}&";
    let pilot = folder.path().join("pilot.toml");
    let text = std::fs::read_to_string(&pilot).expect("the demo's pilot file");
    assert!(text.contains("light3") && text.contains("depot post"));
    let renamed =
        text.replace("depot post", hostile).replace("route = \"coast\"", &format!("route = {hostile:?}"));
    std::fs::write(&pilot, renamed.replace("\\u{202e}", "\u{202e}")).expect("writable");
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let page = pages(&folder.path().join("out/report"));
    assert!(!page.contains("<svg onload"), "markup from a name");
    let charging = page.split("<section id=\"charging\">").nth(1).expect("a section");
    assert!(charging.contains("svg onload"), "the name is shown, as text");
}

/// A vehicle or a person who is no longer in the pilot has no page left from an earlier run.
#[test]
fn a_page_of_an_earlier_run_does_not_stay() {
    let (folder, _) = tiny_pilot(TINY);
    assert_eq!(code(&backwatt(folder.path(), &["run", "pilot.toml", "--quiet"])), 0);
    let report = folder.path().join("out/report");
    let old = ["trips/vehicle-09.html", "drivers/sheet-09.html", "old.html", "tables/old.csv"];
    for path in old.map(|path| report.join(path)) {
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("writable");
        std::fs::write(path, "old").expect("writable");
    }
    assert_eq!(code(&backwatt(folder.path(), &["report", "pilot.toml", "--quiet"])), 0);
    for path in old {
        assert!(!report.join(path).exists(), "{path} stays");
    }
    assert!(report.join("index.html").is_file());
}

#[test]
fn a_section_without_a_table_says_what_would_bring_it() {
    let page = page(TINY);
    for words in
        ["[[plan.energy]]", "[[plan.driving]]", "[charge_sessions]", "[shifts]", "regen_level", "latitude"]
    {
        assert!(page.contains(words), "{words}");
    }
}

/// One vehicle drove these roads: whoever sees the map sees the driver.
#[test]
fn a_pilot_of_one_vehicle_shares_no_cell() {
    let pilot = TINY.replace(
        "speed = {",
        "latitude = { column = \"lat\", unit = \"deg\" }\nlongitude = { column = \"lon\", unit = \"deg\" }\nspeed = {",
    );
    let (folder, _) = tiny_pilot(&pilot);
    let log = std::fs::read_to_string(folder.path().join("log.csv")).expect("a log");
    let placed = log.lines().enumerate().map(|(at, line)| match at {
        0 => format!("{line},lat,lon\n"),
        _ => format!("{line},{:.6},-38.9\n", 38.6 + 0.0000675 * at as f64),
    });
    std::fs::write(folder.path().join("log.csv"), placed.collect::<String>()).expect("writable");
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let read = |name: &str| std::fs::read_to_string(folder.path().join("out/report").join(name)).expect(name);
    assert!(read("routes.html").contains("<polygon class=\"cell"), "the pilot's own map has cells");
    let shared = read("map-to-share.svg");
    assert!(!shared.contains("<polygon") && shared.contains("No cell of this pilot may be shared"));
}

/// A copy for others: nobody's name in any file of it, and the key outside.
#[test]
fn a_copy_to_share_names_nobody() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let demo = backwatt(folder.path(), &["demo", ".", "--small", "--quiet"]);
    assert_eq!(code(&demo), 0, "{}", stderr(&demo));
    let output = backwatt(folder.path(), &["report", "pilot.toml", "--share", "--quiet"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let told = stdout(&output);
    for words in ["Taken out of the copy", "2 vehicles", "300 m", "fewer than 5 vehicle-days", "delete it"] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let key =
        std::fs::read_to_string(folder.path().join("out/names-behind-report-to-share.csv")).expect("a key");
    let names: Vec<&str> = key
        .lines()
        .filter(|line| line.starts_with("driver,") || line.starts_with("vehicle,"))
        .filter_map(|line| line.rsplit(',').next())
        .collect();
    assert!(names.contains(&"Asta") && names.contains(&"H12"), "{key}");
    let copy = folder.path().join("out/report-to-share");
    let mut read = 0;
    for file in ["", "tables"].iter().flat_map(|sub| std::fs::read_dir(copy.join(sub)).expect("a folder")) {
        let path = file.expect("a file").path();
        if path.is_dir() {
            continue;
        }
        let text = String::from_utf8_lossy(&std::fs::read(&path).expect("readable")).into_owned();
        // Parquet is packed; the CSV of the same batch is not.
        for name in &names {
            assert!(!text.contains(name), "{name} in {}", path.display());
        }
        read += 1;
    }
    assert!(read > 40, "only {read} files");
    for left_out in ["trips", "braking_events", "stops", "charges", "places", "charge_sessions"] {
        assert!(!copy.join(format!("tables/{left_out}.csv")).exists(), "{left_out}");
    }
    let own =
        std::fs::read_to_string(folder.path().join("out/report/tables/trips.csv")).expect("the pilot's own");
    assert!(own.contains("Asta"), "the pilot's own report is left as it was");
}

/// Where the logs hold people's names, the pilot's own report hides them as well, replay pages and sheets included; the
/// key lies outside of it, and the tables stay as they are.
#[test]
fn names_of_people_in_the_logs_reach_no_page() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let demo = backwatt(folder.path(), &["demo", ".", "--small", "--quiet"]);
    assert_eq!(code(&demo), 0, "{}", stderr(&demo));
    let pilot = folder.path().join("pilot.toml");
    let text = std::fs::read_to_string(&pilot).expect("the demo's pilot file");
    let named = text.replacen("\ntime_zone", "\ndriver_names = \"names\"\ntime_zone", 1);
    assert_ne!(text, named, "the pilot file has a time zone on top");
    std::fs::write(&pilot, named).expect("writable");
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let out = folder.path().join("out");
    let key = std::fs::read_to_string(out.join("names-behind-report.csv")).expect("a key");
    let names: Vec<&str> = key
        .lines()
        .filter(|line| line.starts_with("driver,"))
        .filter_map(|line| line.rsplit(',').next())
        .collect();
    assert!(names.contains(&"Asta") && names.len() > 2, "{key}");
    let (mut read, mut folders) = (0, vec![out.join("report")]);
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(&next).expect("a folder").flatten() {
            let path = entry.path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let text = String::from_utf8_lossy(&std::fs::read(&path).expect("readable")).into_owned();
            for name in &names {
                assert!(!text.contains(name), "{name} in {}", path.display());
            }
            read += 1;
        }
    }
    assert!(read > 60, "only {read} files");
    let told = stdout(&output);
    names.iter().for_each(|name| assert!(!told.contains(name), "{name} on the terminal"));
}
