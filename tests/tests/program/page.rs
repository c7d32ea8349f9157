//! The report page, read as text: what it must and must not hold.

use crate::{TINY, backwatt, code, stderr, tiny_pilot};

fn page(pilot: &str) -> String {
    let (folder, _) = tiny_pilot(pilot);
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    std::fs::read_to_string(folder.path().join("out/report/index.html")).expect("a page")
}

#[test]
fn it_needs_no_network_and_runs_no_script() {
    let page = page(TINY);
    assert!(page.contains("default-src 'none'"));
    for outside in ["http://", "https://", "<script", "<link", "@import", "url(http"] {
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
