//! What a replay page says in words and tables, from the tables of the run.

use backwatt_schema::{BatchError, JOULES_PER_KWH};

use super::accounts::{GROUPS, Rests};
use super::view::OfTrip;
use crate::figure::{Kind, figure, fixed, markup, name, unit};

/// Decimals of energies: a tenth of a watt hour, so that short spans can be added up.
pub const KWH_DIGITS: usize = 4;
/// Ratios over less than this say more of the rounding than of the truck. [kWh]
const LEAST_KWH: f64 = 0.005;

/// Words, each ready as markup.
pub struct Facts {
    pub title: String,
    pub told: String,
    pub pairs: Vec<(&'static str, String)>,
}

/// Sums over the segments of a trip.
pub struct TripSums<'a> {
    pub segments: OfTrip<'a>,
    pub battery: OfTrip<'a>,
}

impl TripSums<'_> {
    pub fn kwh(&self, column: &str) -> Result<Option<f64>, BatchError> {
        self.segments.sum(column)
    }

    /// Recovered energy of the estimate, with its ends added up: wide rather than narrow.
    pub fn recovered(&self) -> Result<Option<(f64, f64, f64)>, BatchError> {
        let at = |percentile: &str| self.battery.sum(&format!("energy_recovered_{percentile}_kwh"));
        Ok(match (at("p05")?, at("p50")?, at("p95")?) {
            (Some(low), Some(middle), Some(high)) => Some((low, middle, high)),
            _ => None,
        })
    }
}

pub fn kwh(value: f64, digits: usize, metric: bool) -> String {
    figure(value * JOULES_PER_KWH, Kind::Energy, digits, metric)
}

pub fn of(
    trip: &OfTrip<'_>,
    row: usize,
    sums: &TripSums<'_>,
    zone: Option<&str>,
    metric: bool,
) -> Result<Facts, BatchError> {
    let words = |column| -> Result<String, BatchError> {
        Ok(trip.text(column, row)?.map_or("unknown".to_owned(), name))
    };
    let number = |column| trip.number(column, row);
    let shown = |column: &'static str, kind, digits| -> Result<String, BatchError> {
        Ok(number(column)?.map_or("unknown".to_owned(), |v| {
            format!("{} {}", figure(v, kind, digits, metric), unit(kind, metric))
        }))
    };
    let mut pairs = vec![("Vehicle", words("vehicle_id")?), ("Route", words("route_id")?)];
    if let Some(day) = trip.text("service_day", row)? {
        pairs.push(("Service day", day.to_owned()));
    }
    pairs.push((
        "Clock",
        match (trip.flag("clock_relative", row)?, zone) {
            (true, _) => "relative: time since setting off".to_owned(),
            (false, Some(zone)) => name(zone),
            (false, None) => "UTC".to_owned(),
        },
    ));
    pairs.push((
        "Time, gaps within left out",
        format!(
            "{:.0} min, of which {:.0} min moving",
            number("logged_s")?.unwrap_or(0.0) / 60.0,
            number("moving_s")?.unwrap_or(0.0) / 60.0
        ),
    ));
    pairs.push(("Distance", shown("distance_m", Kind::Distance, 2)?));
    pairs.push(("Mass used", shown("mass_kg", Kind::Mass, 0)?));
    pairs.push(("Samples", format!("every {:.1} s", number("sample_interval_s")?.unwrap_or(0.0))));
    pairs.push(("Height", words("grade_basis")?));
    pairs.push((
        "Battery figures",
        format!(
            "{}, battery power known for {:.0} % of the moving time",
            words("evidence")?,
            100.0 * number("battery_coverage_frac")?.unwrap_or(0.0)
        ),
    ));
    pairs.push(("Braking energy", claim(trip, row, metric)?));
    let pairs = pairs.into_iter().map(|(label, text)| (label, markup(&text))).collect();
    let title = format!("Trip {}", trip.text("trip_id", row)?.map_or(String::new(), name));
    Ok(Facts { title, told: markup(&told(trip, row, sums, metric)?), pairs })
}

/// What the samples let be said of braking energy, with its band.
fn claim(trip: &OfTrip<'_>, row: usize, metric: bool) -> Result<String, BatchError> {
    let claim = trip.text("braking_claim", row)?.unwrap_or("unknown");
    let ends = trip.number("energy_braking_low_kwh", row)?.zip(trip.number("energy_braking_high_kwh", row)?);
    Ok(match ends {
        Some((low, high)) => format!(
            "{claim}: {} to {} kWh for sampling and noise; this page shows the sums as sampled",
            kwh(low, 2, metric),
            kwh(high, 2, metric)
        ),
        None => format!(
            "{claim}: too much hides between these samples for a claim; this page shows the sums as sampled"
        ),
    })
}

/// The answer first.
fn told(trip: &OfTrip<'_>, row: usize, sums: &TripSums<'_>, metric: bool) -> Result<String, BatchError> {
    let braking = sums.kwh("energy_braking_kwh")?.unwrap_or(0.0);
    if trip.number("energy_braking_low_kwh", row)?.is_none() {
        return Ok("These samples do not let braking energy be claimed for this trip; what is drawn is the drive as sampled.".to_owned());
    }
    if braking < LEAST_KWH {
        return Ok("Hardly anything was braked on this trip.".to_owned());
    }
    let share = |value: f64| format!("{} %", figure(value / braking, Kind::Share, 0, metric));
    let recoverable = sums.kwh("energy_recoverable_kwh")?.unwrap_or(0.0);
    let (low, high) = (
        sums.kwh("energy_recoverable_low_kwh")?.unwrap_or(0.0),
        sums.kwh("energy_recoverable_high_kwh")?.unwrap_or(0.0),
    );
    let mut told = format!(
        "{} kWh were braked at the wheels; {} kWh of it ({}, {} to {} kWh over the sheet's ends) could have come back at the regen level as set, by the vehicle data",
        kwh(braking, 2, metric),
        kwh(recoverable, 2, metric),
        share(recoverable),
        kwh(low, 2, metric),
        kwh(high, 2, metric),
    );
    match sums.recovered()? {
        Some((low, middle, high)) => told.push_str(&format!(
            ", and {} kWh did ({} of braking energy, {} to {} kWh, the ends of the segments added up; evidence: {}; \
             corrected for a current sensor's offset, which the sums below, as logged, are not).{}",
            kwh(middle, 2, metric),
            share(middle),
            kwh(low, 2, metric),
            kwh(high, 2, metric),
            weakest(sums)?,
            if middle > recoverable { " More came back than the vehicle data allows: it is too low here." } else { "" }
        )),
        None => told.push_str("; what came back is not claimed here."),
    }
    Ok(told)
}

/// Grades of evidence of the segments, from the strongest on, that hold any braking.
fn weakest(sums: &TripSums<'_>) -> Result<String, BatchError> {
    let mut grades: Vec<&str> = Vec::new();
    for row in &sums.battery.rows {
        let grade = sums.battery.text("evidence", *row)?.unwrap_or("modelled");
        if !grades.contains(&grade) {
            grades.push(grade);
        }
    }
    let place = |grade: &&str| ["measured", "counter", "inferred", "modelled"].iter().position(|g| g == grade);
    grades.sort_by_key(place);
    Ok(grades.join(" and "))
}

/// A row of the ledger as the page prints it before any script.
pub struct LedgerRow {
    pub column: &'static str,
    pub label: &'static str,
    pub whole: String,
    /// Rests on the logged battery power.
    pub is_logged: bool,
}

pub struct LedgerGroup {
    pub heading: &'static str,
    pub share_of: &'static str,
    pub share_words: &'static str,
    pub rows: Vec<LedgerRow>,
}

pub fn ledger(sums: &TripSums<'_>) -> Result<Vec<LedgerGroup>, BatchError> {
    let mut groups = Vec::new();
    for group in &GROUPS {
        let mut rows = Vec::new();
        for account in group.accounts {
            let whole = sums.kwh(account.column)?;
            rows.push(LedgerRow {
                column: account.column,
                label: account.label,
                whole: whole.map_or("–".to_owned(), |v| fixed(v, KWH_DIGITS)),
                is_logged: account.rests == Rests::Battery,
            });
        }
        let (share_of, share_words) = group.share_of.unwrap_or(("", ""));
        groups.push(LedgerGroup { heading: group.heading, share_of, share_words, rows });
    }
    Ok(groups)
}
