//! The ledger by road cell: what a segment holds, each cell its part, in the place where it happened.

use std::collections::BTreeMap;

use backwatt_physics::{Replay, ReplaySettings, SpeedReading};
use backwatt_schema::tables::{self, CASCADE};
use backwatt_schema::{BatchView, text_at};
use h3o::{CellIndex, LatLng};
use proptest::prelude::*;

use super::made::{Log, cases, drive, known, numbers, plain, truck};

/// Rounding, over the size of what was added up.
const SHARE: f64 = 1e-9;
/// Degrees of latitude per metre.
const NORTH: f64 = 1.0 / 111_195.0;

const SPLIT: [&str; 5] = ["duration_s", "moving_s", "distance_m", "energy_braking_kwh", "energy_recovered_kwh"];

/// Positions along a straight road north, `None` where `hidden` says so.
fn north(speeds: &[f64], steps: &[f64], hidden: impl Fn(usize) -> bool) -> Vec<Option<f64>> {
    let mut driven = 0.0;
    (0..speeds.len())
        .map(|at| {
            let here = 47.0 + driven * NORTH;
            if at + 1 < speeds.len() {
                driven += f64::midpoint(speeds[at], speeds[at + 1]) * steps[at];
            }
            (!hidden(at)).then_some(here)
        })
        .collect()
}

/// Sums of a column of crossings by segment.
fn by_segment(replay: &Replay, name: &str) -> Vec<f64> {
    let view = BatchView::new(&tables::CROSSINGS, &replay.crossings);
    let orders = view.orders("segment_order").unwrap();
    let mut sums = vec![0.0; replay.segments.num_rows()];
    for (row, value) in numbers(&tables::CROSSINGS, &replay.crossings, name).into_iter().enumerate() {
        sums[orders.value(row) as usize] += value.unwrap_or(0.0);
    }
    sums
}

/// Braking energy by cell. [kWh]
fn braking(replay: &Replay) -> BTreeMap<Option<CellIndex>, f64> {
    let view = BatchView::new(&tables::CROSSINGS, &replay.crossings);
    let cells = view.texts("cell").unwrap();
    let mut sums = BTreeMap::new();
    for (row, value) in
        numbers(&tables::CROSSINGS, &replay.crossings, "energy_braking_kwh").into_iter().enumerate()
    {
        let cell = text_at(cells, row).map(|text| text.parse().expect("a cell of the standard"));
        *sums.entry(cell).or_insert(0.0) += value.unwrap();
    }
    sums
}

proptest! {
    #![proptest_config(cases(48))]

    #[test]
    fn the_cells_of_a_segment_sum_to_it(truck in truck(), (speeds, steps) in drive(), period in 1..9usize) {
        let lat = north(&speeds, &steps, |at| at % period != 0 || at % 7 == 3);
        let power = speeds.iter().enumerate().map(|(at, v)| Some(2e3 * v - 30e3 * (at as f64).sin())).collect();
        let replay = Log::new(&speeds, &steps)
            .with("lon_deg", lat.iter().map(|lat| lat.map(|_| 8.0)).collect())
            .with("lat_deg", lat)
            .with("pack_power_w", power)
            .replay(&truck, &ReplaySettings::default());
        for name in SPLIT.into_iter().chain(CASCADE) {
            let whole = numbers(&tables::SEGMENTS, &replay.segments, name);
            let size: f64 = whole.iter().flatten().sum::<f64>().abs() + 1e-9;
            for (got, whole) in by_segment(&replay, name).into_iter().zip(whole) {
                let whole = whole.unwrap_or(0.0);
                prop_assert!((got - whole).abs() <= SHARE * size, "{name}: {got} {whole}");
            }
        }
    }
}

/// 600 m at 10 m/s, then a stop at 1 m/s².
fn one_stop() -> (Vec<f64>, Vec<f64>) {
    let speeds: Vec<f64> = (0..60).map(|_| 10.0).chain((0..=10).map(|s| 10.0 - f64::from(s))).collect();
    let steps = vec![1.0; speeds.len()];
    (speeds, steps)
}

/// All braking lies on the last 50 m, whether the position is logged every second or every tenth: then the line between
/// fixes, by distance driven, says where.
#[test]
fn braking_is_where_the_stop_is() {
    let (speeds, steps) = one_stop();
    let settings = ReplaySettings { speed: SpeedReading::AsLogged, ..ReplaySettings::default() };
    let last = speeds.len() - 1;
    for period in [1, 10] {
        let lat = north(&speeds, &steps, |at| at % period != 0 && at != last);
        let stop = LatLng::new(lat[last].unwrap(), 8.0).unwrap();
        let replay = Log::new(&speeds, &steps)
            .with("lon_deg", lat.iter().map(|lat| lat.map(|_| 8.0)).collect())
            .with("lat_deg", lat)
            .replay(&plain(), &settings);
        let braking = braking(&replay);
        assert!(braking.keys().all(Option::is_some), "{period}: all of the way has a position");
        let near = |cell: &CellIndex| LatLng::from(*cell).distance_m(stop) < 50.0 + 76.0;
        let (all, here) = braking.iter().fold((0.0, 0.0), |(all, here), (cell, kwh)| {
            (all + kwh, here + if cell.as_ref().is_some_and(near) { *kwh } else { 0.0 })
        });
        assert!(all > 0.05 && (here / all - 1.0).abs() < 1e-9, "{period}: {here} of {all}");
    }
}

/// A fix every 30 s: the way between is on the line, and what is booked between two fixes is spread along it.
#[test]
fn a_slow_log_spreads_what_it_does_not_show() {
    let speeds = known(&[20.0, 20.0, 5.0, 20.0, 20.0]);
    let lat = [0.0, 600.0, 975.0, 1350.0, 1950.0].map(|m| Some(47.0 + m * NORTH)).to_vec();
    let replay = Log::new(&speeds.iter().flatten().copied().collect::<Vec<_>>(), &[30.0; 5])
        .with("lat_deg", lat)
        .with("lon_deg", vec![Some(8.0); 5])
        .replay(&plain(), &ReplaySettings { speed: SpeedReading::AsLogged, ..ReplaySettings::default() });
    let braked = braking(&replay).into_iter().filter(|(_, kwh)| *kwh > 0.0).count();
    assert!((3..=6).contains(&braked), "375 m of braking lie in {braked} cells of some 130 m");
}

/// Without positions there is one crossing a segment, and nothing is lost.
#[test]
fn no_position_is_no_cell() {
    let (speeds, steps) = one_stop();
    let replay = Log::new(&speeds, &steps).replay(&plain(), &ReplaySettings::default());
    assert_eq!(replay.crossings.num_rows(), replay.segments.num_rows());
    assert!(braking(&replay).keys().all(Option::is_none));
}
