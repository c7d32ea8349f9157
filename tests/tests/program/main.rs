//! The program as its users run it: stdout, stderr, exit codes, files.

mod commands;
mod crash;
mod faults;
mod hostile_logs;
mod page;
mod reference_pages;

use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;

/// Runs the program with these arguments, in a folder.
pub fn backwatt(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_backwatt"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .expect("the program starts")
}

pub fn stdout(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

pub fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

pub fn code(output: &Output) -> i32 {
    output.status.code().unwrap_or(-1)
}

/// A pilot file and one log beside it, at 1 Hz: 100 s up to 15 m/s, a stop at 1 m/s2, five rows at rest.
pub fn tiny_pilot(pilot: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut log = String::from("t,v\n");
    for second in 0..120 {
        let speed = if second < 100 { 0.15 * f64::from(second) } else { f64::from((115 - second).max(0)) };
        log.push_str(&format!("{second},{speed}\n"));
    }
    std::fs::write(folder.path().join("log.csv"), log).expect("writable");
    let path = folder.path().join("pilot.toml");
    std::fs::write(&path, pilot).expect("writable");
    (folder, path)
}

/// Time and speed, and nothing else.
pub const TINY: &str = r#"
[pilot]
name = "Tiny"
[vehicle_types.van]
mass = "3000 kg"
[[sources]]
files = "log.csv"
vehicle = "V1"
time = { column = "t", kind = "relative", unit = "s" }
[sources.columns]
speed = { column = "v", unit = "m/s" }
"#;
