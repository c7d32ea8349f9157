//! Every figure of every pilot, for whoever wants to look closer.

use std::fmt::Write as _;

use crate::design::Plan;
use crate::pilot::{Row, What};

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

fn name(what: &What) -> String {
    match what {
        What::Recovered => "recovered".to_owned(),
        What::Level(level) => format!("recovered at {level}"),
        What::Braking => "braking".to_owned(),
    }
}
