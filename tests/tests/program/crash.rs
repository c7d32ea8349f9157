//! A run that is killed, or that finds no room: nothing half written counts, and the next run ends as if nothing had happened.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use crate::{backwatt, code, stderr, stdout};

/// Three vehicles, some thousand rows each, in two files a vehicle; some rows are faulty.
fn small_pilot() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let pilot = r#"
[pilot]
name = "Crash"
[vehicle_types.van]
mass = "3000 kg"
[[sources]]
files = "{vehicle}-*.csv"
time = { column = "t", kind = "epoch", unit = "s" }
[sources.columns]
speed = { column = "v", unit = "m/s" }
state_of_charge = { column = "soc", unit = "%" }
"#;
    std::fs::write(folder.path().join("pilot.toml"), pilot).expect("writable");
    for vehicle in ["A", "B", "C"] {
        for day in 0..2 {
            let mut log = String::from("t,v,soc\n");
            for second in 0..4000 {
                let speed = 10.0 - 10.0 * (f64::from(second % 120) / 120.0 * std::f64::consts::TAU).cos();
                let soc = 90.0 - f64::from(second) / 100.0;
                let time = 1_772_433_000 + day * 86_400 + second;
                log.push_str(&format!("{time},{speed:.2},{soc:.1}\n"));
                if second % 500 == 17 {
                    log.push_str("garbage,1,2\n");
                }
            }
            std::fs::write(folder.path().join(format!("{vehicle}-{day}.csv")), log).expect("writable");
        }
    }
    folder
}

/// Every file below a folder with its bytes.
fn tree(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for path in std::fs::read_dir(next).expect("a folder").map(|entry| entry.expect("an entry").path()) {
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder).expect("below it").display().to_string();
                files.insert(name, std::fs::read(&path).expect("readable"));
            }
        }
    }
    files
}

fn assert_same(found: &BTreeMap<String, Vec<u8>>, wanted: &BTreeMap<String, Vec<u8>>, when: &str) {
    let names = |tree: &BTreeMap<String, Vec<u8>>| tree.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(found), names(wanted), "{when}: other files");
    for (name, bytes) in wanted {
        assert!(found[name] == *bytes, "{when}: {name} has other bytes");
    }
}

fn run_into(folder: &Path, out: &str) -> Output {
    backwatt(folder, &["run", "pilot.toml", "--quiet", "--out", out])
}

/// A dozen moments spread over the run by a fixed rule. Each killed run starts on what the one before left.
#[cfg(unix)]
#[test]
fn killed_at_any_moment_the_next_run_ends_in_the_same_bytes() {
    use std::os::unix::process::ExitStatusExt;
    let folder = small_pilot();
    let begun = Instant::now();
    let whole = run_into(folder.path(), "whole");
    assert_eq!(code(&whole), 0, "{}", stderr(&whole));
    let usual = begun.elapsed();
    let wanted = tree(&folder.path().join("whole"));
    let mut killed = 0;
    for moment in 0..12_u32 {
        // Multiples of the golden ratio's fraction fill the run evenly and never repeat.
        let share = (f64::from(moment + 1) * 0.618_034).fract();
        let mut run = Command::new(env!("CARGO_BIN_EXE_backwatt"))
            .current_dir(folder.path())
            .args(["run", "pilot.toml", "--quiet", "--out", "killed"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        std::thread::sleep(usual.mul_f64(share * 0.9));
        run.kill().expect("SIGKILL can be sent");
        killed += u32::from(run.wait().expect("it ends").signal() == Some(9));
        if moment % 4 == 3 {
            assert_eq!(code(&run_into(folder.path(), "killed")), 0);
            assert_same(&tree(&folder.path().join("killed")), &wanted, "after four kills");
            // From the start again, else there is nothing left to interrupt.
            std::fs::remove_dir_all(folder.path().join("killed")).expect("removable");
        }
    }
    assert!(killed >= 6, "only {killed} of 12 runs were caught alive");
}

/// A limit on the size of files, as a full disk would, stops the program in the middle of a table.
#[cfg(unix)]
#[test]
fn no_room_is_a_clear_error_and_leaves_nothing_half_written() {
    let folder = small_pilot();
    let whole = run_into(folder.path(), "whole");
    assert_eq!(code(&whole), 0, "{}", stderr(&whole));
    let wanted = tree(&folder.path().join("whole"));
    let largest = wanted.values().map(Vec::len).max().unwrap_or(0);
    let mut told = 0;
    // In blocks of 512 bytes; the signal is ignored, so that writing fails as it does on a full disk.
    for blocks in [1, 16, 64, largest / 512 - 1] {
        let program = env!("CARGO_BIN_EXE_backwatt");
        let script =
            format!("trap '' XFSZ; ulimit -f {blocks}; exec '{program}' run pilot.toml --quiet --out full");
        let output =
            Command::new("sh").args(["-c", &script]).current_dir(folder.path()).output().expect("sh runs");
        assert_eq!(code(&output), 1, "{blocks} blocks: {}", stderr(&output));
        assert!(!stderr(&output).contains("panicked"), "{}", stderr(&output));
        let clear = stderr(&output).contains("error[run-disk-full]") && stderr(&output).contains("make room");
        assert!(clear, "{blocks} blocks: {}", stderr(&output));
        told += 1;
        // What stands there is whole: the same bytes as in the undisturbed run, or not there at all.
        for (name, bytes) in tree(&folder.path().join("full")) {
            let unfinished = name.contains(".unfinished-") || name.starts_with(".spool");
            assert!(unfinished || wanted.get(&name) == Some(&bytes), "{blocks} blocks: {name} is half written");
        }
    }
    assert_eq!(told, 4);
    assert_eq!(code(&run_into(folder.path(), "full")), 0);
    assert_same(&tree(&folder.path().join("full")), &wanted, "after no room");
}

/// A real file system of 200 kB, where one can be mounted.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told_as_one() {
    let folder = small_pilot();
    let disk = folder.path().join("disk");
    std::fs::create_dir(&disk).expect("makable");
    let mounted = Command::new("mount").args(["-t", "tmpfs", "-o", "size=200k", "none"]).arg(&disk).output();
    if !mounted.is_ok_and(|output| output.status.success()) {
        eprintln!("SKIPPED a_full_disk_is_told_as_one: nothing can be mounted here");
        return;
    }
    let output = run_into(folder.path(), "disk/out");
    let unmounted = Command::new("umount").arg(&disk).status();
    assert!(unmounted.is_ok_and(|status| status.success()));
    assert_eq!(code(&output), 1, "{}", stderr(&output));
    assert!(stderr(&output).contains("error[run-disk-full]"), "{}", stderr(&output));
}

#[test]
fn two_runs_into_one_folder_are_one_too_many() {
    let folder = small_pilot();
    std::fs::create_dir(folder.path().join("out")).expect("makable");
    let held = std::fs::File::create(folder.path().join("out/.in-use")).expect("makable");
    held.lock().expect("lockable");
    for stage in ["run", "ingest"] {
        let output = backwatt(folder.path(), &[stage, "pilot.toml", "--quiet"]);
        assert_eq!(code(&output), 1, "{}", stdout(&output));
        assert!(stderr(&output).contains("another run is writing to"), "{}", stderr(&output));
        assert!(stderr(&output).contains("--out"), "{}", stderr(&output));
    }
    assert!(!folder.path().join("out/samples").exists());
    drop(held);
    assert_eq!(code(&backwatt(folder.path(), &["run", "pilot.toml", "--quiet"])), 0);
    // The real thing, as far as two starts can meet: one of them, or both one after the other.
    let begin = || {
        let mut command = Command::new(env!("CARGO_BIN_EXE_backwatt"));
        command.current_dir(folder.path()).args(["run", "pilot.toml", "--quiet", "--out", "both"]);
        command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().expect("the program starts")
    };
    let (first, second) = (begin(), begin());
    std::thread::sleep(Duration::from_millis(1));
    for run in [first, second] {
        let output = run.wait_with_output().expect("it ends");
        let refused = code(&output) == 1 && stderr(&output).contains("another run is writing to");
        assert!(code(&output) == 0 || refused, "{}", stderr(&output));
    }
    assert_eq!(code(&run_into(folder.path(), "both")), 0);
    assert_same(&tree(&folder.path().join("both")), &tree(&folder.path().join("out")), "after two at once");
}
