//! Does the plan hold, and where does the gap come from?

use std::collections::BTreeMap;

use backwatt_schema::tables;

use crate::chart::{self, Against};
use crate::figure::{Kind, fixed, plain};

use super::grid::{self, Grid, figure, noted, page_only, remarks, shared, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::verdicts::{self, SCOPE};
use super::{Drawing, Tables, Topic, causes};

const CHECKS: [grid::Column; 11] = [
    shared("assumption", |row, _| {
        let assumption = row.words("assumption")?;
        Ok(if reads_by_row(row)? { assumption } else { format!("{assumption}: {}", row.words("measure")?) })
    }),
    words("for", |row, _| {
        let scope = row.scope(&SCOPE)?;
        Ok(if !reads_by_row(row)? {
            scope
        } else if scope == WHOLE {
            row.words("measure")?
        } else {
            format!("{scope}: {}", row.words("measure")?)
        })
    }),
    figure("plan", |row, units| row.in_unit("plan_value", units)),
    page_only(figure("still agrees", |row, _| row.range_in_unit(["margin_low", "margin_high"]))),
    figure("driven", |row, units| row.in_unit("value_p50", units)),
    figure("90 %, any such trucks", |row, _| row.range_in_unit(["value_p05", "value_p95"])),
    noted(words("verdict", |row, _| row.words("verdict"))),
    page_only(words("evidence", |row, _| row.words("evidence"))),
    page_only(figure("vehicles", |row, _| row.whole("vehicles"))),
    figure("n", |row, _| row.whole("vehicle_days")),
    remarks("note", remark),
];

const WHOLE: &str = "whole pilot";
/// Readings drawn; the rest is in the table.
const DRAWN: usize = 40;

const GAPS: [grid::Column; 7] = [
    shared("plan for", |row, _| row.scope(&SCOPE)),
    noted(words("part of the gap", |row, _| causes::part(row))),
    figure("{kWh/mile}", |row, _| row.shown("gap_p50_kwh_mi", Kind::PerDistance, 3)),
    figure("90 %, these trucks", |row, _| {
        row.range(["gap_p05_kwh_mi", "gap_p95_kwh_mi"], Kind::PerDistance, 3)
    }),
    words("evidence", |row, _| row.words("evidence")),
    page_only(figure("n", |row, _| row.whole("vehicle_days"))),
    remarks("note", |row, _| row.words("why")),
];

/// What was driven over what was planned, one row for each reading; none where nothing can be laid beside a plan.
fn drawing(checks: &[Row<'_>]) -> Read<Option<Drawing>> {
    let mut drawn = Vec::new();
    for row in checks.iter().take(DRAWN) {
        let (Some(plan), Some(value)) = (row.number("plan_value")?, row.number("value_p50")?) else { continue };
        let ends = ["value_p05", "value_p95", "margin_low", "margin_high"];
        let [Some(low), Some(high), Some(from), Some(to)] =
            [row.number(ends[0])?, row.number(ends[1])?, row.number(ends[2])?, row.number(ends[3])?]
        else {
            continue;
        };
        if plan <= 0.0 {
            continue;
        }
        let percent = |value: f64| fixed(100.0 * value / plan, 0);
        drawn.push(Against {
            label: plain(&label(row)?),
            value: value / plan,
            low: low / plan,
            high: high / plan,
            agrees_from: from / plan,
            agrees_to: to / plan,
            told: format!(
                "{} % ({} to {}): {}",
                percent(value),
                percent(low),
                percent(high),
                plain(&row.words("verdict")?)
            ),
            evidence: row.text("evidence")?.to_owned(),
        });
    }
    Ok((!drawn.is_empty()).then(|| Drawing {
        caption: "Driven over planned, in % of the planned value, with 90 % intervals for any such trucks; shaded: what still agrees. A full dot is \
            measured, a ring inferred, a square modelled.",
        svg: chart::against("What was driven over what was planned", &drawn),
        is_half: false,
        is_detail: false,
    }))
}

/// "energy: harbour, winter", "regen share: recapture of braking".
fn label(row: &Row<'_>) -> Read<String> {
    let assumption = row.words("assumption")?;
    let what = assumption.strip_suffix(" per distance").unwrap_or(&assumption);
    let scope = row.scope(&SCOPE)?;
    if row.text("could_be_true_of")?.is_empty() {
        return Ok(format!("{what}: {scope}"));
    }
    let measure = row.words("measure")?;
    Ok(format!("{what}: {}", measure.split(": ").next().unwrap_or(&measure)))
}

/// True where rows of one assumption are told apart by what is measured.
fn reads_by_row(row: &Row<'_>) -> Read<bool> {
    Ok(row.text("assumption")? == "range" || !row.text("could_be_true_of")?.is_empty())
}

/// An assumed range that the use assumed for the same type cannot reach on the packs it is assumed for, even down to empty.
fn contradicts_itself(
    range: &Row<'_>,
    checks: &[Row<'_>],
    pack_kwh: &BTreeMap<String, f64>,
    units: Units,
) -> Read<Option<String>> {
    let vehicle_type = range.text("vehicle_type")?;
    let packs = range.text("measure")?.strip_prefix("range on ").and_then(|rest| rest.split(' ').next());
    let (Some(packs), Some(each_kwh), Some(miles)) = (
        packs.and_then(|packs| packs.parse::<f64>().ok()),
        pack_kwh.get(vehicle_type),
        range.number("plan_value")?,
    ) else {
        return Ok(None);
    };
    for use_ in checks {
        let is_of_it = use_.text("assumption")?.starts_with("energy")
            && use_.text("vehicle_type")? == vehicle_type
            && use_.text("route")? == range.text("route")?
            && use_.text("season")?.is_empty();
        let asked_kwh = use_.number("plan_value")?.filter(|_| is_of_it).map(|kwh_mi| kwh_mi * miles);
        if let Some(asked_kwh) = asked_kwh.filter(|asked| *asked > packs * each_kwh) {
            let kwh = |kwh: f64| units.figure(Kind::Energy.si_of("_kwh", kwh), Kind::Energy, 1);
            return Ok(Some(format!(
                "The plan contradicts itself for {}: {} over {} are {} kWh, more than the {} kWh that {packs} packs hold as stated.",
                range.words("vehicle_type")?,
                use_.in_unit("plan_value", units)?,
                range.in_unit("plan_value", units)?,
                kwh(asked_kwh),
                kwh(packs * each_kwh),
            )));
        }
    }
    Ok(None)
}

/// Of a range without a verdict: it may be told all the same that it is no shorter than what still agrees.
fn no_shorter(row: &Row<'_>, units: Units) -> Read<Option<String>> {
    let is_open = row.text("assumption")? == "range" && row.text("verdict")? == "cannot tell";
    let ends = row.number("value_p05")?.zip(row.number("margin_low")?);
    if !is_open || ends.is_none_or(|(low, least)| low < least) {
        return Ok(None);
    }
    Ok(Some(format!(
        "Range, {}: planned {}, driven {} (90 % interval {}; {}; {} vehicle-days): no shorter than what still agrees; whether longer cannot be told.",
        row.scope(&SCOPE)?,
        row.in_unit("plan_value", units)?,
        row.in_unit("value_p50", units)?,
        row.range_in_unit(["value_p05", "value_p95"])?,
        row.words("evidence")?,
        row.whole("vehicle_days")?,
    )))
}

/// What would bring a verdict, and what to keep in mind.
fn remark(row: &Row<'_>, _: Units) -> Read<String> {
    let mut parts = Vec::new();
    if row.number("value_p05")?.is_none() {
        parts.push(row.words("why")?);
    } else if row.text("verdict")? == "cannot tell" {
        parts.push(if row.count("more_vehicle_days")?.is_some() {
            format!("some {} more vehicle-days would tell", row.whole("more_vehicle_days")?)
        } else if row.count("more_vehicles")?.is_some() {
            format!(
                "more days of these vehicles would not tell; some {} more vehicles would",
                row.whole("more_vehicles")?
            )
        } else {
            "neither more days nor more vehicles would tell: what all days share leaves too much open"
                .to_owned()
        });
    }
    if !row.text("caution")?.is_empty() {
        parts.push(row.words("caution")?);
    }
    Ok(parts.join("; "))
}

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new("plan", "The plan", "Does the pilot bear out the plan?", "plan-and-packs.md");
    let checks = tables.rows(&tables::PLAN_CHECK);
    if checks.is_empty() {
        topic.miss(
            "No assumption to check. Write the plan into the pilot file, for instance [[plan.energy]] with \
             use = \"1.0 kW.h/mi\" and tolerance = \"10 %\", or [[plan.regen]] with a share and what it is a share of.",
        );
        return Ok(topic);
    }
    let gaps = tables.rows(&tables::PLAN_GAP);
    let assumptions = verdicts::assumptions(&checks)?;
    let mut lead = verdicts::lead(&assumptions, &gaps, units)?;
    for row in &checks {
        if let Some(told) = contradicts_itself(row, &checks, &tables.pack_kwh, units)? {
            lead = format!("{lead} {told}");
        }
    }
    topic.tell(lead);
    for row in &checks {
        if row.text("assumption")?.starts_with("energy") {
            topic.tell(verdicts::energy(row, &gaps, units)?);
        }
    }
    for row in &checks {
        topic.answer.extend(no_shorter(row, units)?);
    }
    for sentence in verdicts::unstated(&assumptions, units)? {
        topic.tell(sentence);
    }
    topic.drawings.extend(drawing(&checks)?);
    topic.notes.extend([
        "Agrees: the whole 90 % interval lies inside what still agrees. Differs: wholly outside. Anything else cannot be told \
         yet; a difference that is merely not significant is no agreement. n: vehicle-days.",
        "Two intervals: for any such trucks, in which trucks count as a draw from many, decides the verdict; for these trucks alone, as on \
         every other page, it is narrower.",
    ]);
    topic.grids.push(Grid::new("The plan against the pilot", &tables::PLAN_CHECK, &checks, &CHECKS, units)?);
    if gaps.is_empty() {
        topic.miss("The gap is not split by cause: that takes an assumption under [[plan.energy]], and [plan.scenario] for its causes.");
    } else {
        topic.grids.push(Grid::new(
            "Where the gap in {kWh/mile} comes from: parts add up to driven less planned, plus where the pilot uses more; their intervals do not add up",
            &tables::PLAN_GAP,
            &gaps,
            &GAPS,
            units,
        )?);
    }
    Ok(topic)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::topics::made::{Typed, batch};
    use crate::topics::rows::rows;

    /// By hand: 1.1 kWh/mile over 85 miles are 93.5 kWh; five packs of 18 hold 90, and of 20 they hold 100.
    #[test]
    fn a_range_beyond_what_the_packs_hold_is_told() {
        let of = |assumption: &'static str, measure: &'static str, unit: &'static str, plan: &'static str| {
            [
                ("assumption", assumption),
                ("measure", measure),
                ("vehicle_type", "van"),
                ("unit", unit),
                ("plan_value", plan),
            ]
        };
        let made = [
            of("energy per distance", "consumption", "kW.h/[mi_i]", "1.1"),
            of("range", "range on 5 packs from full to the reserve", "[mi_i]", "85"),
        ];
        let made: Vec<Typed<'_>> = made.iter().map(|row| &row[..]).collect();
        let table = batch(&tables::PLAN_CHECK, &made);
        let checks = rows(&tables::PLAN_CHECK, &table, false);
        let told = |each_kwh: f64| {
            let packs = BTreeMap::from([("van".to_owned(), each_kwh)]);
            contradicts_itself(&checks[1], &checks, &packs, Units { metric: false }).expect("a sentence")
        };
        let short = plain(&told(18.0).expect("a contradiction"));
        assert!(short.contains("93.5 kWh, more than the 90.0 kWh that 5 packs hold"), "{short}");
        assert_eq!(told(20.0), None);
    }
}
