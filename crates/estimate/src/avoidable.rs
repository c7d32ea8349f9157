//! Avoidable loss (R12): what a stop cost beyond the gentlest stop people make at the same place.
//!
//! First pass: the lengths of all stops by place and by speed, as counts that add up over vehicles. Second pass: each
//! stop against a constant deceleration over the length that nine tenths of the stops there stay below.

use std::collections::BTreeMap;
use std::ops::Range;

use arrow::array::{Float64Array, RecordBatch};
use backwatt_schema::{BatchBuilder, BatchError, BatchView, number_at, tables, text_at};
use h3o::{LatLng, Resolution};

/// Places are told apart by cells of about 76 m edge and eighths of the compass.
const CELL: Resolution = Resolution::Ten;
const SECTORS: f64 = 8.0;
/// Speeds are told apart by 2 m/s.
const SPEED_BAND_M_S: f64 = 2.0;
/// Lengths are counted in classes of 25 m, up to 600 m.
const CLASS_M: f64 = 25.0;
const CLASSES: usize = 24;
/// The gentlest tenth begins at this quantile of the lengths.
const GENTLE: f64 = 0.9;
/// Fewer stops than this make no reference.
const STOPS_LEAST: u64 = 10;

/// What stops have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Common {
    Place { cell: u64, sector: u8 },
    Speed { band: u8 },
}

/// How long stops are, by place and by speed. Adds up over vehicles in any order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct StopLengths {
    counts: BTreeMap<Common, [u64; CLASSES]>,
}

impl StopLengths {
    /// The stops of one vehicle's approaches.
    pub fn of(approaches: &RecordBatch) -> Result<Self, BatchError> {
        let reader = Reader::new(approaches)?;
        let mut lengths = Self::default();
        for stop in reader.stops() {
            let class = ((reader.slowing(&stop) / CLASS_M) as usize).min(CLASSES - 1);
            for common in reader.commons(&stop)? {
                lengths.counts.entry(common).or_insert([0; CLASSES])[class] += 1;
            }
        }
        Ok(lengths)
    }

    pub fn add(&mut self, other: &Self) {
        for (common, counts) in &other.counts {
            let sums = self.counts.entry(*common).or_insert([0; CLASSES]);
            sums.iter_mut().zip(counts).for_each(|(sum, count)| *sum += count);
        }
    }

    /// Length that nine tenths stay below, and the stops it rests on; `None` with too few.
    fn gentle(&self, common: Common) -> Option<(f64, u64)> {
        let counts = self.counts.get(&common)?;
        let total: u64 = counts.iter().sum();
        if total < STOPS_LEAST {
            return None;
        }
        let wanted = GENTLE * total as f64;
        let mut below = 0.0;
        for (class, count) in counts.iter().enumerate().filter(|(_, count)| **count > 0) {
            if below + *count as f64 >= wanted {
                let share = (wanted - below) / *count as f64;
                return Some(((class as f64 + share) * CLASS_M, total));
            }
            below += *count as f64;
        }
        None
    }
}

/// One vehicle's stops against their references.
///
/// A stop longer than its reference is compared with a constant deceleration over its own length: gentleness beyond the
/// gentlest tenth earns nothing. A reference is never longer than the free approach.
pub fn avoidable_losses(approaches: &RecordBatch, lengths: &StopLengths) -> Result<RecordBatch, BatchError> {
    let reader = Reader::new(approaches)?;
    let stops: Vec<Range<usize>> = reader.stops().collect();
    let losses: Vec<Loss> = stops.iter().map(|stop| reader.loss(stop, lengths)).collect::<Result<_, _>>()?;
    let (view, first) = (&reader.view, || stops.iter().map(|stop| stop.start));
    let texts = |name| -> Result<Vec<Option<&str>>, BatchError> {
        let array = view.texts(name)?;
        Ok(first().map(|row| text_at(array, row)).collect())
    };
    let numbers = |name| -> Result<Vec<Option<f64>>, BatchError> {
        let array = view.numbers(name)?;
        Ok(first().map(|row| number_at(array, row)).collect())
    };
    let (times, relative) = (view.times("time_stop_ns")?, view.flags("clock_relative")?);
    BatchBuilder::new(&tables::AVOIDABLE_LOSSES)
        .text("vehicle_id", texts("vehicle_id")?)
        .text("trip_id", texts("trip_id")?)
        .time("time_stop_ns", first().map(|row| times.value(row)))
        .flag("clock_relative", first().map(|row| relative.value(row)))
        .text("driver_id", texts("driver_id")?)
        .text("route_id", texts("route_id")?)
        .text("regen_level", texts("regen_level")?)
        .number("lat_deg", numbers("lat_deg")?)
        .number("lon_deg", numbers("lon_deg")?)
        .number("speed_start_m_s", losses.iter().map(|loss| loss.speed_m_s))
        .number("slowing_m", numbers("slowing_m")?)
        .number("reference_m", losses.iter().map(|loss| loss.reference.map(|(length, _)| length)))
        .text("reference_basis", losses.iter().map(|loss| Some(loss.basis)))
        .count("stops_compared", losses.iter().map(|loss| loss.reference.map_or(0, |(_, stops)| stops)))
        .number("energy_driven_kwh", losses.iter().map(|loss| loss.driven_kwh))
        .number("energy_reference_kwh", losses.iter().map(|loss| loss.reference_kwh))
        .number("energy_avoidable_kwh", losses.iter().map(|loss| Some(loss.driven_kwh - loss.reference_kwh?)))
        .finish()
}

struct Loss {
    speed_m_s: f64,
    /// Length of the reference and the stops it rests on.
    reference: Option<(f64, u64)>,
    basis: &'static str,
    driven_kwh: f64,
    reference_kwh: Option<f64>,
}

/// Columns of `approaches`; a stop is a run of its rows.
struct Reader<'a> {
    view: BatchView<'a>,
    stop_ns: &'a [i64],
    distance_m: &'a Float64Array,
    slowing_m: &'a Float64Array,
}

impl<'a> Reader<'a> {
    fn new(approaches: &'a RecordBatch) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::APPROACHES, approaches);
        Ok(Self {
            stop_ns: view.times("time_stop_ns")?.values(),
            distance_m: view.numbers("distance_to_stop_m")?,
            slowing_m: view.numbers("slowing_m")?,
            view,
        })
    }

    /// Rows of each stop, nearest place first.
    fn stops(&self) -> impl Iterator<Item = Range<usize>> {
        let mut end = 0;
        self.stop_ns.chunk_by(|a, b| a == b).map(move |rows| {
            let start = end;
            end += rows.len();
            start..end
        })
    }

    fn slowing(&self, stop: &Range<usize>) -> f64 {
        self.slowing_m.value(stop.start)
    }

    /// A column of numbers at a distance before the stop, linear between places, held beyond the last.
    fn at(&self, stop: &Range<usize>, distance_m: f64, column: &str) -> f64 {
        let Ok(values) = self.view.numbers(column) else { return f64::NAN };
        let next = stop.clone().find(|row| self.distance_m.value(*row) >= distance_m);
        let next = next.unwrap_or(stop.end - 1);
        if next == stop.start || self.distance_m.value(next) < distance_m {
            return values.value(next);
        }
        let (near, far) = (self.distance_m.value(next - 1), self.distance_m.value(next));
        let share = (distance_m - near) / (far - near);
        values.value(next - 1) + (values.value(next) - values.value(next - 1)) * share
    }

    /// What a stop has in common with others: its place, where known, and its speed.
    fn commons(&self, stop: &Range<usize>) -> Result<Vec<Common>, BatchError> {
        let number = |name: &str| -> Result<Option<f64>, BatchError> {
            Ok(number_at(self.view.numbers(name)?, stop.start))
        };
        let place = || -> Result<Option<Common>, BatchError> {
            let (Some(lat), Some(lon)) = (number("lat_deg")?, number("lon_deg")?) else { return Ok(None) };
            let Some(bearing) = number("bearing_deg")? else { return Ok(None) };
            let Ok(here) = LatLng::new(lat, lon) else { return Ok(None) };
            let sector = (bearing / 360.0 * SECTORS).round() as u8 % SECTORS as u8;
            Ok(Some(Common::Place { cell: u64::from(here.to_cell(CELL)), sector }))
        };
        let speed = self.at(stop, self.slowing(stop), "speed_m_s");
        let band = Common::Speed { band: (speed / SPEED_BAND_M_S) as u8 };
        Ok(place()?.into_iter().chain([band]).collect())
    }

    fn loss(&self, stop: &Range<usize>, lengths: &StopLengths) -> Result<Loss, BatchError> {
        let commons = self.commons(stop)?;
        let found = commons.iter().find_map(|common| Some((common, lengths.gentle(*common)?)));
        let free = self.distance_m.value(stop.end - 1);
        let own = self.slowing(stop);
        let reference = found.map(|(_, (length, stops))| (length.min(free), stops));
        let length = reference.map_or(own, |(length, _)| length.max(own));
        let driven_kwh = self.at(stop, length, "energy_driven_kwh");
        Ok(Loss {
            speed_m_s: self.at(stop, length, "speed_m_s"),
            reference,
            basis: match found {
                Some((Common::Place { .. }, _)) => "this place",
                Some((Common::Speed { .. }, _)) => "this speed",
                None => "none",
            },
            driven_kwh,
            reference_kwh: reference.map(|_| self.at(stop, length, "energy_reference_kwh")),
        })
    }
}
