//! Bad input: a clear error or a reject, never a panic, never a half-written file.

use std::fmt::Write as _;

use crate::{TINY, backwatt, code, stderr, stdout, tiny_pilot};

fn refusal(pilot: &str) -> String {
    let (folder, _) = tiny_pilot(pilot);
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    assert_eq!(code(&output), 1, "{}", stdout(&output));
    assert!(!folder.path().join("out/samples").exists(), "nothing is written for a refused pilot file");
    stderr(&output)
}

#[test]
fn an_unknown_key_is_refused_with_the_nearest_name() {
    let text = refusal(&TINY.replace("mass =", "drag_aera = \"3 m2\"\nmass ="));
    assert!(text.contains("error[pilot-unknown-key]: [vehicle_types.van] has no key \"drag_aera\""), "{text}");
    assert!(text.contains("at pilot.toml, line 5"), "{text}");
    assert!(text.contains("hint: did you mean \"drag_area\"?"), "{text}");
}

#[test]
fn a_wrong_unit_is_refused_with_the_right_ones() {
    let text = refusal(&TINY.replace("3000 kg", "3000 km"));
    assert!(text.contains("wants a mass with its unit, such as \"1 kg\", and not a length"), "{text}");
    let text = refusal(&TINY.replace("unit = \"m/s\"", "unit = \"kmh/h\""));
    assert!(text.contains("error[pilot-unit-unknown]") && text.contains("m/s, km/h, mph"), "{text}");
}

#[test]
fn every_fault_of_a_file_is_told_at_once() {
    let text =
        refusal(&TINY.replace("3000 kg", "heavy").replace("files = \"log.csv\"", "files = \"none.csv\""));
    assert!(text.contains("pilot-wrong-value") && text.contains("pilot-no-files"), "{text}");
}

#[test]
fn not_toml_and_no_file() {
    let text = refusal("[pilot\nname = 1");
    assert!(text.contains("error[pilot-not-toml]") && text.contains("line 1"), "{text}");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let output = backwatt(folder.path(), &["run", "nowhere.toml"]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("error[pilot-unreadable]"), "{}", stderr(&output));
}

/// Logs that are no logs: each run ends with a code of the program, not a panic (70 is "a bug of ours").
#[test]
fn hostile_logs_end_in_rejects_or_clear_errors() {
    let mut quoted = String::from("t,v\n0,1\n\"1,2\n");
    for second in 2..2000 {
        let _ = writeln!(quoted, "{second},3");
    }
    let long = format!("t,v\n0,1\n{}\n1,2\n2,3\n", "9".repeat(3 << 20));
    let cases: [(&str, Vec<u8>); 9] = [
        ("empty", Vec::new()),
        ("header only", b"t,v\n".to_vec()),
        ("nul bytes", vec![0; 100_000]),
        ("no newline", vec![b'x'; 5 << 20]),
        ("one endless line among good ones", long.into_bytes()),
        ("a quote that never closes", quoted.into_bytes()),
        ("broken utf-8", b"t,v\n0,1\n1,\xFF\xFE\n2,3\n3,4\n".to_vec()),
        ("absurd numbers", b"t,v\n0,1e308\n1,-1e308\n1e300,5\n9223372036854775807,5\n2,NaN\n3,inf\n".to_vec()),
        ("all at one instant", b"t,v\n5,1\n5,2\n5,3\n5,1\n".to_vec()),
    ];
    for (name, bytes) in cases {
        let (folder, _) = tiny_pilot(TINY);
        std::fs::write(folder.path().join("log.csv"), bytes).expect("writable");
        let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
        assert!(matches!(code(&output), 0 | 1 | 3), "{name}: code {} {}", code(&output), stderr(&output));
        assert!(!stderr(&output).contains("panicked"), "{name}");
    }
}

#[test]
fn a_vehicle_cannot_climb_out_of_its_folder() {
    let (folder, _) = tiny_pilot(&TINY.replace("\"V1\"", "\"../../escaped\""));
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let parent = folder.path().parent().expect("a parent");
    assert!(!parent.join("escaped").exists() && !folder.path().join("escaped").exists());
    assert!(folder.path().join("out/trips/%2E.%2F..%2Fescaped.parquet").exists());
}

#[test]
fn a_folder_that_cannot_be_written_is_named() {
    let (folder, _) = tiny_pilot(TINY);
    std::fs::write(folder.path().join("file"), "in the way").expect("writable");
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet", "--out", "file"]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("error[run]") && stderr(&output).contains("hint:"), "{}", stderr(&output));
}

#[test]
fn logs_in_an_output_folder_are_never_touched() {
    let (folder, path) = tiny_pilot(&TINY.replace("files = \"log.csv\"", "files = \"samples/a/*.csv\""));
    std::fs::create_dir_all(folder.path().join("samples/a")).expect("makable");
    std::fs::rename(folder.path().join("log.csv"), folder.path().join("samples/a/log.csv")).expect("movable");
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet", "--out", "."]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("error[run-logs-in-output]"), "{}", stderr(&output));
    assert!(folder.path().join("samples/a/log.csv").exists() && path.exists());
}

#[test]
fn what_a_run_wrote_is_no_log() {
    let (folder, _) = tiny_pilot(&TINY.replace("files = \"log.csv\"", "files = \"**/*.csv\""));
    for _ in 0..2 {
        let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet", "--json"]);
        let printed: serde_json::Value = serde_json::from_str(&stdout(&output)).expect("JSON");
        assert_eq!((&printed["rows_in"], code(&output)), (&120.into(), 0));
    }
}

#[test]
fn one_file_in_two_sources_is_refused() {
    let second = TINY.split("[[sources]]").nth(1).expect("a source");
    let text = refusal(&format!("{TINY}\n[[sources]]{second}"));
    assert!(text.contains("error[pilot-file-twice]: log.csv is read twice"), "{text}");
}

#[cfg(unix)]
#[test]
fn a_pipe_is_no_log() {
    let (folder, _) = tiny_pilot(&TINY.replace("\"log.csv\"", "\"*.csv\""));
    let made = std::process::Command::new("mkfifo").arg(folder.path().join("pipe.csv")).status();
    assert!(made.expect("mkfifo runs").success());
    assert_eq!(code(&backwatt(folder.path(), &["run", "pilot.toml", "--quiet"])), 0);
}

#[test]
fn a_deleted_table_is_made_again() {
    let (folder, _) = tiny_pilot(TINY);
    backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    std::fs::remove_dir_all(folder.path().join("out/samples")).expect("removable");
    std::fs::remove_file(folder.path().join("out/receipts.parquet")).expect("removable");
    assert_eq!(code(&backwatt(folder.path(), &["run", "pilot.toml", "--quiet"])), 0);
    assert!(folder.path().join("out/samples/vehicle=V1").exists());
}

#[test]
fn nothing_read_is_not_done() {
    let (folder, _) = tiny_pilot(TINY);
    std::fs::write(folder.path().join("log.csv"), "a,b\n1,2\n").expect("writable");
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    assert_eq!(code(&output), 3);
    assert!(stderr(&output).contains("warning[run-nothing-read]"), "{}", stderr(&output));
}

#[test]
fn impossible_sheets_are_refused() {
    for (written, code) in [
        ("mass = \"1e16 kg\"", "pilot-out-of-range"),
        ("mass = \"3000 kg\"\npayload = \"-9 t\"", "pilot-out-of-range"),
        ("mass = \"3000 kg\"\npacks = 1e308", "pilot-out-of-range"),
        ("mass = \"3000 kg\"\naux_power = \"-5 kW\"", "pilot-out-of-range"),
        ("mass = \"3000 kg\"\npedal_regen_share = 50", "pilot-out-of-range"),
    ] {
        let text = refusal(&TINY.replace("mass = \"3000 kg\"", written));
        assert!(text.contains(code), "{written}: {text}");
    }
}
