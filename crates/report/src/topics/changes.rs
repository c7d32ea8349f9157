//! What changed over time, which truck is out of line, and what its battery holds.

use backwatt_schema::tables;

use crate::figure::Kind;

use super::grid::{Grid, figure, page_only, remarks, words};
use super::rows::{Read, Row};
use super::units::Units;
use super::{Tables, Topic, counted, grid, listed};

const CHANGES: [grid::Column; 11] = [
    words("who or what", |row, _| Ok(format!("{} {}", row.text("subject")?, row.words("name")?))),
    words("response", |row, _| row.words("response")),
    words("finding", |row, _| row.scope(&["finding", "what"])),
    words("first day after", |row, _| row.words("service_day")),
    figure("{kWh/mile}", |row, _| match row.number("change_kwh_mi")? {
        Some(_) => row.shown("change_kwh_mi", Kind::PerDistance, 4),
        None => row.shown("standing_kwh_mi", Kind::PerDistance, 4),
    }),
    figure("90 % interval", |row, _| match row.number("change_p05_kwh_mi")? {
        Some(_) => row.range(["change_p05_kwh_mi", "change_p95_kwh_mi"], Kind::PerDistance, 4),
        None => row.range(["standing_p05_kwh_mi", "standing_p95_kwh_mi"], Kind::PerDistance, 4),
    }),
    page_only(figure("normalised, {kWh/mile}", normalised)),
    page_only(figure("fell back by chance, {kWh/mile}", |row, _| {
        row.shown("regression_kwh_mi", Kind::PerDistance, 4)
    })),
    page_only(figure("as sharp by chance, %", |row, _| row.percent("chance_probability_frac", 1))),
    page_only(figure("days before, after", |row, _| {
        Ok(format!("{}, {}", row.whole("days_before")?, row.whole("days_after")?))
    })),
    remarks("caution", |row, _| row.words("caution")),
];

const CAPACITY: [grid::Column; 8] = [
    words("vehicle", |row, _| row.words("vehicle_id")),
    figure("stated, kWh", |row, _| row.fixed("capacity_stated_kwh", 1)),
    figure("measured, kWh", |row, _| row.fixed("capacity_measured_p50_kwh", 1)),
    figure("90 % interval", |row, _| {
        row.range(["capacity_measured_p05_kwh", "capacity_measured_p95_kwh"], Kind::Energy, 1)
    }),
    figure("measured / stated, %", |row, _| row.percent("capacity_ratio_p50_frac", 1)),
    figure("sessions", |row, _| row.whole("sessions")),
    words("evidence", |row, _| row.words("evidence")),
    remarks("rests on", |row, _| row.words("why")),
];

const LEARNED: [grid::Column; 5] = [
    words("vehicle", |row, _| row.words("vehicle_id")),
    figure("stated, kWh", |row, _| row.fixed("before_p50", 1)),
    figure("by meter and driving, kWh", |row, _| row.fixed("value_p50", 1)),
    figure("90 % interval", |row, _| row.range(["value_p05", "value_p95"], Kind::Plain, 1)),
    words("evidence", |row, _| row.words("evidence")),
];

/// A vehicle's consumption at the reference, with its interval.
fn normalised(row: &Row<'_>, _: Units) -> Read<String> {
    let value = row.shown("reference_kwh_mi", Kind::PerDistance, 3)?;
    let ends = ["reference_p05_kwh_mi", "reference_p95_kwh_mi"];
    Ok(match row.number(ends[0])? {
        Some(_) => format!("{value} ({})", row.range(ends, Kind::PerDistance, 3)?),
        None => value,
    })
}

pub fn topic(tables: &Tables, units: Units) -> Read<Topic> {
    let mut topic = Topic::new(
        "time",
        "Over time",
        "What changed, which truck is out of line, and what does each battery hold?",
        "comparing-drivers.md",
    );
    let rows = tables.rows(&tables::CHANGES);
    let (mut shown, mut hidden, mut alike) = (Vec::new(), 0, Vec::new());
    let mut is_stated = false;
    for row in &rows {
        is_stated |= match row.text("finding")? {
            "change stated" => true,
            "not shown" => !row.text("what")?.is_empty(),
            _ => false,
        };
        match row.text("finding")? {
            "not shown" => hidden += 1,
            "not shown to differ" => {
                alike.push(*row);
                shown.push(*row);
            }
            _ => shown.push(*row),
        }
    }
    if shown.is_empty() {
        topic.miss(
            "No change over time can be told: that takes dated logs of ten days and more of a driver or a vehicle. Whoever runs the analysis can state the day of a coaching, of new firmware or tyres ([[events]] in the pilot file); it is then looked at.",
        );
    } else {
        topic.tell(told(shown.len() - alike.len(), &alike, hidden, units)?);
        for row in &shown {
            if row.text("finding")? != "not shown to differ" {
                topic.tell(sentence(row, units)?);
            }
        }
        if !is_stated {
            topic.miss(
                "Nothing is told of before and after coaching, firmware, tyres or a season: no day of any was stated. Tell whoever runs the analysis the day ([[events]] in the pilot file), and this is answered.",
            );
        }
        topic.notes.push(
            "Looked for: stated days (coaching, firmware, tyres, a season), and a day after which a driver or a truck uses more or less than before. A change is after less before, from each one's own baseline, less what would have been found if nothing had changed: who stood out by chance falls back. Below \
             zero saves energy. Other things may have changed on the same day. Normalised: what a truck takes with the pilot's mean payload in air between 59 and 72 °F (15 and 22 °C), on the mean route and by \
             the mean driver.",
        );
        topic.grids.push(Grid::new(
            "Changes, and trucks beside others of their type",
            &tables::CHANGES,
            &shown,
            &CHANGES,
            units,
        )?);
    }
    battery(&mut topic, tables, units)?;
    Ok(topic)
}

fn told(findings: usize, alike: &[Row<'_>], hidden: usize, units: Units) -> Read<String> {
    let head = if findings == 0 {
        "No change over time can be told, nor any truck out of line".to_owned()
    } else {
        format!("{} of a change or of a truck out of line", counted(findings, "finding"))
    };
    let beside = match alike.len() {
        0 => String::new(),
        n => {
            format!(
                "; {} not shown to differ from others of the type{}",
                counted(n, "truck"),
                unseen(alike, units)?
            )
        }
    };
    let hidden = if hidden == 0 {
        String::new()
    } else {
        format!("; {hidden} not shown, for too little driving or to protect people")
    };
    let tells = if alike.is_empty() {
        ""
    } else {
        " More trucks of a type on the same routes, more days of each, and battery power measured and payload stated on all of them narrow it; a change without a \
         stated day is looked for by driver and by truck."
    };
    Ok(format!("{head}{beside}{hidden}.{tells}"))
}

/// How large a difference may be that these logs do not show: half the interval of the best and of the least known truck.
fn unseen(alike: &[Row<'_>], units: Units) -> Read<String> {
    let mut halves = Vec::new();
    for row in alike {
        if let Some((low, high)) = row.number("standing_p05_kwh_mi")?.zip(row.number("standing_p95_kwh_mi")?) {
            halves.push((0.5 * (high - low), row.words("name")?));
        }
    }
    halves.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
    let Some(((least, of_least), (most, of_most))) = halves.first().zip(halves.last()) else {
        return Ok(String::new());
    };
    let shown = |half: f64| units.figure(Kind::PerDistance.si_of("_kwh_mi", half), Kind::PerDistance, 3);
    Ok(format!(
        " (less than {} for {of_least} to {} {} for {of_most} would go unseen)",
        shown(*least),
        shown(*most),
        units.per_distance()
    ))
}

fn sentence(row: &Row<'_>, units: Units) -> Read<String> {
    let standing = row.number("change_kwh_mi")?.is_none();
    let (value, ends) = if standing {
        ("standing_kwh_mi", ["standing_p05_kwh_mi", "standing_p95_kwh_mi"])
    } else {
        ("change_kwh_mi", ["change_p05_kwh_mi", "change_p95_kwh_mi"])
    };
    let when = if standing {
        "from the mean of its type".to_owned()
    } else {
        format!(
            "from {} on ({} days before, {} after)",
            row.words("service_day")?,
            row.whole("days_before")?,
            row.whole("days_after")?
        )
    };
    Ok(format!(
        "{} {}, {}: {}; {} {} {when} (90 % interval {}).",
        row.words("subject")?,
        row.words("name")?,
        row.text("response")?,
        row.scope(&["finding", "what"])?,
        row.shown(value, Kind::PerDistance, 4)?,
        units.per_distance(),
        row.range(ends, Kind::PerDistance, 4)?,
    ))
}

fn below_stated(vehicles: &[String]) -> String {
    if vehicles.is_empty() {
        return " No whole interval lies below what is stated.".to_owned();
    }
    format!(" Wholly below what is stated: {} (worn, or stated too high).", listed(vehicles))
}

/// The same with driving and the vehicle data taken in.
fn with_driving(topic: &mut Topic, tables: &Tables, by_meter: &[String], units: Units) -> Read<()> {
    let (mut rows, mut told, mut below) = (Vec::new(), Vec::new(), Vec::new());
    for row in tables.rows(&tables::CALIBRATION) {
        let ends = row.number("value_p05")?.zip(row.number("value_p95")?);
        if row.text("unknown")? != "capacity" || ends.is_none() || row.text("vehicle_id")?.is_empty() {
            continue;
        }
        let stated = row.number("before_p50")?;
        if ends.zip(stated).is_some_and(|((_, high), stated)| high < stated) {
            below.push(row.words("vehicle_id")?);
        }
        let range = row.range(["value_p05", "value_p95"], Kind::Plain, 1)?;
        told.push(format!("{} {} ({range})", row.words("vehicle_id")?, row.fixed("value_p50", 1)?));
        rows.push(row);
    }
    if rows.is_empty() {
        return Ok(());
    }
    topic.tell(format!(
        "With driving taken in as well, which is what every other page reckons with: {} kWh (90 %; narrower, and leaning on the vehicle data too).{}{}",
        listed(&told),
        below_stated(&below),
        if below.len() > by_meter.len() { " The meter alone, with its wider intervals, cannot show it of as many." } else { "" }
    ));
    topic.grids.push(Grid::new(
        "Capacity, with driving and the vehicle data taken in",
        &tables::CALIBRATION,
        &rows,
        &LEARNED,
        units,
    )?);
    Ok(())
}

fn battery(topic: &mut Topic, tables: &Tables, units: Units) -> Read<()> {
    let capacity = tables.rows(&tables::CAPACITY);
    let (mut measured, mut below) = (Vec::new(), Vec::new());
    for row in &capacity {
        if row.number("capacity_measured_p50_kwh")?.is_some() {
            let ends = row.number("capacity_measured_p95_kwh")?.zip(row.number("capacity_stated_kwh")?);
            if ends.is_some_and(|(high, stated)| high < stated) {
                below.push(row.words("vehicle_id")?);
            }
            measured.push(format!(
                "{} {} kWh (90 % interval {}; {}; {} % of the stated)",
                row.words("vehicle_id")?,
                row.fixed("capacity_measured_p50_kwh", 1)?,
                row.range(["capacity_measured_p05_kwh", "capacity_measured_p95_kwh"], Kind::Energy, 1)?,
                counted(row.count("sessions")?.unwrap_or(0) as usize, "session"),
                row.percent("capacity_ratio_p50_frac", 1)?,
            ));
        }
    }
    if measured.is_empty() {
        topic.miss(
            "No battery is measured: a file of metered charges, named as file = \"…\" under [charge_sessions] in the pilot file, would tell what each still holds.",
        );
        return Ok(());
    }
    topic.tell(format!(
        "What the batteries hold between state of charge 0 and 1, by the charger's meter alone: {}.{}",
        listed(&measured),
        below_stated(&below)
    ));
    with_driving(topic, tables, &below, units)?;
    topic.grids.push(Grid::new(
        "Capacity by the charger's meter alone, against stated",
        &tables::CAPACITY,
        &capacity,
        &CAPACITY,
        units,
    )?);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::plain;
    use crate::topics::made::{Typed, batch};

    #[test]
    fn a_capacity_stands_between_its_ends_and_is_held_against_what_is_stated() {
        let of = |vehicle: &'static str, high: &'static str| {
            [
                ("vehicle_type", "van"),
                ("vehicle_id", vehicle),
                ("unknown", "capacity"),
                ("unit", "kW.h"),
                ("evidence", "inferred"),
                ("before_p50", "54"),
                ("value_p05", "50.1"),
                ("value_p50", "50.8"),
                ("value_p95", high),
            ]
        };
        let made = [of("A", "51.4"), of("B", "54.4")];
        let made: Vec<Typed<'_>> = made.iter().map(|row| &row[..]).collect();
        let tables = Tables::of([(&tables::CALIBRATION, batch(&tables::CALIBRATION, &made))]);
        let mut topic = Topic::new("time", "", "", "");
        with_driving(&mut topic, &tables, &[], Units { metric: false }).expect("a sentence");
        let told = plain(&topic.answer.join(" "));
        assert!(told.contains("A 50.8 (50.1 to 51.4) and B 50.8 (50.1 to 54.4) kWh"), "{told}");
        assert!(told.contains("Wholly below what is stated: A (worn"), "{told}");
    }
}
