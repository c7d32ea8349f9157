//! Logs that are cut, locked away, no files at all, endless or made to burst.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Output};

use crate::{TINY, backwatt, code, stderr, stdout, tiny_pilot};

/// Runs with the address space bounded: the program as it is built for tests takes some of it itself. [KiB]
#[cfg(unix)]
fn within(folder: &Path, kib: u64) -> Output {
    let program = env!("CARGO_BIN_EXE_backwatt");
    let script = format!("ulimit -v {kib}; exec '{program}' --threads 2 ingest pilot.toml --quiet --json");
    Command::new("sh").args(["-c", &script]).current_dir(folder).output().expect("sh runs")
}

fn counts(output: &Output) -> (u64, u64) {
    let printed: serde_json::Value = serde_json::from_str(&stdout(output)).expect("JSON on stdout");
    let count = |key: &str| printed[key].as_u64().expect("a count");
    (count("rows_in"), count("rows_rejected"))
}

#[test]
fn a_log_cut_in_the_middle_of_a_row_loses_that_row_alone() {
    let (folder, _) = tiny_pilot(TINY);
    let path = folder.path().join("log.csv");
    let log = std::fs::read_to_string(&path).expect("readable");
    let row = log.lines().nth(60).expect("a row");
    // The row before the comma is left: a time and no speed.
    let cut = log.find(row).expect("there") + row.find(',').expect("a comma");
    std::fs::write(&path, &log[..cut]).expect("writable");
    let output = backwatt(folder.path(), &["ingest", "pilot.toml", "--quiet", "--json"]);
    assert_eq!((counts(&output), code(&output)), ((60, 1), 0), "{}", stderr(&output));
}

#[cfg(unix)]
#[test]
fn a_log_that_may_not_be_read_is_named_and_the_others_are_read() {
    use std::os::unix::fs::PermissionsExt;
    let (folder, _) = tiny_pilot(&TINY.replace("\"log.csv\"", "\"*.csv\""));
    let locked = folder.path().join("locked.csv");
    std::fs::write(&locked, "t,v\n0,1\n1,1\n").expect("writable");
    std::fs::set_permissions(&locked, std::fs::Permissions::from_mode(0o000)).expect("changeable");
    if std::fs::read(&locked).is_ok() {
        // Root reads everything: a link that leads round in a circle cannot be read by anybody.
        std::fs::remove_file(&locked).expect("removable");
        std::os::unix::fs::symlink("locked.csv", &locked).expect("makable");
    }
    let output = backwatt(folder.path(), &["ingest", "pilot.toml", "--quiet", "--json"]);
    let told = stderr(&output) + &stdout(&output);
    assert!(matches!(code(&output), 0 | 1), "{told}");
    assert!(told.contains("locked.csv"), "the file is named: {told}");
}

#[test]
fn a_folder_named_like_a_log_is_passed_over_or_named() {
    let (folder, _) = tiny_pilot(&TINY.replace("\"log.csv\"", "\"*.csv\""));
    std::fs::create_dir(folder.path().join("folder.csv")).expect("makable");
    let output = backwatt(folder.path(), &["ingest", "pilot.toml", "--quiet", "--json"]);
    assert_eq!((counts(&output), code(&output)), ((120, 0), 0), "{}", stderr(&output));
    let (alone, _) = tiny_pilot(TINY);
    std::fs::remove_file(alone.path().join("log.csv")).expect("removable");
    std::fs::create_dir(alone.path().join("log.csv")).expect("makable");
    let output = backwatt(alone.path(), &["ingest", "pilot.toml", "--quiet"]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("log.csv") && stderr(&output).contains("hint:"), "{}", stderr(&output));
}

/// A sparse file: a gigabyte of NUL bytes that takes no room on disk, behind two good rows.
#[cfg(unix)]
#[test]
fn a_gigabyte_without_a_line_end_fits_in_little_memory() {
    let (folder, _) = tiny_pilot(TINY);
    let mut log = std::fs::File::create(folder.path().join("log.csv")).expect("makable");
    log.write_all(b"t,v\n0,1\n1,1\n").expect("writable");
    log.set_len(1 << 30).expect("sparse");
    let output = within(folder.path(), 1_400_000);
    assert_eq!(code(&output), 3, "{}", stderr(&output));
    assert_eq!(counts(&output), (3, 1), "{}", stderr(&output));
}

/// Two hundred megabytes of one digit, packed a thousandfold.
#[cfg(unix)]
#[test]
fn a_packed_bomb_is_stopped_and_named() {
    let (folder, _) = tiny_pilot(&TINY.replace("log.csv", "log.csv.gz"));
    let file = std::fs::File::create(folder.path().join("log.csv.gz")).expect("makable");
    let mut packed = flate2::write::GzEncoder::new(file, flate2::Compression::best());
    packed.write_all(b"t,v\n0,1\n1,1\n").expect("writable");
    let zeros = vec![b'0'; 1 << 20];
    for _ in 0..200 {
        packed.write_all(&zeros).expect("writable");
    }
    packed.finish().expect("writable");
    let output = within(folder.path(), 1_400_000);
    let told = stderr(&output) + &stdout(&output);
    assert_eq!(code(&output), 3, "{told}");
    assert!(told.contains("unpack_ratio_max"), "{told}");
}

/// Names from a header and from cells go into tables, messages and a page: never as markup, control characters or new keys.
#[test]
fn a_hostile_header_stays_text() {
    let hostile = "\u{1b}[31mspeed</td><script>alert(1)</script>\", x = \"";
    let (folder, path) = tiny_pilot(TINY);
    let rows: String = (0..60).map(|second| format!("{second},{},1\n", 5 + second % 7)).collect();
    let log = format!("time [s],Speed [km/h],\"{}\"\n{rows}", hostile.replace('"', "\"\""));
    std::fs::write(folder.path().join("log.csv"), log).expect("writable");
    let read = |pilot: &str| {
        std::fs::write(&path, pilot).expect("writable");
        backwatt(folder.path(), &["run", "pilot.toml", "--quiet"])
    };
    // The mapping asks for a column that is not there: the message lists the header.
    let output = read(&TINY.replace("\"v\"", "\"nowhere\"").replace("\"t\"", "\"time [s]\""));
    assert!(
        !stderr(&output).contains('\u{1b}'),
        "a control character reaches the terminal: {:?}",
        stderr(&output)
    );
    let report = std::fs::read_dir(folder.path().join("out/report")).expect("a report").flatten();
    let pages =
        report.map(|entry| entry.path()).filter(|path| path.extension().is_some_and(|end| end == "html"));
    // The pages have scripts of their own.
    for page in pages.map(|path| std::fs::read_to_string(path).expect("readable")) {
        assert!(!page.contains("<script>alert"), "markup from a header");
    }
    // A draft quotes what it names, so that it stays one file of TOML.
    std::fs::remove_dir_all(folder.path().join("out")).expect("removable");
    std::fs::remove_file(&path).expect("removable");
    let output = backwatt(folder.path(), &["inspect", "."]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    assert!(!stdout(&output).contains('\u{1b}') && !stderr(&output).contains('\u{1b}'));
    let done = read(&stdout(&output).replace("? kg", "3000 kg"));
    assert_eq!(code(&done), 0, "{}", stderr(&done));
}
