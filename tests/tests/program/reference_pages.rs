//! Generated pages are current: what the program prints is what the handbook holds.

use backwatt_testkit::repository;

use crate::{backwatt, stdout};

#[test]
fn the_data_dictionary_is_current() {
    let printed = stdout(&backwatt(&repository(), &["dictionary"]));
    let kept = std::fs::read_to_string(repository().join("notebooks-docs/reference/data-dictionary.md"))
        .expect("notebooks-docs/reference/data-dictionary.md");
    assert!(printed == kept, "run scripts/generate-reference and commit what changed");
}

#[test]
fn the_command_page_is_current() {
    let kept = std::fs::read_to_string(repository().join("notebooks-docs/reference/commands.md"))
        .expect("notebooks-docs/reference/commands.md");
    for command in [
        "demo",
        "run",
        "inspect",
        "settings",
        "ingest",
        "replay",
        "estimate",
        "report",
        "completions",
        "dictionary",
    ] {
        let help = stdout(&backwatt(&repository(), &[command, "--help"]));
        assert!(
            kept.contains(help.trim_end()),
            "{command}: run scripts/generate-reference and commit what changed"
        );
    }
}

/// Every setting the demo's pilot resolves to, stated or default, is explained by its key.
#[test]
fn the_pilot_file_page_names_every_key() {
    let page = std::fs::read_to_string(repository().join("notebooks-docs/reference/pilot-file.md"))
        .expect("notebooks-docs/reference/pilot-file.md");
    let folder = tempfile::tempdir().expect("a temporary folder");
    backwatt_demo::write(folder.path(), backwatt::DemoSize::Small, 1, &|_, _| ()).expect("the demo writes");
    let printed = stdout(&backwatt(folder.path(), &["settings", "pilot.toml", "--json"]));
    let settings: Vec<serde_json::Value> = serde_json::from_str(&printed).expect("JSON");
    let mut keys = 0;
    for setting in &settings {
        let key = setting["key"].as_str().expect("a key");
        // Rules of the product are no keys of the file.
        let is_rule = ["ingest.", "replay.", "estimate."].iter().any(|stage| key.starts_with(stage));
        if is_rule || key.ends_with("battery_temperature") {
            continue;
        }
        let last = key.rsplit('.').find(|part| part.parse::<u32>().is_err()).expect("a name");
        assert!(page.contains(&format!("`{last}")) || page.contains(&format!("{last} =")), "{key}");
        keys += 1;
    }
    assert!(keys > 60, "only {keys} keys were looked at");
}
