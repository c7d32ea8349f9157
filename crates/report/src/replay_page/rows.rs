//! The tables of a replay page: braking events and segments, for those who read rather than look.

use backwatt_schema::BatchError;

use super::facts::TripSums;
use super::view::OfTrip;
use crate::figure::{Kind, figure, fixed, markup, name};

/// Segments of one table; the Parquet table holds the rest.
const ROWS: usize = 400;
/// Decimals of a kilowatt hour. Energies are the same in both systems of units: plain text, which keeps pages small.
const DIGITS: usize = 3;

/// Cells ready as markup.
pub struct Row {
    pub start_ms: i64,
    pub end_ms: i64,
    pub cells: Vec<String>,
}

pub fn events(events: &OfTrip<'_>, began_ns: i64, metric: bool) -> Result<Vec<Row>, BatchError> {
    let row = |row: &usize| -> Result<Row, BatchError> {
        let row = *row;
        let energy = |column| -> Result<String, BatchError> {
            Ok(events.number(column, row)?.map_or("–".to_owned(), |v| fixed(v, DIGITS)))
        };
        let speed = |column| -> Result<String, BatchError> {
            Ok(figure(events.number(column, row)?.unwrap_or(f64::NAN), Kind::Speed, 0, metric))
        };
        let (start_ms, end_ms) = span_ms(events, row, began_ns)?;
        let texts = [
            elapsed(start_ms),
            format!("{:.0}", events.number("duration_s", row)?.unwrap_or(0.0)),
            format!("{} to {}", speed("speed_start_m_s")?, speed("speed_end_m_s")?),
            energy("energy_braking_kwh")?,
            energy("energy_recoverable_kwh")?,
            energy("energy_recovered_kwh")?,
            events.text("evidence", row)?.unwrap_or("unknown").to_owned(),
            events.text("regen_level", row)?.map_or("unknown".to_owned(), name),
            events.text("pedal", row)?.unwrap_or("unknown").to_owned(),
        ];
        Ok(Row { start_ms, end_ms, cells: texts.iter().map(|text| markup(text)).collect() })
    };
    events.rows.iter().map(row).collect()
}

/// Rows, and how many more there are.
pub fn segments(sums: &TripSums<'_>, began_ns: i64, metric: bool) -> Result<(Vec<Row>, usize), BatchError> {
    let (segments, battery) = (&sums.segments, &sums.battery);
    let mut rows = Vec::new();
    for (row, of_battery) in segments.rows.iter().zip(&battery.rows).take(ROWS) {
        let energy = |column| -> Result<String, BatchError> {
            Ok(segments.number(column, *row)?.map_or("–".to_owned(), |v| fixed(v, DIGITS)))
        };
        let ends = |stem: &str| -> Result<String, BatchError> {
            let at = |percentile: &str| battery.number(&format!("{stem}_{percentile}_kwh"), *of_battery);
            Ok(match (at("p05")?, at("p50")?, at("p95")?) {
                (Some(low), Some(middle), Some(high)) => {
                    let [low, middle, high] = [low, middle, high].map(|v| fixed(v, DIGITS));
                    format!("{middle} ({low} to {high})")
                }
                _ => "no claim".to_owned(),
            })
        };
        let (start_ms, end_ms) = span_ms(segments, *row, began_ns)?;
        let distance = segments.number("distance_m", *row)?.unwrap_or(f64::NAN);
        let texts = [
            elapsed(start_ms),
            segments.text("kind", *row)?.unwrap_or("unknown").to_owned(),
            format!("{:.0}", segments.number("duration_s", *row)?.unwrap_or(0.0)),
            figure(distance, Kind::Distance, 2, metric),
            segments.text("regen_level", *row)?.map_or("unknown".to_owned(), name),
            energy("energy_braking_kwh")?,
            energy("energy_recoverable_kwh")?,
            ends("energy_recovered")?,
            ends("energy_net")?,
            battery.text("evidence", *of_battery)?.unwrap_or("unknown").to_owned(),
        ];
        rows.push(Row { start_ms, end_ms, cells: texts.iter().map(|text| markup(text)).collect() });
    }
    Ok((rows, segments.rows.len().saturating_sub(ROWS)))
}

fn span_ms(of: &OfTrip<'_>, row: usize, began_ns: i64) -> Result<(i64, i64), BatchError> {
    let ms = |ns: i64| (ns - began_ns).div_euclid(1_000_000);
    Ok((ms(of.time_ns("time_start_ns", row)?), ms(of.time_ns("time_end_ns", row)?)))
}

/// Hours, minutes and seconds since setting off.
pub fn elapsed(ms: i64) -> String {
    let seconds = ms.max(0) / 1000;
    format!("{}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_since_setting_off() {
        assert_eq!(elapsed(0), "0:00:00");
        assert_eq!(elapsed(3_725_999), "1:02:05");
        assert_eq!(elapsed(-5), "0:00:00");
    }
}
