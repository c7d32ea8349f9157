//! What must hold whatever the estimator is worth.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::{Result, ensure};

use crate::design::Plan;
use crate::pilot::{self, Row, What};
use crate::score::GRADES;

/// Every pilot has its row of either energy, every claim a grade and an ordered interval.
pub fn rows(plans: &[Plan], found: &[Row]) -> Result<()> {
    for (index, plan) in plans.iter().enumerate() {
        let own: Vec<&Row> = found.iter().filter(|row| row.pilot == index).collect();
        let label = &plan.class.label;
        for what in [What::Recovered, What::Braking] {
            ensure!(own.iter().any(|row| row.what == what), "{label}: no row of {what:?}");
        }
        for row in own {
            check_row(row).map_err(|error| error.context(format!("{label}: {:?}", row.what)))?;
        }
    }
    ensure!(
        found.iter().any(|row| row.what == What::Recovered && row.claim.is_some()),
        "no pilot claims anything"
    );
    Ok(())
}

fn check_row(row: &Row) -> Result<()> {
    ensure!(row.truth_kwh.is_finite() && row.truth_kwh >= 0.0, "the truth is {} kWh", row.truth_kwh);
    let Some(claim) = row.claim else { return Ok(()) };
    let [low, high] = claim.within_90;
    ensure!(
        0.0 <= low && low <= claim.p50 && claim.p50 <= high && high.is_finite(),
        "{low} <= {} <= {high} kWh does not hold",
        claim.p50
    );
    ensure!(
        row.what == What::Braking || GRADES.contains(&row.evidence.as_str()),
        "no grade: \"{}\"",
        row.evidence
    );
    Ok(())
}

/// The same plan twice: logs, truth and tables byte for byte.
pub fn same_bytes_twice(plan: &Plan) -> Result<()> {
    let made = || -> Result<BTreeMap<String, String>> {
        let folder = tempfile::tempdir()?;
        pilot::run(0, plan, folder.path())?;
        digests(folder.path())
    };
    let (one, two) = (made()?, made()?);
    ensure!(one.contains_key("out/recovery.parquet"), "a run leaves no answer table");
    ensure!(one.keys().eq(two.keys()), "two runs of one plan leave other files");
    for (name, digest) in &one {
        ensure!(two.get(name) == Some(digest), "two runs of one plan differ in {name}");
    }
    Ok(())
}

/// Every file below a folder by its name and digest.
fn digests(folder: &Path) -> Result<BTreeMap<String, String>> {
    let mut found = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for entry in std::fs::read_dir(&next)? {
            let path = entry?.path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder)?.display().to_string();
                found.insert(name, backwatt_store::digest_file(&path)?);
            }
        }
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantiles::from_90;

    fn row(claim: [f64; 3], evidence: &str) -> Row {
        let claim = Some(from_90(claim[0], claim[1], claim[2]));
        Row {
            pilot: 0,
            what: What::Recovered,
            truth_kwh: 1.0,
            claim,
            evidence: evidence.to_owned(),
            covered_frac: 1.0,
        }
    }

    #[test]
    fn faulty_claims_are_found() {
        assert!(check_row(&row([1.0, 2.0, 3.0], "inferred")).is_ok());
        assert!(check_row(&row([2.5, 2.0, 3.0], "inferred")).is_err());
        assert!(check_row(&row([1.0, 2.0, f64::NAN], "inferred")).is_err());
        assert!(check_row(&row([1.0, 2.0, 3.0], "none")).is_err());
    }
}
