//! One pilot: made, run through the facade, and held against its truth.

use std::path::Path;

use anyhow::{Result, bail};
use backwatt::{Run, tables};
use backwatt_demo::trial::{TRUCK, write};
use backwatt_testkit::Table;

use crate::design::Plan;
use crate::quantiles::{Quantiles, from_90};
use crate::truth;

/// What a row is about.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// Recovered energy of the trial's truck.
    Recovered,
    /// Recovered energy at one regen level, all trucks of the pilot.
    Level(String),
    /// Braking energy at the wheels of the trial's truck.
    Braking,
}

/// A figure of the answer table and its truth.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Number of the pilot in its plan.
    pub pilot: usize,
    pub what: What,
    pub truth_kwh: f64,
    /// `None` where the table makes no claim.
    pub claim: Option<Quantiles>,
    pub evidence: String,
    /// Share of the distance (recovered) or of the moving time (braking) that the claim covers.
    pub covered_frac: f64,
}

/// Leaves logs, truth and tables in the folder.
pub fn run(pilot: usize, plan: &Plan, folder: &Path) -> Result<Vec<Row>> {
    let made = write(folder, &plan.trial, plan.seed)?;
    let read = backwatt::read_pilot(&made.pilot_file);
    let read = read.map_err(|problems| anyhow::anyhow!("the pilot file is refused: {problems:?}"))?;
    let run = Run::new(read, folder.join("out"));
    run.ingest(&backwatt::silent)?;
    run.replay(&backwatt::silent)?;
    run.estimate(&backwatt::silent)?;
    let table = Answers::of(&Table::read(&[run.layout.table(&tables::RECOVERY)], &tables::RECOVERY));
    let truth = truth::read(&made.truth_dir)?;
    let Some(own) = table.row("vehicle", TRUCK) else { bail!("the answer table has no row for {TRUCK}") };
    let row = |what, truth_kwh, claim, covered_frac, at: usize| Row {
        pilot,
        what,
        truth_kwh,
        claim,
        evidence: table.evidence[at].clone(),
        covered_frac,
    };
    let mut rows = vec![
        row(What::Recovered, truth.recovered_kwh, table.recovered(own), table.distance_frac[own], own),
        row(What::Braking, truth.braking_kwh, table.braking(own), table.claimed_frac[own], own),
    ];
    for (level, truth_kwh) in truth.levels_kwh {
        if let Some(at) = table.row("regen_level", &level) {
            rows.push(row(What::Level(level), truth_kwh, table.recovered(at), table.distance_frac[at], at));
        }
    }
    Ok(rows)
}

/// The columns of the answer table that are looked at.
struct Answers {
    groups: Vec<(String, String)>,
    evidence: Vec<String>,
    recovered: [Vec<Option<f64>>; 3],
    braking: [Vec<Option<f64>>; 3],
    distance_frac: Vec<f64>,
    claimed_frac: Vec<f64>,
}

impl Answers {
    fn of(table: &Table) -> Answers {
        let texts = |name| table.texts(name).into_iter().map(Option::unwrap_or_default).collect::<Vec<_>>();
        let shares = |name| table.numbers(name).into_iter().map(|share| share.unwrap_or(0.0)).collect();
        Answers {
            groups: texts("grouping").into_iter().zip(texts("group")).collect(),
            evidence: texts("recapture_evidence"),
            recovered: ["p05", "p50", "p95"].map(|at| table.numbers(&format!("energy_recovered_{at}_kwh"))),
            braking: ["_low", "", "_high"].map(|at| table.numbers(&format!("energy_braking{at}_kwh"))),
            distance_frac: shares("recapture_distance_share_frac"),
            claimed_frac: shares("braking_claimed_share_frac"),
        }
    }

    fn row(&self, grouping: &str, group: &str) -> Option<usize> {
        self.groups.iter().position(|(of, name)| of == grouping && name == group)
    }

    fn recovered(&self, row: usize) -> Option<Quantiles> {
        quantiles(&self.recovered, row)
    }

    /// Where the table claims no braking energy it sums to nothing.
    fn braking(&self, row: usize) -> Option<Quantiles> {
        (self.claimed_frac[row] > 0.0).then(|| quantiles(&self.braking, row)).flatten()
    }
}

/// A middle without ends is a claim too, and a faulty one: its ends are not numbers, and the check finds them.
fn quantiles([low, middle, high]: &[Vec<Option<f64>>; 3], row: usize) -> Option<Quantiles> {
    let end = |of: &[Option<f64>]| of[row].unwrap_or(f64::NAN);
    middle[row].map(|middle| from_90(end(low), middle, end(high)))
}
