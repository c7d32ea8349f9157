//! Which pack count finishes a route with its reserve?

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{self, Cell, Grid, Head, figure, page_only, shared, words};
use super::pack_cases::{AS_DRIVEN, Case, cases, distinct, with_interval};
use super::packs_told as told;
use super::rows::{Read, Row, UNKNOWN};
use super::units::Units;
use super::{Tables, Topic};

const RESTS_ON: [grid::Column; 11] = [
    shared("type", |row, _| row.words("vehicle_type")),
    words("route", |row, _| row.words("route")),
    words("season", |row, _| row.words("season")),
    figure("packs", |row, _| row.whole("packs")),
    figure("usable, kWh", |row, _| row.fixed("capacity_usable_kwh", 1)),
    figure("day, median kWh", |row, _| row.fixed("energy_day_p50_kwh", 1)),
    figure("day, 90th percentile kWh", |row, _| row.fixed("energy_day_p90_kwh", 1)),
    figure("left at the end of the worst day in ten, %", |row, _| row.percent("soc_end_p10_frac", 0)),
    figure("{miles} a pack", |row, _| row.shown("range_per_pack_mi", Kind::Distance, 1)),
    figure("n", |row, _| row.whole("vehicle_days")),
    page_only(words("evidence", |row, _| row.words("evidence"))),
];

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "packs",
        "Packs",
        "Which pack count finishes the route with its reserve?",
        "plan-and-packs.md",
    );
    let rows = tables.rows(&tables::PACK_SIZING);
    let cases = cases(&rows, |name| tables.packs_fitted.get(name).copied())?;
    if cases.is_empty() {
        topic.miss(
            "No pack count can be judged: that takes packs and kWh per pack in each vehicle type of the pilot file \
             (packs, pack_energy), and service days with a distance.",
        );
        return Ok(topic);
    }
    let kinds = distinct(&rows, "scenario")?;
    let tells_charging = distinct(&rows, "midday_charging")?.len() > 1;
    let of_fitted = told::fitted(&cases, tells_charging)?;
    if !of_fitted.is_empty() {
        topic.tell(of_fitted.join(" "));
    }
    for sentence in told::other_days(&cases, &kinds, tells_charging)? {
        topic.tell(sentence);
    }
    topic.tell(told::fewest(&cases, tells_charging)?);
    topic.notes.push(
        "The probability that one more day like those driven ends with its reserve untouched; it runs a little high: of days given 96 % about 92 % held on made-up pilots. Enough: \
         the whole interval reaches what is asked for; probably enough: the figure does. Look at the low end before a purchase. n: vehicle-days; of fewer than three nothing is said, of fewer than six the figure is provisional and its \
         interval too narrow. Hot, cold, heavy and \
         worn: the same days under other weather, a full load or an aged battery, modelled.",
    );
    topic.grids.push(by_kind(&rows, &cases, &kinds, tells_charging)?);
    topic.grids.push(by_count(&rows, &cases, tells_charging)?.folded());
    topic.grids.push(
        Grid::new(
            "What it rests on: the packs the trucks have, or else the fewest that will do, on days as driven",
            &tables::PACK_SIZING,
            &rested_on(&cases)?,
            &RESTS_ON,
            units,
        )?
        .folded(),
    );
    Ok(topic)
}

/// What is asked for, where it is the same of all rows.
fn asked_for(rows: &[Row<'_>]) -> Read<String> {
    let Some(first) = rows.first() else { return Ok(String::new()) };
    let same = |column: &str| -> Read<bool> {
        let value = first.number(column)?;
        rows.iter()
            .map(|row| Ok(row.number(column)? == value))
            .try_fold(true, |all, is: Read<bool>| Ok(all && is?))
    };
    let reserve = if same("reserve_frac")? {
        format!("{} % in reserve", first.percent("reserve_frac", 0)?)
    } else {
        "the reserve".to_owned()
    };
    let target = if same("target_frac")? {
        format!("a probability of {} % or more", first.percent("target_frac", 0)?)
    } else {
        "the probability asked for".to_owned()
    };
    let charging = match &distinct(rows, "midday_charging")?[..] {
        [one] => format!("; midday charging {one}"),
        _ => String::new(),
    };
    Ok(format!("one more such day ends with {reserve} at {target}{charging}"))
}

/// What names a case, in a table.
fn named_heads(tells_charging: bool) -> Vec<Head> {
    let type_ = Head { is_shared: true, ..Head::words("type") };
    let mut heads = vec![type_, Head::words("route"), Head::words("season")];
    if tells_charging {
        heads.push(Head::words("midday charging"));
    }
    heads
}

fn named(case: &Case<'_>, tells_charging: bool) -> Read<Vec<Cell>> {
    let name = case.words("vehicle_type")?;
    let name = case.fitted.map_or(name.clone(), |packs| format!("{name} (has {packs})"));
    let mut cells =
        vec![Cell::words(name), Cell::words(case.words("route")?), Cell::words(case.words("season")?)];
    if tells_charging {
        cells.push(Cell::words(case.words("midday_charging")?));
    }
    Ok(cells)
}

/// A column for each kind of day: the fewest packs that will do.
fn by_kind(rows: &[Row<'_>], cases: &[Case<'_>], kinds: &[&str], tells_charging: bool) -> Read<Grid> {
    let mut heads = named_heads(tells_charging);
    for (at, kind) in kinds.iter().enumerate() {
        // A terminal is 80 columns wide: the days as driven, and the worst.
        let head =
            Head::words(if kind.contains(", ") { format!("all together: {kind}") } else { (*kind).to_owned() });
        heads.push(if at == 0 || at + 1 == kinds.len() { head } else { head.page_only() });
    }
    heads.extend([Head::figures("n"), Head::words("evidence of the fewest, as driven").page_only()]);
    let mut filled = Vec::new();
    for case in cases {
        let mut cells = named(case, tells_charging)?;
        for kind in kinds {
            cells.push(Cell::words(fewest(case, kind)?));
        }
        let as_driven = case.fewest(AS_DRIVEN)?;
        let of = |text: fn(&Row<'_>) -> Read<String>| as_driven.as_ref().map_or(Ok(UNKNOWN.to_owned()), text);
        cells.push(Cell::figures(of(|row| row.whole("vehicle_days"))?));
        cells.push(Cell::words(of(|row| row.words("evidence"))?));
        filled.push(cells);
    }
    let caption = format!(
        "The fewest packs with which {}: the count, then its probability in % with the 90 % interval",
        asked_for(rows)?
    );
    Ok(Grid::made(caption, &tables::PACK_SIZING, heads, filled))
}

/// "3: 98 (93 to over 99)".
fn fewest(case: &Case<'_>, kind: &str) -> Read<String> {
    let Some(row) = case.fewest(kind)? else { return Ok(UNKNOWN.to_owned()) };
    let packs = row.whole("packs")?;
    Ok(if row.number("probability_finish_frac")?.is_none() {
        "too few days".to_owned()
    } else if row.flag("is_smallest")? {
        format!("{packs}: {}", with_interval(&row)?)
    } else {
        format!("none; {packs}: {}", with_interval(&row)?)
    })
}

/// A column for each count, on days as driven.
fn by_count(rows: &[Row<'_>], cases: &[Case<'_>], tells_charging: bool) -> Read<Grid> {
    let mut counts = rows.iter().map(|row| row.count("packs")).collect::<Read<Vec<_>>>()?;
    counts.sort_unstable();
    counts.dedup();
    let counts: Vec<u64> = counts.into_iter().flatten().collect();
    let mut heads = named_heads(tells_charging);
    heads.extend(counts.iter().map(|packs| Head::words(format!("{packs} packs"))));
    heads.push(Head::figures("n"));
    let mut filled = Vec::new();
    for case in cases {
        let of = case.of(AS_DRIVEN)?;
        let Some(first) = of.first() else { continue };
        let mut judged = false;
        for row in &of {
            judged |= row.number("probability_finish_frac")?.is_some();
        }
        if !judged {
            continue;
        }
        let mut cells = named(case, tells_charging)?;
        for packs in &counts {
            let row = case.at(AS_DRIVEN, *packs)?;
            cells.push(Cell::words(row.as_ref().map_or(Ok(UNKNOWN.to_owned()), with_interval)?));
        }
        cells.push(Cell::figures(first.whole("vehicle_days")?));
        filled.push(cells);
    }
    let caption = "Every count looked at, on days as driven: probability in % with its 90 % interval";
    Ok(Grid::made(caption, &tables::PACK_SIZING, heads, filled))
}

fn rested_on<'a>(cases: &[Case<'a>]) -> Read<Vec<Row<'a>>> {
    let mut rows = Vec::new();
    for case in cases {
        let row = match case.fitted(AS_DRIVEN)? {
            Some(row) => Some(row),
            None => case.fewest(AS_DRIVEN)?,
        };
        rows.extend(row);
    }
    Ok(rows)
}
