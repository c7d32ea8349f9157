//! The same input gives the same bytes, whatever the threads or the order of the files.

use std::collections::BTreeMap;
use std::path::Path;

use backwatt::{Event, ReportOptions, Run};

use crate::truth::SMALL;

/// Every file below a folder by its name and digest. Stamps and the spool are not results.
fn digests(folder: &Path) -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for path in std::fs::read_dir(&next).expect("a folder").flatten().map(|e| e.path()) {
            let name = path.strip_prefix(folder).expect("inside").display().to_string();
            if path.is_dir() {
                open.push(path);
            } else {
                found.insert(name, backwatt_store::digest_file(&path).expect("readable"));
            }
        }
    }
    found
}

fn run_again(pilot_file: &Path, threads: usize) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let pilot = backwatt::read_pilot(pilot_file).expect("the pilot reads");
    let run = Run::new(pilot, folder.path());
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
    pool.install(|| run.all(&backwatt::silent, ReportOptions::default())).expect("it runs");
    folder
}

#[test]
fn one_thread_or_five_give_the_same_bytes() {
    let pilot_file = SMALL.folder.path().join("pilot.toml");
    let (one, five) = (run_again(&pilot_file, 1), run_again(&pilot_file, 5));
    assert_eq!(digests(one.path()), digests(five.path()));
}

#[test]
fn the_order_of_the_sources_does_not_matter() {
    let pilot_file = SMALL.folder.path().join("pilot.toml");
    let text = std::fs::read_to_string(&pilot_file).expect("readable");
    let mut blocks: Vec<&str> = text.split("[[sources]]").collect();
    assert!(blocks.len() > 2, "the demo has several sources");
    blocks[1..].reverse();
    let turned = SMALL.folder.path().join("turned.toml");
    std::fs::write(&turned, blocks.join("[[sources]]")).expect("writable");
    let (as_is, turned) = (run_again(&pilot_file, 2), run_again(&turned, 2));
    let tables = |folder: &Path| -> BTreeMap<String, String> {
        // Settings are listed in the order of the file, and so is the report; the figures are in the CSV tables.
        // A Parquet file names the digest of the settings, in which sources have an order; the CSV holds its figures.
        let figures = |name: &str| name.starts_with("report/tables") && !name.ends_with(".parquet");
        digests(folder).into_iter().filter(|(name, _)| figures(name)).collect()
    };
    assert_eq!(tables(as_is.path()), tables(turned.path()));
    assert!(!tables(as_is.path()).is_empty());
}

#[test]
fn a_second_run_does_nothing_again() {
    let pilot_file = SMALL.folder.path().join("pilot.toml");
    let pilot = backwatt::read_pilot(&pilot_file).expect("the pilot reads");
    let run = Run::new(pilot, &SMALL.out);
    let unchanged = std::sync::Mutex::new(Vec::new());
    let tell = |event: Event| {
        if let Event::Unchanged { name } = event {
            unchanged.lock().expect("no panic").push(name);
        }
    };
    run.all(&tell, ReportOptions::default()).expect("it runs");
    assert_eq!(*unchanged.lock().expect("no panic"), ["ingest", "replay", "estimate"]);
}
