//! What holds on every log, whatever its vehicle.

use std::collections::BTreeMap;

use backwatt::tables;
use backwatt_testkit::{Table, fixture};

use crate::set::Set;

/// Identity (3): kinetic, grade, rolling and aero against tractive less braking, over tractive plus braking. [1]
const CLOSURE: f64 = 1e-9;
/// Parts of braking energy against braking energy. [1]
const PARTS: f64 = 1e-9;
/// Room for rounding in an order of energies, and in a sum that should be nothing. [kWh], 4 µJ
const ROUNDING_KWH: f64 = 1e-12;

/// Everything below. Named by the data set, for the message.
pub fn hold(name: &str, set: &Set) {
    assert!(set.trips.rows() > 0 && set.segments.rows() > 0, "{name}: nothing was replayed");
    ledger_closes(name, set);
    receipts_balance(name, set);
    cascade_sums(&format!("{name} segments"), &set.segments);
    cascade_sums(&format!("{name} braking events"), &set.events);
    energies_are_in_order(name, set);
    segments_do_not_overlap(name, set);
    percentiles_are_in_order(name, set);
    modelled_recovery_was_braked(name, set);
}

fn known(table: &Table, column: &str) -> Vec<f64> {
    table.numbers(column).into_iter().map(|v| v.unwrap_or_else(|| panic!("{column} is never null"))).collect()
}

fn ledger_closes(name: &str, set: &Set) {
    for (row, residual) in known(&set.trips, "ledger_residual_frac").into_iter().enumerate() {
        assert!(residual.abs() <= CLOSURE, "{name}: trip {row} leaves {residual:e}");
    }
    let segments = &set.segments;
    let [kinetic, rolling, aero, tractive, braking] = ["kinetic", "rolling", "aero", "tractive", "braking"]
        .map(|n| known(segments, &format!("energy_{n}_kwh")));
    let grade = segments.numbers("energy_grade_kwh");
    let basis = segments.texts("grade_basis");
    for row in 0..segments.rows() {
        let accounts = kinetic[row] + rolling[row] + aero[row] + grade[row].unwrap_or(0.0);
        let rest = accounts - (tractive[row] - braking[row]);
        let limit = CLOSURE * (tractive[row] + braking[row]) + ROUNDING_KWH;
        assert!(rest.abs() <= limit, "{name}: segment {row} leaves {rest:e} kWh, {limit:e} allowed");
        let flat = basis[row].as_deref() == Some("none");
        assert_eq!(
            grade[row].is_none(),
            flat,
            "{name}: segment {row}, grade {:?}, {:?}",
            grade[row],
            basis[row]
        );
    }
}

fn receipts_balance(name: &str, set: &Set) {
    let counts = |column| set.receipts.counts(column);
    let (rows_in, kept, rejected, cells) =
        (counts("rows_in"), counts("rows_kept"), counts("rows_rejected"), counts("cells_refused"));
    assert!(!rows_in.is_empty() && rows_in.iter().all(|n| *n > 0), "{name}: {rows_in:?}");
    for (row, total) in rows_in.iter().enumerate() {
        assert_eq!(*total, kept[row] + rejected[row], "{name}: receipt {row}");
    }
    let scopes = set.rejects.texts("scope");
    let of = |scope: &str| scopes.iter().filter(|s| s.as_deref() == Some(scope)).count() as u64;
    assert_eq!(of("row"), rejected.iter().sum::<u64>(), "{name}: refused rows");
    assert_eq!(of("cell"), cells.iter().sum::<u64>(), "{name}: refused cells");
    assert!(set.receipts.texts("problem").iter().all(Option::is_none), "{name}: a file could not be read");
}

/// The columns of the cascade sum to the braking energy in every row.
fn cascade_sums(name: &str, table: &Table) {
    let braking = known(table, "energy_braking_kwh");
    let parts: Vec<Vec<f64>> = tables::CASCADE.iter().map(|column| known(table, column)).collect();
    for (row, braking) in braking.iter().enumerate() {
        let sum: f64 = parts.iter().map(|part| part[row]).sum();
        let limit = PARTS * braking + ROUNDING_KWH;
        assert!((sum - braking).abs() <= limit, "{name} {row}: parts {sum}, braking {braking}");
        assert!(parts.iter().all(|part| part[row] >= -ROUNDING_KWH), "{name} {row}: a part is negative");
    }
}

fn energies_are_in_order(name: &str, set: &Set) {
    let rising = |table: &Table, columns: &[&str]| {
        let values: Vec<Vec<f64>> = columns.iter().map(|column| known(table, column)).collect();
        for (at, pair) in values.windows(2).enumerate() {
            for (row, (low, high)) in pair[0].iter().zip(&pair[1]).enumerate() {
                let in_order = *low <= high + ROUNDING_KWH;
                assert!(in_order, "{name} row {row}: {} {low} above {} {high}", columns[at], columns[at + 1]);
            }
        }
    };
    let modelled = ["energy_recoverable_kwh", "energy_attainable_kwh", "energy_braking_kwh"];
    rising(&set.segments, &modelled);
    rising(&set.events, &modelled);
    let bounds = ["energy_recoverable_low_kwh", "energy_recoverable_kwh", "energy_recoverable_high_kwh"];
    rising(&set.segments, &bounds);
}

fn segments_do_not_overlap(name: &str, set: &Set) {
    let vehicles = set.segments.texts("vehicle_id");
    let (starts, ends) = (set.segments.times("time_start_ns"), set.segments.times("time_end_ns"));
    let mut last: BTreeMap<Option<String>, i64> = BTreeMap::new();
    for (row, vehicle) in vehicles.into_iter().enumerate() {
        assert!(starts[row] < ends[row], "{name}: segment {row} lasts");
        if let Some(before) = last.insert(vehicle, ends[row]) {
            assert!(before <= starts[row], "{name}: segment {row} begins before the one before has ended");
        }
    }
}

fn percentiles_are_in_order(name: &str, set: &Set) {
    for figure in ["energy_recovered", "energy_discharged", "energy_net"] {
        let [low, middle, high] =
            ["p05", "p50", "p95"].map(|p| set.battery.numbers(&format!("{figure}_{p}_kwh")));
        for row in 0..set.battery.rows() {
            assert_eq!(low[row].is_some(), high[row].is_some(), "{name}: {figure} of segment {row}");
            if let (Some(low), Some(middle), Some(high)) = (low[row], middle[row], high[row]) {
                let in_order = low <= middle + ROUNDING_KWH && middle <= high + ROUNDING_KWH;
                assert!(in_order, "{name}: {figure} of segment {row}: {low}, {middle}, {high}");
            }
        }
    }
}

/// Where nothing of the battery is logged, no more is called recovered than was braked, at the upper end of what its sampling
/// leaves open.
fn modelled_recovery_was_braked(name: &str, set: &Set) {
    let (evidence, recovered) =
        (set.battery.texts("evidence"), set.battery.numbers("energy_recovered_p50_kwh"));
    let braked = known(&set.segments, "energy_braking_kwh");
    assert_eq!(braked.len(), recovered.len(), "{name}: one row of battery figures a segment");
    let (high, as_found) =
        (set.trips.numbers("energy_braking_high_kwh"), set.trips.numbers("energy_braking_kwh"));
    let hidden =
        high.iter().zip(&as_found).filter_map(|(high, found)| Some((*high)? / found.filter(|f| *f > 0.0)?));
    let most_hidden = hidden.fold(1.0, f64::max);
    let modelled = (0..recovered.len()).filter(|&row| evidence[row].as_deref() == Some("modelled"));
    for (row, recovered) in modelled.filter_map(|row| Some((row, recovered[row]?))) {
        let most = braked[row] * most_hidden + ROUNDING_KWH;
        assert!(recovered <= most, "{name}: segment {row} models {recovered} kWh of {most} braked");
    }
}

/// The bytes of an excerpt are those whose SHA-256 its card prints.
pub fn card_has_checksums(name: &str, set: &Set) {
    let card = fixture("real").join(name).join("CARD.md");
    let card = std::fs::read_to_string(&card).unwrap_or_else(|e| panic!("{}: {e}", card.display()));
    for (file, digest) in set.receipts.texts("source_file").into_iter().zip(set.receipts.texts("digest_sha256"))
    {
        let (file, digest) = (file.expect("a name"), digest.expect("the file was read"));
        let line = card.lines().find(|line| line.contains(&file) && line.contains(&digest));
        assert!(line.is_some(), "{name}: the card has no line with {file} and {digest}");
    }
}
