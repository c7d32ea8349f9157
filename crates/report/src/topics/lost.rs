//! Where braking energy did not come back, and on which route most is braked.

use std::str::FromStr as _;

use backwatt_schema::tables;
use h3o::CellIndex;

use super::rows::{Read, Row};
use super::units::Units;
use super::ways::Ways;
use crate::braking_steps::step_name;
use crate::figure::Kind;

/// Places told of in a sentence.
pub const TOLD: usize = 5;
const WON_TOLD: usize = 3;
/// A route driven on fewer days is not held against others; ours, no source.
const DAYS_LEAST: u64 = 5;

/// Braked in a cell and not recovered there; nothing where recovery is not claimed. [kWh]
pub fn kwh(row: &Row<'_>) -> Read<Option<f64>> {
    let both = row.number("braking_of_recovered_kwh")?.zip(row.number("energy_recovered_p50_kwh")?);
    Ok(both.map(|(braked, recovered)| braked - recovered))
}

/// The same as a figure, with the ends that those of the recovered energy leave.
pub fn shown(row: &Row<'_>, units: Units) -> Read<[String; 2]> {
    let braked = row.number("braking_of_recovered_kwh")?;
    let less = |column: &str| -> Read<String> {
        let lost = braked.zip(row.number(column)?).map(|(braked, back)| braked - back);
        Ok(lost.map_or("–".to_owned(), |kwh| units.figure(energy(kwh), Kind::Energy, 2)))
    };
    let ends = format!("{} to {}", less("energy_recovered_p95_kwh")?, less("energy_recovered_p05_kwh")?);
    Ok([less("energy_recovered_p50_kwh")?, ends])
}

/// Cells by what was lost in them, most first; by what was braked where nothing is claimed to have come back.
pub fn most_first<'a>(placed: &[Row<'a>]) -> Read<Vec<Row<'a>>> {
    let mut keyed = Vec::new();
    let mut is_claimed = false;
    for row in placed {
        let lost = kwh(row)?;
        is_claimed |= lost.is_some();
        keyed.push((lost, row.number("energy_braking_kwh")?.unwrap_or(0.0), *row));
    }
    keyed.sort_by(|a, b| {
        let of = |key: &(Option<f64>, f64, Row<'_>)| if is_claimed { key.0.unwrap_or(f64::MIN) } else { key.1 };
        of(b).total_cmp(&of(a))
    });
    Ok(keyed.into_iter().map(|(.., row)| row).collect())
}

/// The route with most braking each mile, beside the whole pilot.
pub fn told_route(recovery: &[Row<'_>], units: Units) -> Read<Option<String>> {
    let mut most: Option<(f64, &Row<'_>)> = None;
    let (mut routes, mut pilot) = (0, None);
    for row in recovery {
        let Some(per_mile) = per_mile(row)? else { continue };
        match row.text("grouping")? {
            "pilot" => pilot = Some(per_mile),
            "route"
                if !row.text("group")?.starts_with('(') && row.count("vehicle_days")? >= Some(DAYS_LEAST) =>
            {
                routes += 1;
                if most.is_none_or(|(known, _)| per_mile > known) {
                    most = Some((per_mile, row));
                }
            }
            _ => {}
        }
    }
    let Some((per_mile, row)) = most.filter(|_| routes > 1) else { return Ok(None) };
    let figure =
        |per_mile: f64| units.figure(Kind::PerDistance.si_of("_kwh_mi", per_mile), Kind::PerDistance, 2);
    let beside = pilot.map_or(String::new(), |all| format!("; all routes together {}", figure(all)));
    Ok(Some(format!(
        "Most braking for its distance is on {}: {} {} ({} kWh at the wheels over {} {}; modelled; {} vehicle-days{beside}).",
        row.words("group")?,
        figure(per_mile),
        units.per_distance(),
        row.fixed("energy_braking_kwh", 0)?,
        row.shown("distance_mi", Kind::Distance, 0)?,
        units.distance(),
        row.whole("vehicle_days")?,
    )))
}

/// Braking energy at the wheels over the distance of one group. [kWh/mile]
pub fn per_mile(row: &Row<'_>) -> Read<Option<f64>> {
    let both = row.number("energy_braking_kwh")?.zip(row.number("distance_mi")?);
    Ok(both.filter(|(_, miles)| *miles > 0.0).map(|(kwh, miles)| kwh / miles))
}

/// How much did not come back, and the places that lost most of it, by the numbers they bear on the map.
pub fn told_places(recovery: &[Row<'_>], most: &[Row<'_>], ways: &Ways, units: Units) -> Read<String> {
    let mut pilot = None;
    for row in recovery {
        if row.text("grouping")? == "pilot" {
            pilot = of_pilot(row, units)?;
        }
    }
    let (mut listed, mut sum) = (Vec::new(), 0.0);
    for (at, row) in most.iter().take(TOLD).enumerate() {
        let Ok(cell) = CellIndex::from_str(row.text("cell")?) else { continue };
        let place = ways.told(cell, units);
        let Some(lost) = kwh(row)? else {
            listed.push(format!("{} {place} ({} kWh)", at + 1, row.fixed("energy_braking_kwh", 1)?));
            continue;
        };
        sum += lost;
        listed.push(format!("{} {place} ({} kWh)", at + 1, units.figure(energy(lost), Kind::Energy, 1)));
    }
    let Some((whole, told)) = pilot.filter(|_| sum > 0.0) else {
        return Ok(format!(
            "No recovered energy is claimed, so nothing tells where it was lost; most was braked, modelled, at {}.",
            listed.join("; ")
        ));
    };
    Ok(format!(
        "Of {told}, {} kWh or {:.0} % was lost in {} cells of about 130 m (430 ft): {}.",
        units.figure(energy(sum), Kind::Energy, 1),
        100.0 * sum / whole,
        listed.len(),
        listed.join("; ")
    ))
}

/// The places that gave most back, each with its interval; nothing where no recovery is claimed.
pub fn told_won(placed: &[Row<'_>], ways: &Ways, units: Units) -> Read<Option<String>> {
    let mut won = Vec::new();
    for row in placed {
        if let Some(back) = row.number("energy_recovered_p50_kwh")? {
            won.push((back, *row));
        }
    }
    won.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut listed = Vec::new();
    for (back, row) in won.iter().take(WON_TOLD).filter(|(back, _)| *back > 0.0) {
        let Ok(cell) = CellIndex::from_str(row.text("cell")?) else { continue };
        let range = row.range(["energy_recovered_p05_kwh", "energy_recovered_p95_kwh"], Kind::Energy, 1)?;
        let back = units.figure(energy(*back), Kind::Energy, 1);
        listed.push(format!("{} ({back} kWh, {range}; {})", ways.told(cell, units), row.words("evidence")?));
    }
    Ok((!listed.is_empty()).then(|| format!("Most came back to the battery at {} (90 %).", listed.join("; "))))
}

/// What was braked and did not come back in the whole pilot [kWh], and the same in words with interval and evidence.
fn of_pilot(row: &Row<'_>, units: Units) -> Read<Option<(f64, String)>> {
    let braked = row.number("energy_braking_paired_kwh")?;
    let less = |column: &str| -> Read<Option<f64>> {
        Ok(braked.zip(row.number(column)?).map(|(braked, back)| braked - back))
    };
    let ends = [
        less("energy_recovered_p95_kwh")?,
        less("energy_recovered_p50_kwh")?,
        less("energy_recovered_p05_kwh")?,
    ];
    let [Some(low), Some(whole), Some(high)] = ends else { return Ok(None) };
    let figure = |kwh: f64| units.figure(energy(kwh), Kind::Energy, 0);
    let measured = match row.number("recapture_measured_share_frac")? {
        Some(share) if share >= 0.005 && row.text("recapture_evidence")? != "measured" => {
            format!(", measured for {} % of the time", row.percent("recapture_measured_share_frac", 0)?)
        }
        _ => String::new(),
    };
    Ok((whole > 0.0).then(|| {
        let evidence = format!("braking modelled, recovery {}{measured}", row.words("recapture_evidence").unwrap_or_default());
        let told = format!(
            "the {} kWh braked at the wheels that did not come back to the battery ({} to {}, 90 %; {evidence})",
            figure(whole),
            figure(low),
            figure(high),
        );
        (whole, told)
    }))
}

/// Where most of what was not recoverable went.
pub fn cause(row: &Row<'_>) -> Read<String> {
    let mut most: Option<(&'static str, f64)> = None;
    for column in tables::CASCADE {
        let kwh = row.number(column)?.unwrap_or(0.0);
        if column != "energy_recoverable_kwh" && kwh > most.map_or(0.0, |(_, kwh)| kwh) {
            most = Some((step_name(column), kwh));
        }
    }
    Ok(most.map_or("–".to_owned(), |(name, _)| name.to_owned()))
}

fn energy(kwh: f64) -> f64 {
    Kind::Energy.si_of("_kwh", kwh)
}
