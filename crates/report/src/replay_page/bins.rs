//! Intervals of one trip put together into bins of a second and more: what a page draws and sums.

use std::ops::Range;

use arrow::array::Array;
use backwatt_schema::{BatchError, BatchView, number_at, tables, text_at};

use super::accounts;

/// Shortest bin. [s] Logs of ten samples a second look the same drawn at one.
pub const LEAST_S: f64 = 1.0;

/// A stretch of one segment.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    pub order: u32,
    pub level: Option<String>,
    pub is_standing: bool,
    /// Battery power is known for all of it that counts.
    pub is_measured: bool,
    pub has_height: bool,
}

/// A trip in bins. Accounts are sums from the start of the trip to the end of each bin.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Bins {
    /// Since setting off. [ms]
    pub start_ms: Vec<i64>,
    pub end_ms: Vec<i64>,
    /// Number of the piece each lies in.
    pub piece: Vec<usize>,
    pub pieces: Vec<Piece>,
    pub speed_m_s: Vec<Option<f64>>,
    pub lat_deg: Vec<Option<f64>>,
    pub lon_deg: Vec<Option<f64>>,
    pub height_m: Vec<Option<f64>>,
    pub soc_frac: Vec<Option<f64>>,
    pub duration_s: Vec<f64>,
    pub moving_s: Vec<f64>,
    pub distance_m: Vec<f64>,
    /// One for each of [`accounts::packed`]. [kWh]
    pub accounts: Vec<Vec<f64>>,
    /// Rows of the trace that each is made of.
    pub rows: Vec<Range<usize>>,
}

impl Bins {
    pub fn len(&self) -> usize {
        self.start_ms.len()
    }
}

/// The bins of the trace's rows, all of one trip that began at an instant.
pub fn bins(view: &BatchView<'_>, rows: Range<usize>, began_ns: i64) -> Result<Bins, BatchError> {
    let (starts, ends) = (view.times("time_start_ns")?.values(), view.times("time_end_ns")?.values());
    let orders = view.orders("segment_order")?;
    let mut bins = Bins { rows: cut(rows, starts, ends, orders.values()), ..Bins::default() };
    let ms = |ns: i64| (ns - began_ns).div_euclid(1_000_000);
    bins.start_ms = bins.rows.iter().map(|rows| ms(starts[rows.start])).collect();
    bins.end_ms = bins.rows.iter().map(|rows| ms(ends[rows.end - 1])).collect();
    fill_pieces(&mut bins, view, orders.values())?;
    let at_start = |name: &str| -> Result<Vec<Option<f64>>, BatchError> {
        let array = view.numbers(name)?;
        Ok(bins.rows.iter().map(|rows| number_at(array, rows.start)).collect())
    };
    let summed = |name: &str| -> Result<Vec<f64>, BatchError> {
        let array = view.numbers(name)?;
        let mut sum = 0.0;
        let of = |rows: &Range<usize>| {
            sum += rows.clone().filter_map(|row| number_at(array, row)).sum::<f64>();
            sum
        };
        Ok(bins.rows.iter().map(of).collect())
    };
    let (speed, soc) = (at_start("speed_start_m_s")?, at_start("soc_start_frac")?);
    let (lat, lon) = (at_start("lat_start_deg")?, at_start("lon_start_deg")?);
    let height = heights(view, &bins.rows, starts, ends)?;
    let (duration, moving) = (summed("duration_s")?, summed("moving_s")?);
    let distance = summed("distance_m")?;
    let accounts = accounts::packed().map(|account| summed(account.column)).collect::<Result<_, _>>()?;
    Ok(Bins {
        speed_m_s: speed,
        lat_deg: lat,
        lon_deg: lon,
        height_m: height,
        soc_frac: soc,
        duration_s: duration,
        moving_s: moving,
        distance_m: distance,
        accounts,
        ..bins
    })
}

/// Whole intervals of one segment without a gap between them, until they make a second.
fn cut(rows: Range<usize>, starts: &[i64], ends: &[i64], orders: &[u32]) -> Vec<Range<usize>> {
    let mut bins: Vec<Range<usize>> = Vec::new();
    for row in rows {
        let open = bins.last_mut().filter(|bin| {
            let seconds = (ends[bin.end - 1] - starts[bin.start]) as f64 * 1e-9;
            // A clock of samples is seldom exact: 0.999 s is a second.
            seconds < 0.95 * LEAST_S && orders[bin.start] == orders[row] && ends[bin.end - 1] == starts[row]
        });
        match open {
            Some(bin) => bin.end = row + 1,
            None => bins.push(row..row + 1),
        }
    }
    bins
}

fn fill_pieces(bins: &mut Bins, view: &BatchView<'_>, orders: &[u32]) -> Result<(), BatchError> {
    let (levels, kinds) = (view.texts("regen_level")?, view.texts("kind")?);
    let (discharged, rise) = (view.numbers("energy_discharged_kwh")?, view.numbers("rise_m")?);
    for rows in &bins.rows {
        let row = rows.start;
        if bins.pieces.last().is_none_or(|piece| piece.order != orders[row]) {
            bins.pieces.push(Piece {
                order: orders[row],
                level: text_at(levels, row).map(str::to_owned),
                is_standing: text_at(kinds, row) == Some("standing"),
                is_measured: discharged.is_valid(row),
                has_height: rise.is_valid(row),
            });
        }
        bins.piece.push(bins.pieces.len() - 1);
    }
    Ok(())
}

/// Height as the ledger climbs it, put to the logged altitude where a stretch begins. [m]
fn heights(
    view: &BatchView<'_>,
    bins: &[Range<usize>],
    starts: &[i64],
    ends: &[i64],
) -> Result<Vec<Option<f64>>, BatchError> {
    let (rise, altitude) = (view.numbers("rise_m")?, view.numbers("altitude_start_m")?);
    let mut heights = Vec::with_capacity(bins.len());
    let (mut now, mut until_ns) = (0.0, None);
    for rows in bins {
        if until_ns != Some(starts[rows.start]) {
            now = number_at(altitude, rows.start).unwrap_or(now);
        }
        heights.push(number_at(rise, rows.start).map(|_| now));
        now += rows.clone().filter_map(|row| number_at(rise, row)).sum::<f64>();
        until_ns = Some(ends[rows.end - 1]);
    }
    Ok(heights)
}

/// Rows of one trip in a trace sorted by time.
pub fn rows_of(
    table: &'static backwatt_schema::Table,
    batch: &arrow::array::RecordBatch,
    trip_id: &str,
) -> Result<Range<usize>, BatchError> {
    let trips = BatchView::new(table, batch).texts("trip_id")?;
    let is_of = |row: &usize| trips.value(*row) == trip_id;
    let start = (0..trips.len()).find(is_of).unwrap_or(trips.len());
    let end = (start..trips.len()).find(|row| !is_of(row)).unwrap_or(trips.len());
    Ok(start..end)
}

/// A view of the trace.
pub fn view(batch: &arrow::array::RecordBatch) -> BatchView<'_> {
    BatchView::new(&tables::LEDGER_TRACE, batch)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bin_is_a_second_of_one_segment_without_a_gap() {
        let tenths = |at: &[i64]| at.iter().map(|tenth| tenth * 100_000_000).collect::<Vec<_>>();
        let starts = tenths(&[0, 5, 10, 20, 22, 50]);
        let ends = tenths(&[5, 10, 20, 22, 24, 60]);
        assert_eq!(cut(0..6, &starts, &ends, &[1, 1, 1, 1, 2, 2]), [0..2, 2..3, 3..4, 4..5, 5..6]);
    }
}
