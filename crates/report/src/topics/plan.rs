//! Does the plan hold, and where does the gap come from?

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{Grid, figure, page_only, remarks, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::{Tables, Topic, counted, grid};

const SCOPE: [&str; 3] = ["vehicle_type", "route", "season"];

const CHECKS: [grid::Column; 12] = [
    words("assumption", |row, _| Ok(format!("{}, {}", row.words("assumption")?, row.scope(&SCOPE)?))),
    words("measured as", |row, _| row.words("measure")),
    figure("plan", |row, units| value(row, "plan_value", units)),
    page_only(figure("still agrees", |row, _| range(row, ["margin_low", "margin_high"]))),
    figure("driven", |row, units| value(row, "value_p50", units)),
    figure("90 % interval", |row, _| range(row, ["value_p05", "value_p95"])),
    words("verdict", |row, _| row.words("verdict")),
    page_only(words("could be true of", |row, _| row.words("could_be_true_of"))),
    page_only(words("evidence", |row, _| row.words("evidence"))),
    page_only(figure("vehicles", |row, _| row.whole("vehicles"))),
    figure("n", |row, _| row.whole("vehicle_days")),
    remarks("why", |row, _| row.joined(&["why", "caution"])),
];

const GAPS: [grid::Column; 7] = [
    words("plan for", |row, _| row.scope(&SCOPE)),
    words("part of the gap", |row, _| row.words("part")),
    figure("{kWh/mile}", |row, _| row.shown("gap_p50_kwh_mi", Kind::PerDistance, 3)),
    figure("90 % interval", |row, _| row.range(["gap_p05_kwh_mi", "gap_p95_kwh_mi"], Kind::PerDistance, 3)),
    words("evidence", |row, _| row.words("evidence")),
    page_only(figure("vehicle-days", |row, _| row.whole("vehicle_days"))),
    remarks("how", |row, _| row.words("why")),
];

fn value(row: &Row<'_>, name: &str, units: Units) -> Read<String> {
    row.in_unit(name, units)
}

fn range(row: &Row<'_>, names: [&str; 2]) -> Read<String> {
    row.range_in_unit(names)
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
    topic.tell(verdicts(&checks)?);
    for row in &checks {
        if row.text("assumption")?.starts_with("energy") {
            topic.tell(sentence(row, units)?);
        }
    }
    if let Some(sentence) = unstated(&checks)? {
        topic.tell(sentence);
    }
    topic.notes.push(
        "Agrees: the whole 90 % interval lies inside the plan's margin. Differs: wholly outside. Anything else cannot be told \
         yet; a difference that is merely not significant is no agreement. n: vehicle-days.",
    );
    topic.grids.push(Grid::new("The plan against the pilot", &tables::PLAN_CHECK, &checks, &CHECKS, units)?);
    let gaps = tables.rows(&tables::PLAN_GAP);
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

fn verdicts(checks: &[Row<'_>]) -> Read<String> {
    let mut counts = [("agrees", 0_usize), ("differs", 0), ("cannot tell", 0)];
    for row in checks {
        let verdict = row.text("verdict")?;
        counts.iter_mut().filter(|(name, _)| *name == verdict).for_each(|(_, n)| *n += 1);
    }
    let [(_, agrees), (_, differs), (_, open)] = counts;
    Ok(format!(
        "The pilot agrees with {} of {} of the plan, each under one measure, differs from {} and cannot tell of {}.",
        some(agrees),
        counted(checks.len(), "reading"),
        some(differs),
        some(open),
    ))
}

fn some(n: usize) -> String {
    if n == 0 { "none".to_owned() } else { n.to_string() }
}

fn sentence(row: &Row<'_>, units: Units) -> Read<String> {
    if row.number("value_p50")?.is_none() {
        return Ok(format!(
            "Energy, {}: planned {}, and nothing driven or claimed there to hold it against: {}.",
            row.scope(&SCOPE)?,
            value(row, "plan_value", units)?,
            row.words("verdict")?,
        ));
    }
    Ok(format!(
        "Energy, {}: planned {}, driven {} (90 % interval {}; {}; {} vehicle-days, {} {}; {}): {}.",
        row.scope(&SCOPE)?,
        value(row, "plan_value", units)?,
        value(row, "value_p50", units)?,
        range(row, ["value_p05", "value_p95"])?,
        row.words("evidence")?,
        row.whole("vehicle_days")?,
        row.shown("distance_mi", Kind::Distance, 0)?,
        units.distance(),
        row.words("measure")?,
        row.words("verdict")?,
    ))
}

/// What a share without a denominator could be a share of.
fn unstated(checks: &[Row<'_>]) -> Read<Option<String>> {
    let mut could = Vec::new();
    for row in checks {
        if !row.text("could_be_true_of")?.is_empty() {
            could.push(format!("of {}? {}", bracketed(row.text("measure")?), row.text("could_be_true_of")?));
        }
    }
    Ok((!could.is_empty()).then(|| {
        format!("The plan's regen share names no denominator. Could it be true {}.", could.join("; "))
    }))
}

/// "R1 recapture of braking (recovered over braking energy)": a name with what it stands for.
fn bracketed(measure: &str) -> String {
    match measure.split_once(": ") {
        Some((name, formula)) => format!("{name} ({formula})"),
        None => measure.to_owned(),
    }
}
