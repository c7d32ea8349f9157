//! How the study is laid out, in words, from the same constants that lay it out.

use crate::design::{self, Kind, Plan};
use crate::page::TRUTH_FLOOR_KWH;
use crate::score::WHOLE_FRAC;
use crate::targets::COVERAGE_90_PCT;

pub fn text(plans: &[Plan], seed: u64, below_floor: usize) -> String {
    let count = |kind: Kind| plans.iter().filter(|plan| plan.class.kind == kind).count();
    let pct = |share: f64| format!("{:.0} %", 100.0 * share);
    let list = |values: Vec<String>| values.join(", ");
    [
        format!(
            "{} made-up pilots of one truck and {} days, seed {seed}, driven by a forward model that shares no code and no \
             loss law with the estimator, and run through the program as a user's logs would be.",
            plans.len(),
            plans.iter().map(|plan| plan.trial.days).max().unwrap_or(0),
        ),
        format!(
            "{} draw the errors of the sheet evenly within their ranges, crossed with period ({} s), step of the state of \
             charge ({} %), drift of height ({} m: half of its variance in slow waves, half with a memory of one minute) and \
             truck (friction-only or parallel pedal); {} lie at fixed corners of the ranges and {} have one error \
             at a time (steps of {} %, 1 Hz, no drift of height).",
            count(Kind::Drawn),
            list(design::PERIODS_S.map(|value| value.to_string()).to_vec()),
            list(design::SOC_STEPS_PCT.map(|value| value.to_string()).to_vec()),
            list(design::HEIGHT_DRIFTS_M.map(|value| value.to_string()).to_vec()),
            count(Kind::Corner),
            count(Kind::OneFactor),
            design::FIXED_SOC_STEP_PCT,
        ),
        format!(
            "*Known*: capacity, drag area and rolling resistance within {}, payload logged. *Shop*: capacity within {}, payload \
             {} and not logged, rolling resistance {}, drag area {}, and the sheet's one efficiency moved by up to {:.2}.",
            pct(design::KNOWN_FRAC),
            pct(design::CAPACITY_FRAC),
            pct(design::PAYLOAD_FRAC),
            pct(design::ROLLING_FRAC),
            pct(design::DRAG_FRAC),
            design::EFFICIENCY_REACH,
        ),
        "On every sheet blending is stated, levels are nominal, one efficiency stands for losses that depend on load, tyres are off by up to 1.1 %, and nothing \
         is said of cab heating; two of the eight weeks that the days are taken from are frosty. The pilot file states the \
         range of payload, drag area, rolling resistance and capacity; empty mass, efficiency and levels have the program's own."
            .to_owned(),
        format!(
            "From a period of {} s on a truck of the same type logs at 1 Hz beside it; by level both trucks are taken together, as \
             the table groups them.",
            design::COMPANION_FROM_S,
        ),
        format!(
            "Truth is the positive part of what flows into the pack while moving, at the model's own step of 0.1 s. Errors, \
             half-widths and scores are percent of the truth, over pilots with a claim that covers {} of the distance or, for \
             braking, of the moving time; claims about less are counted beside it, in brackets. Bias is a mean; error and \
             half-width, of the 90 % interval, are medians.",
            pct(WHOLE_FRAC),
        ),
        "The table has the 5th, 50th and 95th percentile alone: the ends of the 50 and 80 % intervals scale each half of the 90 % \
         interval with the normal quantile. For braking energy the ends are those of the correction band. Score: mean interval \
         score of the 90 % interval (Gneiting and Raftery 2007, JASA 102, 359-378, eq. 43), the less the better."
            .to_owned(),
        format!(
            "Targets stand in brackets, those at 1 Hz for steps of 0.4 %; the 90 % interval is to hold the truth in {:.0} to \
             {:.0} % of the pilots. Levels with under {TRUTH_FLOOR_KWH} kWh recovered in truth, {below_floor} in all, are left out.",
            COVERAGE_90_PCT.0, COVERAGE_90_PCT.1,
        ),
    ]
    .join(" ")
        + "\n"
}
