//! What came back at each regen level, as it was driven; beside it what the model says of the same driving at another.

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{Grid, figure, page_only, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::{Tables, Topic, grid, listed};

const COLUMNS: [grid::Column; 11] = [
    words("type", |row, _| row.words("vehicle_type")),
    words("level", |row, _| row.words("regen_level")),
    words("against", |row, _| row.words("level_reference")),
    figure("recovered / braking, %", |row, _| row.percent("recapture_of_braking_frac", 1)),
    figure("difference at like work, points", |row, _| row.percent("recapture_difference_frac", 1)),
    figure("90 % interval", |row, _| {
        row.range(["recapture_difference_p05_frac", "recapture_difference_p95_frac"], Kind::Share, 1)
    }),
    page_only(figure("by the sheet, points", |row, _| row.percent("recoverable_difference_frac", 1))),
    page_only(figure("strata shared", |row, _| row.whole("strata"))),
    figure("n", |row, _| row.whole("vehicle_days")),
    page_only(figure("braking energy, kWh", |row, _| row.fixed("energy_braking_kwh", 1))),
    words("evidence", |row, _| row.words("evidence")),
];

/// The model of the same driving: beside the association, never in it.
const REPLAYED: [grid::Column; 10] = [
    words("of", |row, _| row.words("subject")),
    words("name", |row, _| row.words("name")),
    words("type", |row, _| row.words("vehicle_type")),
    words("level", |row, _| row.words("regen_level")),
    figure("recoverable at it, kWh", |row, _| row.fixed("energy_recoverable_p50_kwh", 1)),
    figure("90 %", |row, _| {
        row.range(["energy_recoverable_p05_kwh", "energy_recoverable_p95_kwh"], Kind::Energy, 1)
    }),
    figure("recoverable / braking, %", |row, _| row.percent("recoverable_share_frac", 1)),
    figure("would be recovered, kWh", |row, _| row.fixed("energy_recovered_p50_kwh", 1)),
    figure("90 %, the level's own doubt", |row, _| {
        row.range(["energy_recovered_p05_kwh", "energy_recovered_p95_kwh"], Kind::Energy, 1)
    }),
    words("evidence", |row, _| row.words("evidence")),
];

fn replayed(tables: &Tables, units: Units, topic: &mut Topic) -> Read<()> {
    let all = tables.rows(&tables::LEVEL_WHAT_IF);
    let mut rows = Vec::new();
    for row in all {
        if row.number("energy_recoverable_p50_kwh")?.is_some() {
            rows.push(row);
        }
    }
    if rows.is_empty() {
        return Ok(());
    }
    topic.notes.push(
        "The same driving at another level is the model's answer, beside the comparison above and never merged with it: speeds as driven, only the level's own limits others, and of \
         what could be recovered the same share arrives as did. A stronger level costs where the truck was let roll. Would be recovered starts from what was recovered as driven and shifts it by the levels' difference; its interval holds that difference alone, not what is open of the recovered energy itself. Recovered may exceed what the model holds recoverable: the vehicle data is then a little too pessimistic, and the share that arrives above one. Off still gives back where the brake pedal commands regen as well. Levels were chosen, not assigned.",
    );
    topic.grids.push(
        Grid::new(
            "The same driving at each level, by the model",
            &tables::LEVEL_WHAT_IF,
            &rows,
            &REPLAYED,
            units,
        )?
        .folded(),
    );
    Ok(())
}

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "levels",
        "Regen levels as driven",
        "What did each regen level recover, with drivers, trucks, routes and weather alike?",
        "comparing-drivers.md",
    );
    let rows = tables.rows(&tables::LEVEL_COMPARISON);
    if rows.is_empty() {
        topic.miss(
            "No levels to compare: that takes measured battery power and a regen level in the logs. Map regen_level and pack power, or voltage and current, \
             under [sources.columns].",
        );
        replayed(tables, units, &mut topic)?;
        return Ok(topic);
    }
    let of_types = || rows.chunk_by(|a, b| a.text("vehicle_type").ok() == b.text("vehicle_type").ok());
    for of_type in of_types() {
        topic.tell(driven(of_type)?);
    }
    for of_type in of_types() {
        topic.tell(at_like_work(of_type)?);
    }
    topic.notes.push(
        "Levels were chosen, not assigned: a difference is an association, not an effect. Points: of recovered over braking energy at the wheels. n: vehicle-days with measured \
         battery power.",
    );
    topic.grids.push(Grid::new("Levels as driven", &tables::LEVEL_COMPARISON, &rows, &COLUMNS, units)?);
    replayed(tables, units, &mut topic)?;
    Ok(topic)
}

/// What came back at each level of one type, as driven.
fn driven(rows: &[Row<'_>]) -> Read<String> {
    let mut told = Vec::new();
    for row in by_share(rows)? {
        let (level, days) = (row.words("regen_level")?, row.whole("vehicle_days")?);
        told.push(format!("{} % at {level} ({days})", row.percent("recapture_of_braking_frac", 0)?));
    }
    Ok(format!(
        "{}: on days with measured battery power, routes and drivers not evened out, of the braking energy at the wheels came back {} ({}; in brackets vehicle-days).",
        rows[0].words("vehicle_type")?,
        listed(&told),
        rows[0].words("evidence")?,
    ))
}

/// How far its levels are apart at like work.
fn at_like_work(rows: &[Row<'_>]) -> Read<String> {
    let mut apart = Vec::new();
    for row in by_share(rows)? {
        let is_reference = row.text("regen_level")? == row.text("level_reference")?;
        if row.number("recapture_difference_frac")?.is_some() && !is_reference {
            apart.push(format!(
                "{} {} ({}; by the sheet's levels {})",
                row.words("regen_level")?,
                row.percent("recapture_difference_frac", 1)?,
                row.range(["recapture_difference_p05_frac", "recapture_difference_p95_frac"], Kind::Share, 1)?,
                row.percent("recoverable_difference_frac", 1)?,
            ));
        }
    }
    let name = rows[0].words("vehicle_type")?;
    Ok(match apart.as_slice() {
        [] => format!(
            "{name}: no two levels were driven by the same people on the same trucks and routes in like weather, so none can be held against another."
        ),
        _ => format!(
            "{name}, at like work, in points against {}: {} (90 %).",
            rows[0].words("level_reference")?,
            listed(&apart)
        ),
    })
}

/// Where most came back first.
fn by_share<'a>(rows: &[Row<'a>]) -> Read<Vec<Row<'a>>> {
    let mut found = Vec::new();
    for row in rows {
        found.push((row.number("recapture_of_braking_frac")?.unwrap_or(0.0), *row));
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    Ok(found.into_iter().map(|(_, row)| row).collect())
}

#[cfg(test)]
mod tests {
    use super::super::made::batch;
    use super::super::rows::rows;
    use super::*;
    use crate::figure::plain;

    #[test]
    fn every_level_is_told_and_held_against_the_one_most_driven() {
        let level = |level: &'static str, share, difference| {
            vec![
                ("vehicle_type", "van"),
                ("regen_level", level),
                ("level_reference", "high"),
                ("vehicle_days", "12"),
                ("recapture_of_braking_frac", share),
                ("evidence", "measured"),
            ]
            .into_iter()
            .chain(difference)
            .collect::<Vec<_>>()
        };
        let apart = [
            ("recapture_difference_frac", "-0.27"),
            ("recapture_difference_p05_frac", "-0.29"),
            ("recapture_difference_p95_frac", "-0.25"),
            ("recoverable_difference_frac", "-0.26"),
        ];
        let typed = [level("low", "0.45", apart.to_vec()), level("high", "0.76", vec![])];
        let typed: Vec<&[(&str, &str)]> = typed.iter().map(Vec::as_slice).collect();
        let batch = batch(&tables::LEVEL_COMPARISON, &typed);
        let rows = rows(&tables::LEVEL_COMPARISON, &batch, false);
        assert_eq!(
            plain(&driven(&rows).unwrap()),
            "van: on days with measured battery power, routes and drivers not evened out, of the braking energy at the wheels came back 76 % at high (12) and 45 % at low (12) (measured; in brackets \
             vehicle-days)."
        );
        assert_eq!(
            plain(&at_like_work(&rows).unwrap()),
            "van, at like work, in points against high: low -27.0 (-29.0 to -25.0; by the sheet's levels -26.0) (90 %)."
        );
    }
}
