//! Passenger EV, 25 sound trips of two seasons, each season a pilot of its own.

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use backwatt_testkit::within;
use rayon::prelude::*;
use tempfile::TempDir;

use super::coarser::{Coarser, logs};
use super::score::{Coverage, Pair, Scored, Unknown, unknowns};
use crate::fit::{Fit, Pair as Weighed, median};
use crate::passenger_ev::{DAMAGED, DATA, VEHICLE, WHOLE};
use crate::set::{Set, figure, pilot_without, present, sanity, shared_file};

pub const STEPS_PCT: [f64; 3] = [0.1, 0.5, 1.0];
pub const INTERVALS_S: [f64; 4] = [1.0, 5.0, 10.0, 30.0];
/// Where targets are set.
const TARGET_STEP_PCT: f64 = 1.0;

const NAME: &str = "passenger-ev";
const HIDE: Coarser<'static> = Coarser {
    delimiter: b';',
    hidden: &["Battery Voltage", "Battery Current"],
    soc: &["SoC [%]"],
    soc_step: None,
    every: Some(("Time [s]", 1.0)),
};
const SHOW: Coarser<'static> = Coarser { hidden: &[], ..HIDE };

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Season {
    Summer,
    Winter,
}

impl Season {
    pub const BOTH: [Season; 2] = [Season::Summer, Season::Winter];

    fn has(self, file: &str) -> bool {
        let begins = if self == Season::Summer { "TripA" } else { "TripB" };
        file.starts_with(begins) && file != DAMAGED
    }

    pub fn name(self) -> &'static str {
        if self == Season::Summer { "summer" } else { "winter" }
    }
}

/// One derived pilot and how it scored.
pub struct Case {
    pub season: Season,
    pub step_pct: f64,
    pub interval_s: f64,
    pub scored: Scored,
}

/// What a season's log says of the sheet when power is shown, at one row a second and the same steps.
pub struct Shown {
    pub season: Season,
    pub unknowns: Vec<Unknown>,
    /// Mass that explains the measured power, median over the trips, and that of the sheet. [kg]
    pub mass_by_power_kg: f64,
    pub mass_by_sheet_kg: f64,
    /// Recovered energy in rows a second apart over that at 10 Hz. [1]
    pub seen_frac: f64,
    /// Measured over what the sheet has: gross energy of driving, and what returned at the bus. [1]
    pub drive_ratio: f64,
    pub return_ratio: f64,
    /// Net energy at the terminals over the fall of the state of charge, both at 10 Hz. [kWh]
    pub kwh_per_soc: f64,
}

/// The logs once a second: every interval is made of whole seconds, so one copy serves all.
fn seconds(coarser: &Coarser<'_>) -> Vec<(String, Vec<u8>)> {
    let folder: PathBuf = shared_file(DATA, "SANITY.csv").parent().expect("a folder").to_owned();
    logs(&folder, |name| Season::BOTH.iter().any(|season| season.has(name)))
        .into_par_iter()
        .map(|(name, log)| (name, coarser.of(&log)))
        .collect()
}

fn written(seconds: &[(String, Vec<u8>)], season: Season, coarser: &Coarser<'_>) -> TempDir {
    let place = tempfile::tempdir().expect("a temporary folder");
    for (name, log) in seconds.iter().filter(|(name, _)| season.has(name)) {
        std::fs::write(place.path().join(name), coarser.of(log)).expect("the copy can be written");
    }
    place
}

fn coarser(of: Coarser<'static>, step_pct: f64, interval_s: f64) -> Coarser<'static> {
    Coarser { soc_step: Some(step_pct), every: Some(("Time [s]", interval_s)), ..of }
}

/// All cases, where the data set is.
pub static CASES: LazyLock<Option<Vec<Case>>> = LazyLock::new(|| {
    let measured = WHOLE.as_ref()?;
    let truth = |file: &str| measured.file_sum(VEHICLE, file, "energy_recovered_kwh");
    let pilot = pilot_without(NAME, &["pack_voltage", "pack_current"]);
    let seconds = seconds(&HIDE);
    let mut cases = Vec::new();
    for interval_s in INTERVALS_S {
        for step_pct in STEPS_PCT {
            for season in Season::BOTH {
                let place = written(&seconds, season, &coarser(HIDE, step_pct, interval_s));
                let scored = Scored::run(&pilot, place.path(), VEHICLE, &truth);
                cases.push(Case { season, step_pct, interval_s, scored });
            }
        }
    }
    Some(cases)
});

/// Slow logs at [`TARGET_STEP_PCT`] with the same car's trips of the other season beside them, one row a second and without
/// power: a faster log of the fleet to draw speeds from. They are another vehicle to the estimator.
pub static BESIDE: LazyLock<Option<Vec<Case>>> = LazyLock::new(|| {
    let measured = WHOLE.as_ref()?;
    let truth = |file: &str| measured.file_sum(VEHICLE, file, "energy_recovered_kwh");
    let pilot = pilot_without(NAME, &["pack_voltage", "pack_current"]);
    let (head, source) = pilot.split_once("[[sources]]").expect("the fixture has a source");
    assert!(source.contains("\"Trip*.csv\"") && source.contains(VEHICLE));
    let beside = source.replace("Trip*.csv", "beside/Trip*.csv").replace(VEHICLE, "beside");
    let pilot = format!("{head}[[sources]]{source}\n[[sources]]{beside}");
    let seconds = seconds(&HIDE);
    let run = |interval_s: f64, season: Season| {
        let place = written(&seconds, season, &coarser(HIDE, TARGET_STEP_PCT, interval_s));
        let other = if season == Season::Summer { Season::Winter } else { Season::Summer };
        let faster = written(&seconds, other, &coarser(HIDE, TARGET_STEP_PCT, 1.0));
        std::fs::rename(faster.path(), place.path().join("beside"))
            .expect("the other season can be put beside");
        let scored = Scored::run(&pilot, place.path(), VEHICLE, &truth);
        Case { season, step_pct: TARGET_STEP_PCT, interval_s, scored }
    };
    Some(INTERVALS_S[1..].iter().flat_map(|&s| Season::BOTH.map(|season| run(s, season))).collect())
});

pub static SHOWN: LazyLock<Option<Vec<Shown>>> = LazyLock::new(|| {
    let measured = WHOLE.as_ref()?;
    let pilot = pilot_without(NAME, &[]);
    let seconds = seconds(&SHOW);
    let shown = |season: Season| {
        let place = written(&seconds, season, &coarser(SHOW, TARGET_STEP_PCT, 1.0));
        let set = Set::run_text(&pilot, place.path());
        let known = |column: &str| set.trips.numbers(column).into_iter().flatten();
        let of_files = |of: &dyn Fn(&str) -> f64| season_files(&seconds, season).map(of).sum::<f64>();
        let fine = |column: &str| of_files(&|file| measured.file_sum(VEHICLE, file, column));
        let [soc_start, soc_end] =
            ["soc_start_frac", "soc_end_frac"].map(|column| measured.segments.numbers(column));
        let fall = of_files(&|file| {
            let rows = measured.rows_of_file(&measured.segments, VEHICLE, file);
            rows.into_iter().filter_map(|row| Some(soc_start[row]? - soc_end[row]?)).sum()
        });
        let sum = |column: &str| set.segments.sum(column);
        let net = sum("energy_discharged_kwh") - sum("energy_recovered_kwh");
        let returned = sum("energy_returned_bus_kwh");
        let drive = net - sum("energy_auxiliary_kwh") + returned;
        let returned_by_sheet = sum("energy_recoverable_kwh") + sum("braking_to_auxiliaries_kwh");
        Shown {
            season,
            unknowns: unknowns(&set),
            mass_by_power_kg: median(known("mass_estimated_kg")),
            mass_by_sheet_kg: median(known("mass_kg")),
            seen_frac: sum("energy_recovered_kwh") / fine("energy_recovered_kwh"),
            drive_ratio: drive / sum("energy_drive_dc_kwh"),
            return_ratio: returned / returned_by_sheet,
            kwh_per_soc: (fine("energy_discharged_kwh") - fine("energy_recovered_kwh")) / fall,
        }
    };
    Some(Season::BOTH.map(shown).into())
});

fn season_files(seconds: &[(String, Vec<u8>)], season: Season) -> impl Iterator<Item = &str> {
    seconds.iter().map(|(name, _)| name.as_str()).filter(move |name| season.has(name))
}

pub fn case(cases: &[Case], season: Season, step_pct: f64, interval_s: f64) -> &Case {
    let is_it = |case: &&Case| {
        case.season == season
            && (case.step_pct - step_pct).abs() < 1e-9
            && (case.interval_s - interval_s).abs() < 1e-9
    };
    cases.iter().find(is_it).expect("every combination is a case")
}

/// Trips of both seasons.
pub fn coverage(cases: &[Case], step_pct: f64, interval_s: f64) -> Coverage {
    let of = |season| case(cases, season, step_pct, interval_s).scored.coverage();
    of(Season::Summer).add(of(Season::Winter))
}

/// What the estimator is meant to reach.
pub struct Target {
    pub what: String,
    pub wanted: String,
    pub found: String,
    pub is_reached: bool,
}

pub fn targets(cases: &[Case], beside: &[Case]) -> Vec<Target> {
    let mut targets = Vec::new();
    for (interval_s, error, cases, library) in
        [(1.0, 0.05, cases, ""), (10.0, 0.15, cases, ", cycles"), (10.0, 0.15, beside, ", own library")]
    {
        for season in Season::BOTH {
            let found = case(cases, season, TARGET_STEP_PCT, interval_s).scored.whole.error_frac();
            targets.push(Target {
                what: format!("{} pooled, 1 % steps, {interval_s} s{library}: error", season.name()),
                wanted: format!("{:.0} %", 100.0 * error),
                found: found.map_or("no claim".to_owned(), |found| format!("{:+.1} %", 100.0 * found)),
                is_reached: found.is_some_and(|found| found.abs() <= error),
            });
        }
    }
    for season in Season::BOTH {
        let whole = &case(cases, season, TARGET_STEP_PCT, 1.0).scored.whole;
        targets.push(Target {
            what: format!("{} pooled, 1 % steps, 1 s: interval", season.name()),
            wanted: "holds what was measured".to_owned(),
            found: whole
                .is_held()
                .map_or("no claim", |held| if held { "holds it" } else { "misses it" })
                .to_owned(),
            is_reached: whole.is_held() == Some(true),
        });
    }
    let trips = coverage(cases, TARGET_STEP_PCT, 1.0);
    targets.push(Target {
        what: "trips, 1 % steps, 1 s: intervals that hold what was measured".to_owned(),
        wanted: "80 to 98 %".to_owned(),
        found: trips.frac().map_or("no claim".to_owned(), |frac| format!("{:.0} %", 100.0 * frac)),
        is_reached: trips.frac().is_some_and(|frac| (0.80..=0.98).contains(&frac)),
    });
    targets.push(Target {
        what: "trips, 1 % steps, 1 s: binomial test against 90 %".to_owned(),
        wanted: "p above 0.05".to_owned(),
        found: trips.p_value().map_or("no claim".to_owned(), |p| format!("p = {p:.1e}")),
        is_reached: trips.p_value().is_some_and(|p| p > 0.05),
    });
    targets
}

/// The targets reached at present, by how [`Target::what`] begins.
const REACHED: [&str; 5] = [
    "winter pooled, 1 % steps, 10 s, own library: error",
    "summer pooled, 1 % steps, 1 s: interval",
    "winter pooled, 1 % steps, 1 s: interval",
    "trips, 1 % steps, 1 s: intervals that hold what was measured",
    "trips, 1 % steps, 1 s: binomial test against 90 %",
];

#[test]
fn known_disagreement_passenger_ev_targets_missed() {
    let (Some(cases), Some(beside)) = (here(), BESIDE.as_ref()) else { return };
    let wrong: Vec<String> = targets(cases, beside)
        .iter()
        .filter(|target| target.is_reached != REACHED.iter().any(|reached| target.what.starts_with(reached)))
        .map(|target| format!("{}: wanted {}, found {}", target.what, target.wanted, target.found))
        .collect();
    assert!(wrong.is_empty(), "missed or reached, other than REACHED says: {wrong:#?}");
}

fn here() -> Option<&'static Vec<Case>> {
    present(&WHOLE, "hidden_power", DATA)?;
    CASES.as_ref()
}

/// Left rectangles in `SANITY.csv`, straight lines here. [1]
const SHARE: f64 = 0.002;

#[test]
fn passenger_ev_measured_is_that_of_the_raw_files() {
    let Some(cases) = here() else { return };
    for season in Season::BOTH {
        let raw: f64 = sanity(DATA)
            .iter()
            .filter(|row| season.has(&row["file"]))
            .map(|row| figure(row, "recovered_moving_kwh"))
            .sum();
        let scored = &case(cases, season, 1.0, 1.0).scored;
        assert_eq!(scored.trips.len(), if season == Season::Summer { 16 } else { 9 });
        within(season.name(), scored.trips.iter().map(|trip| trip.measured_kwh).sum(), raw, SHARE);
    }
}

/// Found -7.1 to -14.0 %: the sheet's mass is a tenth below the one that explains the measured power, and rows a second
/// apart hide 4 to 5 %.
#[test]
fn passenger_ev_once_a_second_is_within_a_fifth() {
    let Some(cases) = here() else { return };
    for case in cases.iter().filter(|case| case.interval_s <= 1.0) {
        let error = case.scored.whole.error_frac().expect("a log once a second claims a figure");
        assert!((-0.2..0.2).contains(&error), "{} {} %: {error}", case.season.name(), case.step_pct);
    }
}

/// A plain regression gives a fifth less from finer steps than from coarse ones: windows follow the step there.
/// Found 4 % between most and least.
#[test]
fn passenger_ev_does_not_hang_on_the_step() {
    let Some(cases) = here() else { return };
    for season in Season::BOTH {
        let found = STEPS_PCT
            .map(|step| case(cases, season, step, 1.0).scored.whole.answer.inferred_kwh.expect("a claim")[1]);
        let (least, most) =
            found.iter().fold((f64::INFINITY, 0.0_f64), |(l, m), kwh| (l.min(*kwh), m.max(*kwh)));
        assert!(most < 1.1 * least, "{}: {found:?} kWh", season.name());
    }
}

/// Which trips brought much back is inferred well, however wrong the scale.
#[test]
fn passenger_ev_tells_trips_apart() {
    let Some(cases) = here() else { return };
    let pair = |trip: &Pair| {
        let inferred = trip.answer.inferred_kwh.expect("a claim")[1];
        Weighed { weight: 1.0, modelled: inferred, measured: trip.measured_kwh }
    };
    for step in STEPS_PCT {
        let trips = Season::BOTH.iter().flat_map(|&season| &case(cases, season, step, 1.0).scored.trips);
        let fit = Fit::of(&trips.map(pair).collect::<Vec<_>>());
        println!("trips at {step} %: r squared {:.3}", fit.r_squared);
        assert!(fit.r_squared > 0.9, "{}", fit.r_squared);
    }
}

/// The derived logs are what they say: a value every second, steps of one percent.
#[test]
fn passenger_ev_logs_are_coarse() {
    let Some(_) = here() else { return };
    let place = written(&seconds(&HIDE), Season::Winter, &coarser(HIDE, 1.0, 10.0));
    let log = std::fs::read(Path::new(place.path()).join("TripB19.csv")).expect("the copy was written");
    let text = String::from_utf8_lossy(&log);
    // 1191.0 s long (`SANITY.csv`): 0 to 1190 s.
    assert_eq!(text.lines().count(), 1 + 120);
    assert!(!text.contains("Battery Voltage") && !text.contains("Battery Current"));
}
