use serde_json::Value;

use crate::{TINY, backwatt, code, stderr, stdout, tiny_pilot};

#[test]
fn time_and_speed_alone_still_give_a_ledger() {
    let (folder, _) = tiny_pilot(TINY);
    let output = backwatt(folder.path(), &["run", "pilot.toml", "--json", "--quiet"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let printed: Value = serde_json::from_str(&stdout(&output)).expect("JSON on stdout and nothing else");
    assert_eq!(printed["rows_in"], 120);
    let pilot = &printed["answers"]["groups"][0];
    assert_eq!(pilot["evidence"], "modelled");
    // By hand, 3,000 kg and 340 kg of rotating mass from 15 m/s at 1 m/s2, CdA 3.4, rho 1.225, C_rr 0.0077:
    // 375,750 J kinetic less 25,485 rolling less 26,357 air = 323,908 J.
    let braking = pilot["figures"]["energy_braking_kwh"].as_f64().expect("a figure");
    backwatt_testkit::within("braking [kWh]", braking, 323_908.0 / 3.6e6, 1e-4);
    for name in [
        "receipts.parquet",
        "recovery.parquet",
        "braking_balance.parquet",
        "open_values.parquet",
        "report/index.html",
        "report/tables/trips.csv",
    ] {
        assert!(folder.path().join("out").join(name).exists(), "{name}");
    }
}

#[test]
fn stages_one_by_one_come_to_the_same() {
    let (folder, _) = tiny_pilot(TINY);
    for stage in ["ingest", "replay", "estimate", "report"] {
        let output = backwatt(folder.path(), &[stage, "pilot.toml", "--out", "steps", "--quiet"]);
        assert_eq!(code(&output), 0, "{stage}: {}", stderr(&output));
    }
    backwatt(folder.path(), &["run", "pilot.toml", "--out", "whole", "--quiet"]);
    let read = |out: &str| std::fs::read(folder.path().join(out).join("recovery.parquet")).expect("written");
    assert_eq!(read("steps"), read("whole"));
}

#[test]
fn a_stage_out_of_turn_says_what_is_missing() {
    let (folder, _) = tiny_pilot(TINY);
    let output = backwatt(folder.path(), &["report", "pilot.toml", "--quiet"]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("error[run-stage-missing]: the estimate stage has not been run"));
}

#[test]
fn settings_say_where_each_value_comes_from() {
    let (folder, _) = tiny_pilot(TINY);
    let text = stdout(&backwatt(folder.path(), &["settings", "pilot.toml"]));
    let line = |key: &str| text.lines().find(|l| l.starts_with(key)).unwrap_or_default().to_owned();
    assert!(line("vehicle_types.van.mass").contains("3000 kg  (pilot.toml, line 5)"), "{text}");
    assert!(
        line("vehicle_types.van.rolling_resistance").contains("0.0077  (default: 40 CFR 1036.545(f)(4)"),
        "{text}"
    );
}

#[test]
fn an_inspected_folder_drafts_a_file_that_asks_for_the_mass() {
    let (folder, path) = tiny_pilot(TINY);
    std::fs::remove_file(path).expect("removable");
    let output = backwatt(folder.path(), &["inspect", "."]);
    // "t" and "v" are no words for a time and a speed: nothing is guessed from them.
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("left out log.csv: no column looks like a time"), "{}", stderr(&output));
    std::fs::write(folder.path().join("log.csv"), "time [s];speed [km/h]\n0;0\n1;5,5\n2;9,5\n3;12,0\n")
        .expect("writable");
    let draft = stdout(&backwatt(folder.path(), &["inspect", "."]));
    assert!(draft.contains("speed = { column = \"speed [km/h]\", unit = \"km/h\" }"), "{draft}");
    std::fs::write(folder.path().join("pilot.toml"), &draft).expect("writable");
    let refused = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    assert!(stderr(&refused).contains("\"vehicle_types.vehicle.mass\" wants a mass"), "{}", stderr(&refused));
    std::fs::write(folder.path().join("pilot.toml"), draft.replace("? kg", "3000 kg")).expect("writable");
    let run = backwatt(folder.path(), &["run", "pilot.toml", "--quiet"]);
    assert_eq!(code(&run), 0, "{}", stderr(&run));
}

#[test]
fn help_teaches_with_an_example() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for command in
        ["demo", "run", "inspect", "settings", "ingest", "replay", "estimate", "report", "completions"]
    {
        let output = backwatt(folder.path(), &[command, "--help"]);
        assert_eq!(code(&output), 0);
        let shown = stdout(&output);
        assert!(shown.contains("EXAMPLE\n  backwatt ") || shown.contains("EXAMPLES\n  backwatt "), "{command}");
    }
    assert!(stdout(&backwatt(folder.path(), &["completions", "bash"])).contains("complete -F _backwatt"));
}

#[test]
fn wrong_usage_and_rejected_rows_have_codes_of_their_own() {
    let (folder, _) = tiny_pilot(TINY);
    assert_eq!(code(&backwatt(folder.path(), &["rnu"])), 2);
    assert_eq!(code(&backwatt(folder.path(), &["run", "pilot.toml", "--allow-rejected", "7"])), 2);
    let mut log = std::fs::read_to_string(folder.path().join("log.csv")).expect("readable");
    log.push_str("garbage,1\n");
    std::fs::write(folder.path().join("log.csv"), log).expect("writable");
    assert_eq!(code(&backwatt(folder.path(), &["run", "pilot.toml", "--quiet"])), 0);
    let strict = backwatt(folder.path(), &["run", "pilot.toml", "--quiet", "--strict"]);
    assert_eq!(code(&strict), 3);
    assert!(stderr(&strict).contains("warning[run-rejected]"));
}

/// By hand, the stop of the tiny pilot with 1,000 kg more: a third more mass to stop, less what its tyres take.
#[test]
fn a_what_if_compares_the_same_trips() {
    let (folder, _) = tiny_pilot(TINY);
    let run = |words: &[&str]| backwatt(folder.path(), words);
    let asked = ["replay", "pilot.toml", "--quiet", "--with", "payload=+1000kg"];
    assert!(stderr(&run(&asked)).contains("error[run-stage-missing]"), "nothing was ingested yet");
    assert_eq!(code(&run(&["ingest", "pilot.toml", "--quiet"])), 0);
    let printed = stdout(&run(&asked));
    assert!(
        printed.contains("what if payload=+1000kg") && printed.contains("Speeds stay as\ndriven"),
        "{printed}"
    );
    let output = run(&["replay", "pilot.toml", "--quiet", "--json", "--with", "payload=+1000kg"]);
    let answers: Value = serde_json::from_str(&stdout(&output)).expect("JSON on stdout");
    let braking = |which: &str| answers["all"][format!("braking_{which}_kwh")].as_f64().expect("a figure");
    let kinetic_less_rolling = 0.5 * 1000.0 * 225.0 - 1000.0 * 9.80665 * 0.0077 * 112.5;
    let more = braking("changed") - braking("driven");
    backwatt_testkit::within("more braking [kWh]", more, kinetic_less_rolling / 3.6e6, 2e-3);
    assert!(folder.path().join("out").join("what_if").is_dir());
    let refused = run(&["replay", "pilot.toml", "--quiet", "--with", "paylod=3kg"]);
    assert_eq!(code(&refused), 1);
    assert!(stderr(&refused).contains("did you mean payload?"), "{}", stderr(&refused));
}

/// The tiny pilot with a load on board: 1,000 kg by manifest is 1,000 kg in the ledger, and a manifest at fault is refused.
#[test]
fn a_payload_manifest_loads_the_ledger() {
    // A manifest needs a wall clock.
    let dated =
        TINY.replace("kind = \"relative\"", "kind = \"epoch\"") + "\n[payloads]\nmanifest = \"loads.csv\"\n";
    let (folder, _) = tiny_pilot(&dated);
    let log = std::fs::read_to_string(folder.path().join("log.csv")).expect("a log");
    let later = |line: &str| match line.split_once(',') {
        Some((second, speed)) if second != "t" => {
            format!("{},{speed}\n", 1_700_000_000 + second.parse::<u64>().expect("a second"))
        }
        _ => format!("{line}\n"),
    };
    std::fs::write(folder.path().join("log.csv"), log.lines().map(later).collect::<String>()).expect("written");
    let run = |manifest: &str| {
        std::fs::write(folder.path().join("loads.csv"), manifest).expect("written");
        backwatt(folder.path(), &["run", "pilot.toml", "--json", "--quiet"])
    };
    let loaded = run("vehicle,from,until,payload [t]\nV1,2000-01-01T00:00Z,2050-01-01T00:00Z,1\n");
    assert_eq!(code(&loaded), 0, "{}", stderr(&loaded));
    let of = |output: &std::process::Output| -> f64 {
        let printed: Value = serde_json::from_str(&stdout(output)).expect("JSON");
        printed["answers"]["groups"][0]["figures"]["energy_braking_kwh"].as_f64().expect("a figure")
    };
    let empty = run("vehicle,from,until,payload [t]\nsomebody else,2000-01-01T00:00Z,2050-01-01T00:00Z,1\n");
    let more = of(&loaded) - of(&empty);
    let by_hand = (0.5 * 1000.0 * 225.0 - 1000.0 * 9.80665 * 0.0077 * 112.5) / 3.6e6;
    backwatt_testkit::within("more braking [kWh]", more, by_hand, 2e-3);
    let refused = run("vehicle,from,until,payload [t]\nV1,2000-01-01T00:00Z,1999-01-01T00:00Z,1\n");
    assert_eq!(code(&refused), 1);
    assert!(stderr(&refused).contains("loads.csv, line 2"), "{}", stderr(&refused));
}
