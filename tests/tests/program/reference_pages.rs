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
