//! Every figure of every pilot, for whoever wants to look closer.

use std::fmt::Write as _;

use anyhow::{Context, Result, bail};

use crate::design::Plan;
use crate::pilot::{Row, What};
use crate::quantiles::from_90;

pub fn csv(plans: &[Plan], found: &[Row]) -> String {
    let mut text = String::from(
        "pilot,class,seed,truck,period_s,soc_step_pct,height_drift_m,mass_factor,payload_factor,drag_area_factor,\
         rolling_factor,capacity_factor,motor_efficiency,what,evidence,covered_frac,truth_kwh,p05_kwh,p50_kwh,p95_kwh\n",
    );
    for row in found {
        let plan = &plans[row.pilot];
        let (trial, sheet) = (&plan.trial, &plan.trial.sheet);
        let _ = write!(
            text,
            "{},\"{}\",{},{:?},{},{},{},{:.4},{:.4},{:.4},{:.4},{:.4},{:.4},{},{},{:.4},{:.4}",
            row.pilot,
            plan.class.label,
            plan.seed,
            trial.base,
            trial.period_s,
            trial.soc_step_pct,
            trial.height_drift_m,
            sheet.mass_factor,
            sheet.payload_factor,
            sheet.drag_area_factor,
            sheet.rolling_factor,
            sheet.capacity_factor,
            sheet.motor_efficiency,
            name(&row.what),
            row.evidence,
            row.covered_frac,
            row.truth_kwh,
        );
        let _ = match row.claim {
            Some(claim) => {
                writeln!(text, ",{:.4},{:.4},{:.4}", claim.within_90[0], claim.p50, claim.within_90[1])
            }
            None => writeln!(text, ",,,"),
        };
    }
    text
}

/// The figures of an earlier run of the same plans.
pub fn read(text: &str, plans: &[Plan]) -> Result<Vec<Row>> {
    let lines = text.lines().enumerate().skip(1);
    lines.map(|(at, line)| one(line, plans).with_context(|| format!("line {}", at + 1))).collect()
}

/// Only the class may hold commas: the figures are counted from the end.
fn one(line: &str, plans: &[Plan]) -> Result<Row> {
    let pilot: usize = line.split(',').next().unwrap_or_default().parse()?;
    let plan = plans.get(pilot).context("no such pilot")?;
    if !line.starts_with(&format!("{pilot},\"{}\",{},", plan.class.label, plan.seed)) {
        bail!("it is of another design or seed");
    }
    let mut fields: Vec<&str> = line.rsplit(',').take(7).collect();
    fields.reverse();
    let [what, evidence, covered, truth, ends @ ..] = &fields[..] else { bail!("fields are missing") };
    let claim = match ends {
        [p05, p50, p95] if !p50.is_empty() => Some(from_90(p05.parse()?, p50.parse()?, p95.parse()?)),
        _ => None,
    };
    Ok(Row {
        pilot,
        what: named(what)?,
        truth_kwh: truth.parse()?,
        claim,
        evidence: (*evidence).to_owned(),
        covered_frac: covered.parse()?,
    })
}

fn named(text: &str) -> Result<What> {
    Ok(match text.split_once(" at ") {
        Some(("recovered", level)) => What::Level(level.to_owned()),
        None if text == "recovered" => What::Recovered,
        None if text == "braking" => What::Braking,
        _ => bail!("no figure is called {text:?}"),
    })
}

fn name(what: &What) -> String {
    match what {
        What::Recovered => "recovered".to_owned(),
        What::Level(level) => format!("recovered at {level}"),
        What::Braking => "braking".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design;

    #[test]
    fn what_is_written_reads_as_it_was() {
        let plans = design::small(1);
        let row = |what, claim| Row {
            pilot: 1,
            what,
            truth_kwh: 10.25,
            claim,
            evidence: "inferred".to_owned(),
            covered_frac: 0.875,
        };
        let rows = vec![
            row(What::Recovered, Some(from_90(8.0, 10.5, 12.0))),
            row(What::Level("low".to_owned()), Some(from_90(1.0, 2.0, 3.0))),
            row(What::Braking, None),
        ];
        let text = csv(&plans, &rows);
        assert_eq!(read(&text, &plans).expect("it reads"), rows);
        let other = text.replace(&format!(",{},", plans[1].seed), ",77,");
        assert!(read(&other, &plans).is_err(), "rows of another seed");
    }
}
