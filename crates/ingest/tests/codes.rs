//! Codes of refusals against the list of their meanings.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Words of the same make that refuse nothing: a kind of time.
const NO_CODES: [&str; 1] = ["day-number"];

/// Whatever refuses or marks a row says so in a code that the report can put in words.
#[test]
fn every_code_of_a_refusal_has_a_meaning() {
    let mut codes = BTreeSet::new();
    for entry in walk(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src")) {
        let text = fs::read_to_string(&entry).expect("a source file");
        let shipped = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
        for quoted in shipped.split('"').skip(1).step_by(2) {
            let is_code = quoted.contains('-')
                && quoted
                    .split('-')
                    .all(|part| !part.is_empty() && part.bytes().all(|b| b.is_ascii_lowercase()));
            // Problems of a whole file have messages of their own.
            if is_code
                && !NO_CODES.contains(&quoted)
                && !quoted.starts_with("ingest-")
                && entry.file_name().is_some_and(|name| name != "tests.rs")
            {
                codes.insert(quoted.to_owned());
            }
        }
    }
    assert!(codes.len() > 30, "only {codes:?}");
    let unknown: Vec<&String> =
        codes.iter().filter(|code| backwatt_schema::rule_meaning(code).is_none()).collect();
    assert!(unknown.is_empty(), "no meaning in crates/schema/src/rules.rs: {unknown:?}");
}

fn walk(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry").path());
    entries.flat_map(|path| if path.is_dir() { walk(&path) } else { vec![path] }).collect()
}
