//! Which pack count finishes a route with its reserve?

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{Grid, figure, page_only, words};
use super::rows::{Read, Row, chance};
use super::units::Units;
use super::{Tables, Topic, counted, grid, listed};

const KEY: [&str; 4] = ["vehicle_type", "route", "season", "midday_charging"];

const COLUMNS: [grid::Column; 17] = [
    words("type", |row, _| row.words("vehicle_type")),
    words("route", |row, _| row.words("route")),
    words("season", |row, _| row.words("season")),
    page_only(words("midday charging", |row, _| row.words("midday_charging"))),
    page_only(words("days", |row, _| row.words("scenario"))),
    figure("packs", |row, _| {
        let packs = row.whole("packs")?;
        Ok(match row.number("probability_finish_frac")? {
            None => "too few days".to_owned(),
            Some(_) if row.flag("meets_target")? => packs,
            Some(_) => format!("{packs} fall short"),
        })
    }),
    figure("finishes, %", |row, _| Ok(chance(row.number("probability_finish_frac")?))),
    figure("90 % interval", chances),
    figure("n", |row, _| row.whole("vehicle_days")),
    words("breaks on days", |row, _| row.words("breaks")),
    page_only(words("evidence", |row, _| row.words("evidence"))),
    page_only(figure("asked for, %", |row, _| row.percent("target_frac", 0))),
    page_only(figure("reserve, %", |row, _| row.percent("reserve_frac", 0))),
    page_only(figure("usable, kWh", |row, _| row.fixed("capacity_usable_kwh", 1))),
    page_only(figure("day, median kWh", |row, _| row.fixed("energy_day_p50_kwh", 1))),
    page_only(figure("day, 90th percentile kWh", |row, _| row.fixed("energy_day_p90_kwh", 1))),
    page_only(figure("{miles} a pack", |row, _| row.shown("range_per_pack_mi", Kind::Distance, 1))),
];

fn chances(row: &Row<'_>, _: Units) -> Read<String> {
    let low = row.number("probability_finish_p05_frac")?;
    let (low, high) = (chance(low), chance(row.number("probability_finish_p95_frac")?));
    Ok(if low == high { low } else { format!("{low} to {high}") })
}

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "packs",
        "Packs",
        "Which pack count finishes the route with its reserve?",
        "plan-and-packs.md",
    );
    let rows = tables.rows(&tables::PACK_SIZING);
    let chosen = chosen(&rows)?;
    if chosen.is_empty() {
        topic.miss(
            "No pack count can be judged: that takes packs and kWh per pack in each vehicle type of the pilot file \
             (packs, pack_energy), and service days with a distance.",
        );
        return Ok(topic);
    }
    topic.tell(answer(&chosen)?);
    if let Some(first) = thinnest(&chosen)? {
        topic.tell(sentence(&first, units)?);
    }
    topic.notes.push(
        "The probability that one more day like those driven ends with its reserve untouched. n: vehicle-days; of fewer than three \
         nothing is said, and from six a said 96 % is nearer 92 %: look at the low end of the interval before a purchase.",
    );
    topic.grids.push(Grid::new(
        "The fewest packs that reach the probability asked for, days as driven",
        &tables::PACK_SIZING,
        &chosen,
        &COLUMNS,
        units,
    )?);
    let all = Grid::new("Every count under every kind of day", &tables::PACK_SIZING, &rows, &COLUMNS, units)?;
    topic.grids.push(all.folded());
    Ok(topic)
}

/// Of each type, route, season and way of charging: the smallest count that will do, else the largest looked at.
fn chosen<'a>(rows: &[Row<'a>]) -> Read<Vec<Row<'a>>> {
    let key = |row: &Row<'a>| -> Read<Vec<&'a str>> { KEY.iter().map(|name| row.text(name)).collect() };
    let mut chosen: Vec<Row<'a>> = Vec::new();
    for row in rows {
        if row.text("scenario")? != "as driven" {
            continue;
        }
        let same = match chosen.last() {
            Some(last) => key(last)? == key(row)?,
            None => false,
        };
        match chosen.last_mut() {
            Some(last) if same => {
                if !last.flag("is_smallest")? {
                    *last = *row;
                }
            }
            _ => chosen.push(*row),
        }
    }
    Ok(chosen)
}

fn answer(chosen: &[Row<'_>]) -> Read<String> {
    let (mut counts, mut short, mut silent) = (Vec::new(), 0, 0);
    for row in chosen {
        match (row.flag("is_smallest")?, row.number("probability_finish_frac")?) {
            (true, _) => counts.extend(row.count("packs")?),
            (false, Some(_)) => short += 1,
            (false, None) => silent += 1,
        }
    }
    let mut parts = Vec::new();
    for packs in distinct(&counts) {
        let times = counts.iter().filter(|n| **n == packs).count();
        parts.push(format!("{packs} packs are enough in {times}"));
    }
    if short > 0 {
        parts.push(format!("no count looked at is enough in {short}"));
    }
    if silent > 0 {
        parts.push(format!("{silent} {} too few days to say", if silent == 1 { "has" } else { "have" }));
    }
    Ok(format!(
        "Of {} of type, route, season and midday charging, {}.",
        counted(chosen.len(), "combination"),
        listed(&parts)
    ))
}

fn distinct(counts: &[u64]) -> Vec<u64> {
    let mut distinct = counts.to_vec();
    distinct.sort_unstable();
    distinct.dedup();
    distinct
}

/// The combination whose count holds least surely.
fn thinnest<'a>(chosen: &[Row<'a>]) -> Read<Option<Row<'a>>> {
    let mut worst: Option<(f64, Row<'a>)> = None;
    for row in chosen {
        let Some(low) = row.number("probability_finish_p05_frac")? else { continue };
        if row.flag("is_smallest")? && worst.is_none_or(|(least, _)| low < least) {
            worst = Some((low, *row));
        }
    }
    Ok(worst.map(|(_, row)| row))
}

fn sentence(row: &Row<'_>, units: Units) -> Read<String> {
    let breaks = match row.text("breaks")? {
        "" => "it holds on every kind of day looked at".to_owned(),
        names => format!("it breaks on days that are {names}"),
    };
    Ok(format!(
        "Least sure of them: {} on {} in {}, midday charging {}. {} packs end one more such day with {} % in reserve at a probability of {} % (90 % interval {} %; \
         {} % asked for; {} vehicle-days; {}); {breaks}.",
        row.words("vehicle_type")?,
        row.words("route")?,
        row.words("season")?,
        row.words("midday_charging")?,
        row.whole("packs")?,
        row.percent("reserve_frac", 0)?,
        chance(row.number("probability_finish_frac")?),
        chances(row, units)?,
        row.percent("target_frac", 0)?,
        row.whole("vehicle_days")?,
        row.words("evidence")?,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_certain() {
        assert_eq!(chance(Some(0.9999)), "over 99");
        assert_eq!(chance(Some(0.931)), "93");
        assert_eq!(chance(None), crate::topics::rows::UNKNOWN);
    }
}
