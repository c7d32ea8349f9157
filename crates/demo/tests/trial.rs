//! A trial pilot on disk: its truth, its sheet, its logs.

use std::fs;
use std::path::Path;

use backwatt_demo::trial::{Base, COMPANION, SheetSays, TRUCK, Trial, write};

const TRIAL: Trial = Trial {
    base: Base::Medium,
    days: 3,
    period_s: 10,
    soc_step_pct: 0.4,
    has_pack_power: false,
    has_payload_column: false,
    has_level_column: true,
    height_drift_m: 15.0,
    has_fast_companion: true,
    sheet: SheetSays {
        payload_factor: 1.2,
        payload_range_frac: 0.2,
        drag_area_factor: 0.85,
        ..SheetSays::RIGHT
    },
};

fn written(trial: &Trial, seed: u64) -> tempfile::TempDir {
    let dir = tempfile::tempdir().expect("a temporary folder");
    write(dir.path(), trial, seed).expect("a trial pilot");
    dir
}

fn text(dir: &Path, name: &str) -> String {
    fs::read_to_string(dir.join(name)).expect("a text file")
}

/// A column of a table with a header, as numbers.
fn column(table: &str, name: &str) -> Vec<f64> {
    let mut lines = table.lines();
    let place = lines.next().expect("a header").split(',').position(|cell| cell == name).expect("the column");
    lines
        .map(|line| line.split(',').nth(place).and_then(|cell| cell.parse().ok()).unwrap_or(f64::NAN))
        .collect()
}

fn first_log(dir: &Path, truck: &str) -> String {
    let mut days: Vec<_> =
        fs::read_dir(dir.join("logs/harbour").join(truck)).expect("logs").flatten().map(|e| e.path()).collect();
    days.sort();
    fs::read_to_string(&days[0]).expect("a log")
}

fn stated(pilot: &str, key: &str) -> f64 {
    let line = pilot.lines().find(|line| line.starts_with(&format!("{key} = "))).expect("the key");
    let value = line.split_once(" = ").expect("a value").1.trim_matches('"');
    value.split(' ').next().and_then(|number| number.parse().ok()).expect("a number")
}

#[test]
fn the_sheet_departs_from_the_truth_by_the_factors_and_its_range_holds_it() {
    let dir = written(&TRIAL, 4);
    let (pilot, days) = (text(dir.path(), "pilot.toml"), text(dir.path(), "truth/vehicle_days.csv"));
    let (loads, metres) = (column(&days, "payload_distance_mean_kg"), column(&days, "distance_m"));
    let own = 0..TRIAL.days;
    let truth_kg =
        own.clone().map(|day| loads[day] * metres[day]).sum::<f64>() / metres[own].iter().sum::<f64>();
    assert!((truth_kg / stated(&pilot, "payload") - 1.2).abs() < 1e-3);
    assert!((stated(&pilot, "payload_low")..=stated(&pilot, "payload_high") + 1.0).contains(&truth_kg));
    let vehicles = text(dir.path(), "truth/vehicles.csv");
    assert!((column(&vehicles, "area_drag_m2")[0] / stated(&pilot, "drag_area") - 0.85).abs() < 1e-3);
    let usable = column(&vehicles, "energy_usable_kwh")[0];
    assert!((usable / (5.0 * 0.9 * stated(&pilot, "pack_energy")) - 1.0).abs() < 1e-3);
}

#[test]
fn the_companion_is_fast_and_neither_logs_current() {
    let dir = written(&TRIAL, 4);
    let (slow, fast) = (first_log(dir.path(), TRUCK), first_log(dir.path(), COMPANION));
    assert!(fast.lines().count() > 5 * slow.lines().count());
    for log in [&slow, &fast] {
        let header = log.lines().next().expect("a header");
        assert!(header.contains("regen_level") && !header.contains("pack_a"), "{header}");
    }
}

/// How far the first truck's logged height is off a log of the same drive without drift: mean square. [m²]
fn height_error_m2(drift_m: f64) -> f64 {
    let fast = Trial { period_s: 1, has_fast_companion: false, ..TRIAL };
    let heights = |drift_m: f64| -> Vec<f64> {
        (0..8)
            .flat_map(|seed| {
                let dir = written(&Trial { days: 1, height_drift_m: drift_m, ..fast }, seed);
                column(&first_log(dir.path(), TRUCK), "altitude_ft")
            })
            .collect()
    };
    let (drifted, still) = (heights(drift_m), heights(0.0));
    assert_eq!(drifted.len(), still.len());
    let squares = drifted.iter().zip(&still).map(|(a, b)| ((a - b) * 0.3048).powi(2));
    squares.sum::<f64>() / drifted.len() as f64
}

#[test]
fn height_drifts_by_what_is_asked() {
    let found_m = height_error_m2(15.0).sqrt();
    assert!((12.5..17.5).contains(&found_m), "{found_m} m");
}

#[test]
fn several_levels_occur_and_the_same_seed_gives_the_same_bytes() {
    let trial = Trial { days: 10, has_fast_companion: false, ..TRIAL };
    for seed in 0..6 {
        let levels = text(written(&trial, seed).path(), "truth/levels.csv");
        let mut names: Vec<&str> = levels.lines().skip(1).filter_map(|line| line.split(',').nth(2)).collect();
        names.sort_unstable();
        names.dedup();
        assert!(names.len() >= 3, "{names:?}");
    }
    let both = [written(&trial, 9), written(&trial, 9)];
    for name in ["pilot.toml", "truth/vehicle_days.csv", "truth/levels.csv"] {
        assert_eq!(text(both[0].path(), name), text(both[1].path(), name));
    }
    assert_eq!(first_log(both[0].path(), TRUCK), first_log(both[1].path(), TRUCK));
}
